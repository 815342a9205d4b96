package desk

import (
	"encoding/json"
	"errors"
	"io/fs"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/vision"
)

// maxWords is more than any edit holds, and maxPart more than the drawing of a
// part that somebody looks at; bytes.
const (
	maxWords = 64 << 10
	maxPart  = 16 << 20
)

// newsWait is how long a page waits for news before it asks again.
const newsWait = 25 * time.Second

func (d *Desk) handler() http.Handler {
	mux := http.NewServeMux()
	files, err := fs.Sub(static, "static")
	if err != nil {
		panic(err) // they are embedded
	}
	mux.Handle("GET /", http.FileServerFS(files))
	mux.HandleFunc("POST /api/enter", d.enter)
	mux.HandleFunc("GET /api/files", d.list)
	mux.HandleFunc("POST /api/files", d.upload)
	for pattern, do := range map[string]func(http.ResponseWriter, *http.Request, *session) error{
		"GET /api/files/{id}":                      d.look,
		"DELETE /api/files/{id}":                   d.remove,
		"POST /api/files/{id}/edit":                d.edit,
		"POST /api/files/{id}/make":                d.make,
		"GET /api/files/{id}/edge/{mark}":          d.edge,
		"GET /api/files/{id}/tile/{level}/{x}/{y}": d.tile,
	} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			t := d.store.get(r.PathValue("id"))
			if t == nil {
				refuse(w, http.StatusNotFound, "this file does not lie on the desk any more")
				return
			}
			if err := do(w, r, t); err != nil {
				fail(w, err)
			}
		})
	}
	return d.guarded(mux)
}

// fail says what stopped a request.
func fail(w http.ResponseWriter, err error) {
	var r refusal
	var load *vision.LoadError
	status := http.StatusUnprocessableEntity
	switch {
	case errors.As(err, &r):
		status = r.status
	case errors.As(err, &load), errors.Is(err, read.ErrScale), errors.Is(err, pattern.ErrNoPattern):
	}
	refuse(w, status, err.Error())
}

func refuse(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]string{"Refusal": text})
}

func give(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(v)
}

// words reads a JSON body of so many bytes at most.
func words(w http.ResponseWriter, r *http.Request, most int64, to any) error {
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "application/json" {
		return refused(http.StatusUnsupportedMediaType, "this is to be JSON")
	}
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, most))
	dec.DisallowUnknownFields()
	if err := dec.Decode(to); err != nil {
		return refused(http.StatusBadRequest, "this is not understood: %v", err)
	}
	return nil
}

func (d *Desk) enter(w http.ResponseWriter, r *http.Request) {
	var typed struct{ Code string }
	if err := words(w, r, maxWords, &typed); err != nil {
		fail(w, err)
		return
	}
	key, status, text := d.access.enter(typed.Code, time.Now())
	if status != http.StatusOK {
		refuse(w, status, text)
		return
	}
	give(w, map[string]string{"Key": key})
}

// entry is a file in the list of those on the desk.
type entry struct{ ID, Name, State, Refusal string }

func (d *Desk) list(w http.ResponseWriter, r *http.Request) {
	entries := []entry{}
	for _, t := range d.store.list() {
		n, _ := t.latest()
		entries = append(entries, entry{t.id, t.name, n.State, n.Refusal})
	}
	give(w, entries)
}

func (d *Desk) upload(w http.ResponseWriter, r *http.Request) {
	http.NewResponseController(w).SetReadDeadline(time.Now().Add(10 * time.Minute))
	t, err := d.store.upload(cleanName(r.URL.Query().Get("name")), http.MaxBytesReader(w, r.Body, d.config.MaxBytes))
	if err != nil {
		fail(w, err)
		return
	}
	give(w, entry{ID: t.id, Name: t.name, State: "waiting"})
}

// look gives the session's news, when there are other than those that the page
// has.
func (d *Desk) look(w http.ResponseWriter, r *http.Request, t *session) error {
	known, _ := strconv.Atoi(r.URL.Query().Get("known"))
	enough := time.NewTimer(newsWait)
	defer enough.Stop()
	for {
		n, changed := t.latest()
		if n.Version != known {
			return give(w, n)
		}
		select {
		case <-changed:
		case <-enough.C:
			return give(w, n)
		case <-r.Context().Done():
			return nil
		case <-t.ctx.Done():
			return refused(http.StatusGone, "%s was closed", t.name)
		}
	}
}

func (d *Desk) remove(w http.ResponseWriter, r *http.Request, t *session) error {
	d.store.close(t)
	return give(w, entry{ID: t.id})
}

func (d *Desk) edit(w http.ResponseWriter, r *http.Request, t *session) error {
	var do edit
	if err := words(w, r, maxWords, &do); err != nil {
		return err
	}
	if err := t.do(do); err != nil {
		return err
	}
	n, _ := t.latest()
	return give(w, n)
}

func (d *Desk) make(w http.ResponseWriter, r *http.Request, t *session) error {
	var m making
	if err := words(w, r, maxPart, &m); err != nil {
		return err
	}
	out, err := t.make(m)
	if err != nil {
		return err
	}
	if m.Form == "" {
		return give(w, map[string]string{"Said": out.said, "Bolt": out.bolt})
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": out.name}))
	w.Header().Set("Content-Length", strconv.Itoa(len(out.data)))
	if m.What == "guard" { // what it is like, and the cautions
		w.Header().Set("Boltrose-Said", url.PathEscape(out.said))
	}
	_, err = w.Write(out.data)
	return err
}

// edge gives the edge points of a mark, px.
func (d *Desk) edge(w http.ResponseWriter, r *http.Request, t *session) error {
	i, err := strconv.Atoi(r.PathValue("mark"))
	if err != nil {
		return refused(http.StatusNotFound, "there is no such circle")
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.whole(); err != nil {
		return err
	}
	if t.shown.res == nil || i < 0 || i >= len(t.shown.res.Marks) {
		return refused(http.StatusNotFound, "there is no such circle")
	}
	points := [][2]float64{}
	for _, p := range t.shown.res.Marks[i].Edge {
		points = append(points, [2]float64{p.X, p.Y})
	}
	return give(w, points)
}

func (d *Desk) tile(w http.ResponseWriter, r *http.Request, t *session) error {
	at := [3]int{}
	for i, name := range []string{"level", "x", "y"} {
		var err error
		if at[i], err = strconv.Atoi(r.PathValue(name)); err != nil {
			return refused(http.StatusNotFound, "there is no such part of the picture")
		}
	}
	tiles := t.tiles.Load()
	if tiles == nil {
		t.mu.Lock()
		err := t.loaded(t.history[t.at], func() error { return nil })
		tiles = t.tiles.Load()
		t.mu.Unlock()
		if err != nil {
			return err
		}
	}
	if r.FormValue("page") != strconv.Itoa(tiles.page) {
		return refused(http.StatusConflict, "another page is shown now")
	}
	data, err := tiles.tile(at[0], at[1], at[2])
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=3600")
	_, err = w.Write(data)
	return err
}
