package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"slices"
	"sync"
	"sync/atomic"

	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// session is one file on the desk.
type session struct {
	store    *store
	id, name string
	path     string
	own      bool  // the file is the desk's to remove
	bytes    int64 // that it takes of the desk
	ctx      context.Context
	cancel   context.CancelFunc
	pixels   atomic.Int64
	tiles    atomic.Pointer[tiles]

	mu      sync.Mutex // one thing at a time is done with a session
	gone    bool
	picture *vision.Picture // nil: not in memory
	seen    *read.Seen
	shown   outcome
	history []edits
	at      int // which of history is shown
	unit    show.Unit

	newsMu sync.Mutex
	news   news
	told   chan struct{} // closed with the next news
}

// news is what the page is told of a session.
type news struct {
	Version int
	State   string // waiting, reading, ready or refused
	Ahead   int    // how many wait before it
	Refusal string
	View    json.RawMessage
}

// outcome is a reading, or why there is none.
type outcome struct {
	res      *read.Result // nil: not in memory, or no picture
	reading  *pattern.Reading
	refusal  string
	try      string // what to try; "" where the refusal says it
	unscaled bool   // holes have numbers and no millimetres
	numbers  []r2.Vec
	opts     read.Options
	notes    []string
}

func (o outcome) hole(px r2.Vec) int {
	for i, at := range o.numbers {
		if r2.Norm(r2.Sub(at, px)) < 3 {
			return i + 1
		}
	}
	return 0
}

func newSession(s *store, path, name string, own bool) *session {
	t := &session{
		store: s, id: newID(), name: name, path: path, own: own,
		history: []edits{{Flags: map[string]string{}}}, unit: show.MM,
		news: news{Version: 1, State: "waiting"}, told: make(chan struct{}),
	}
	t.ctx, t.cancel = context.WithCancel(s.desk.ctx)
	return t
}

// tell gives news to whoever waits for them.
func (t *session) tell(change func(*news)) {
	t.newsMu.Lock()
	defer t.newsMu.Unlock()
	change(&t.news)
	t.news.Version++
	close(t.told)
	t.told = make(chan struct{})
}

// latest returns the news and what is closed when there are others.
func (t *session) latest() (news, <-chan struct{}) {
	t.newsMu.Lock()
	defer t.newsMu.Unlock()
	return t.news, t.told
}

func (t *session) refuse(err error) {
	t.tell(func(n *news) { n.State, n.Refusal, n.Ahead, n.View = "refused", err.Error(), 0, nil })
}

// begin reads the file for the first time.
func (t *session) begin() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.gone {
		return
	}
	isReading, err := startsAsJSON(t.path)
	switch {
	case err != nil:
		t.refuse(fmt.Errorf("%s: cannot be read", t.name))
		return
	case isReading:
		err = t.openReading()
	default:
		err = t.read(t.history[0])
	}
	if err != nil {
		if t.ctx.Err() == nil {
			t.refuse(err)
		}
		return
	}
	t.show()
}

func startsAsJSON(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	head := make([]byte, 64)
	n, _ := f.Read(head)
	return bytes.HasPrefix(bytes.TrimLeft(head[:n], " \t\r\n\ufeff"), []byte("{")), nil
}

func (t *session) openReading() error {
	f, err := os.Open(t.path)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := pattern.ReadJSON(f)
	if err != nil {
		return fmt.Errorf("%s: %w", t.name, err)
	}
	t.shown = outcome{reading: r}
	return nil
}

// loaded does with the picture in memory, as the edits have its page, what do
// does. The session is locked.
func (t *session) loaded(e edits, do func() error) error {
	if t.gone {
		return refused(http.StatusGone, "%s was closed", t.name)
	}
	opts, err := t.store.desk.config.Options(append(slices.Clone(t.store.desk.config.Flags), e.flags()...))
	if err != nil {
		return err
	}
	if t.picture != nil && t.picture.Page == max(opts.Page, 1) {
		return do()
	}
	waiting := func(ahead int) { t.tell(func(n *news) { n.Ahead = ahead }) }
	if err := t.store.large.enter(t.ctx, waiting); err != nil {
		return err
	}
	defer t.store.large.leave()
	t.tell(func(n *news) {
		n.Ahead = 0
		if n.State == "waiting" {
			n.State = "reading"
		}
	})
	pic, err := vision.OpenPage(t.path, opts.Page, vision.Limits{MaxPixels: t.store.desk.config.MaxPixels})
	if err != nil {
		var load *vision.LoadError
		if errors.As(err, &load) {
			load.Path = t.name
		}
		return err
	}
	t.picture, t.seen = pic, read.See(pic, t.name)
	t.tiles.Store(newTiles(pic))
	t.pixels.Store(int64(len(pic.Grey.Pix)))
	t.store.used(t)
	return do()
}

