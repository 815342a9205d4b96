package folder

import (
	"fmt"
	"io"
	"os"
	"sync"

	"boltrose/cmd/internal/show"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
	"golang.org/x/term"
)

// progress tells a person how far a run is. done is called by all workers.
type progress interface {
	begin(files int)
	done(records []*Record, kept bool)
	end()
}

// newProgress is a bar where w is a terminal, else a line for each picture.
func newProgress(w io.Writer, unit show.Unit) progress {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return &bar{w: w, unit: unit}
	}
	return &lines{w: w, unit: unit}
}

// told is a picture in one line.
func told(r *Record, unit show.Unit) string {
	if r.Result != gotReading {
		return fmt.Sprintf("%s: %s", oneLine(r.title()), r.Why())
	}
	s := fmt.Sprintf("%s: %d holes, %s", oneLine(r.title()), r.Holes, r.Spacing)
	if pcd := unit.PlusMinus(r.PCD, r.PCDU95); pcd != "" {
		s += ", PCD " + pcd
	}
	return s
}

// lines is for logs and pipes.
type lines struct {
	w    io.Writer
	unit show.Unit

	mu        sync.Mutex
	of, count int
}

func (l *lines) begin(files int) { l.of, l.count = files, 0 }
func (l *lines) end()            {}

func (l *lines) done(records []*Record, kept bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count++
	if kept {
		return
	}
	for _, r := range records {
		fmt.Fprintf(l.w, "%d/%d %s\n", l.count, l.of, told(r, l.unit))
	}
}

// bar shows rate and time left; pictures without a reading are told above it.
type bar struct {
	w    io.Writer
	unit show.Unit
	all  *mpb.Progress
	bar  *mpb.Bar
}

func (b *bar) begin(files int) {
	if files == 0 {
		return
	}
	b.all = mpb.New(mpb.WithOutput(b.w), mpb.WithWidth(40))
	b.bar = b.all.AddBar(int64(files),
		mpb.PrependDecorators(decor.CountersNoUnit("%d of %d pictures", decor.WCSyncSpaceR)),
		mpb.AppendDecorators(
			decor.Percentage(decor.WC{W: 5}),
			decor.Name("  "),
			decor.AverageSpeed(0, "%.1f/s"),
			decor.Name("  "),
			decor.OnComplete(decor.AverageETA(decor.ET_STYLE_GO), "done"),
			decor.OnComplete(decor.Name(" left"), ""),
		),
	)
}

func (b *bar) done(records []*Record, kept bool) {
	for _, r := range records {
		if r.Result != gotReading && !kept {
			fmt.Fprintln(b.all, told(r, b.unit))
		}
	}
	b.bar.Increment()
}

func (b *bar) end() {
	if b.all == nil {
		return
	}
	if !b.bar.Completed() {
		b.bar.Abort(false)
	}
	b.all.Wait()
}