// forget takes the picture out of memory. The session is locked.
func (t *session) forget() {
	t.picture, t.seen, t.shown.res = nil, nil, nil
	t.tiles.Store(nil)
}

// read reads the picture by the edits and shows the outcome, unless what was
// typed cannot be. The session is locked.
func (t *session) read(e edits) error {
	return t.loaded(e, func() error {
		o, err := t.outcome(e)
		if err != nil {
			return err
		}
		t.shown = o
		t.unit = show.MM
		if e.Flags["units"] == show.Inch.Name {
			t.unit = show.Inch
		}
		return nil
	})
}

// outcome reads the picture by the edits. A picture that nothing gives a scale
// to, or in which no pattern is trusted, is an outcome too.
func (t *session) outcome(e edits) (o outcome, err error) {
	defer func() { // other files on the desk are not to suffer
		if p := recover(); p != nil {
			err = fmt.Errorf("%s: cannot be measured, which is this program's fault (%v)", t.name, p)
		}
	}()
	opts, notes, err := t.options(e)
	o.opts, o.notes = opts, notes
	if err == nil {
		o.res, err = t.seen.Read(opts)
	}
	switch {
	case errors.Is(err, read.ErrScale):
		o.refusal = err.Error()
		if o.res, o.unscaled, err = t.seen.Numbers(opts); err == nil {
			o.numbered(o.res.Reading)
			return o, nil
		}
		fallthrough
	case errors.Is(err, pattern.ErrNoPattern):
		if o.res == nil {
			o.res, _, _ = t.seen.Numbers(opts)
		}
		if o.res == nil {
			return o, fmt.Errorf("%s: %w", t.name, err)
		}
		if o.refusal == "" {
			o.refusal = err.Error()
		}
		o.try = tryThis
		o.res.Reading = nil
		return o, nil
	case err != nil:
		return o, err
	}
	o.reading = o.res.Reading
	o.numbered(o.reading)
	return o, nil
}

// tryThis says what helps where no pattern is trusted.
const tryThis = "Every circle that was seen is drawn; choose one to see why it was left. Say what you know: the number of holes, their diameters, or that they share no circle; add a hole where one was missed. Or rub once more, lightly and evenly, over the whole rim of every hole, and scan at 300 dpi."

func (o *outcome) numbered(r *pattern.Reading) {
	o.numbers = nil
	for _, h := range r.Holes {
		o.numbers = append(o.numbers, r2.Vec{X: h.XPx, Y: h.YPx})
	}
}

// do makes an edit, undoes one or makes it again.
func (t *session) do(d edit) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	n, _ := t.latest()
	if n.State != "ready" {
		return refused(http.StatusConflict, "%s is not read yet", t.name)
	}
	if t.isReading() {
		return refused(http.StatusConflict, "%s is a reading: it is corrected where its picture is", t.name)
	}
	if err := t.whole(); err != nil {
		return err
	}
	switch d.Do {
	case "undo", "redo":
		to := t.at - 1
		if d.Do == "redo" {
			to = t.at + 1
		}
		if to < 0 || to >= len(t.history) {
			return refused(http.StatusConflict, "there is nothing to %s", d.Do)
		}
		if err := t.read(t.history[to]); err != nil {
			return err
		}
		t.at = to
	default:
		e, err := t.history[t.at].apply(d, t.shown)
		if err != nil {
			return err
		}
		if err := t.read(e); err != nil {
			return err
		}
		t.history = append(t.history[:t.at+1], e)
		if len(t.history) > mostEdits {
			t.history = t.history[1:]
		}
		t.at = len(t.history) - 1
	}
	t.store.used(t)
	t.show()
	return nil
}

// mostEdits can be undone.
const mostEdits = 500

func (t *session) isReading() bool { return t.pixels.Load() == 0 }

// whole makes sure that the result is in memory. The session is locked.
func (t *session) whole() error {
	if t.isReading() || t.picture != nil && t.shown.res != nil {
		return nil
	}
	return t.read(t.history[t.at])
}

// show tells the page what there is now. The session is locked.
func (t *session) show() {
	view, err := json.Marshal(t.view())
	if err != nil {
		t.refuse(fmt.Errorf("%s: cannot be shown: %w", t.name, err))
		return
	}
	t.tell(func(n *news) { n.State, n.Ahead, n.Refusal, n.View = "ready", 0, "", view })
}
