package desk

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"unicode"

	"boltrose/cmd/internal/show"
)

const (
	mostSessions  = 200
	mostUploaded  = 8 << 30     // bytes on the disk, of all that was uploaded
	keptPixels    = 200_000_000 // of pictures in memory, of which two at most are more
	maxNameLength = 200
)

// store holds what is on the desk. Uploaded files lie in the desk's private
// folder; of their pictures only those last used stay in memory, and others
// are loaded again when they are looked at.
type store struct {
	desk  *Desk
	large queue // loading pictures and finding what is in them
	work  sync.WaitGroup

	mu       sync.Mutex
	sessions []*session // the oldest first
	uploaded int64      // bytes
	recent   []*session // with a picture in memory, the last used last
}

func newStore(d *Desk) *store { return &store{desk: d} }

// refusal is an error with the status that it has over HTTP.
type refusal struct {
	status int
	text   string
}

func (r refusal) Error() string { return r.text }

func refused(status int, format string, args ...any) error {
	return refusal{status, fmt.Sprintf(format, args...)}
}

// upload takes a file in and starts to read it.
func (s *store) upload(name string, body io.Reader) (*session, error) {
	f, err := os.CreateTemp(s.desk.folder, "upload-*")
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be kept: %w", name, err)
	}
	n, err := s.take(f, body)
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil && n == 0 {
		err = refused(http.StatusBadRequest, "the file is empty")
	}
	var added *session
	if err == nil {
		added, err = s.add(f.Name(), name, true)
	}
	if err != nil {
		os.Remove(f.Name())
		s.release(n)
		return nil, refusedFile(name, err)
	}
	added.bytes = n
	return added, nil
}

// refusedFile names the file in a refusal.
func refusedFile(name string, err error) error {
	var r refusal
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return refused(http.StatusRequestEntityTooLarge, "%s: the file has more than %d MB; scan at a lower dpi, or crop it", name, tooLarge.Limit>>20)
	case errors.As(err, &r):
		return refusal{r.status, name + ": " + r.text}
	}
	return refused(http.StatusBadRequest, "%s: it did not arrive whole: %v", name, err)
}

// take copies an upload, as far as there is room for it.
func (s *store) take(to io.Writer, body io.Reader) (n int64, err error) {
	buf := make([]byte, 256<<10)
	for {
		got, readErr := body.Read(buf)
		if got > 0 {
			if !s.reserve(int64(got)) {
				return n, refused(http.StatusInsufficientStorage, "the desk is full: close some pictures")
			}
			n += int64(got)
			if _, err := to.Write(buf[:got]); err != nil {
				return n, err
			}
		}
		if readErr == io.EOF {
			return n, nil
		}
		if readErr != nil {
			return n, readErr
		}
	}
}

func (s *store) reserve(n int64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.uploaded+n > mostUploaded {
		return false
	}
	s.uploaded += n
	return true
}

func (s *store) release(n int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.uploaded -= n
}

// add puts a file on the desk and starts to read it; own says that it is the
// desk's to remove.
func (s *store) add(path, name string, own bool) (*session, error) {
	t := newSession(s, path, cleanName(name), own)
	s.mu.Lock()
	if len(s.sessions) >= mostSessions {
		s.mu.Unlock()
		return nil, refused(http.StatusInsufficientStorage, "%d files lie on the desk, and no more do: close some", mostSessions)
	}
	s.sessions = append(s.sessions, t)
	s.mu.Unlock()
	s.work.Go(t.begin)
	return t, nil
}

// cleanName is a file's name without its folders and what is not print.
func cleanName(name string) string {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == '/' {
			return '_'
		}
		return r
	}, name)
	if runes := []rune(name); len(runes) > maxNameLength {
		name = string(runes[len(runes)-maxNameLength:])
	}
	if name == "" || name == "." || name == ".." {
		return "picture"
	}
	return show.Plain(name)
}

func (s *store) get(id string) *session {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, t := range s.sessions {
		if t.id == id {
			return t
		}
	}
	return nil
}

// list are the sessions, the oldest first.
func (s *store) list() []*session {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.sessions)
}

// close takes a session off the desk.
func (s *store) close(t *session) {
	s.mu.Lock()
	s.sessions = slices.DeleteFunc(s.sessions, func(o *session) bool { return o == t })
	s.recent = slices.DeleteFunc(s.recent, func(o *session) bool { return o == t })
	s.mu.Unlock()
	t.cancel()
	t.mu.Lock()
	defer t.mu.Unlock()
	t.forget()
	if t.own && !t.gone {
		os.Remove(t.path)
		s.release(t.bytes)
	}
	t.gone = true
}

// wait returns when all work that was begun has ended.
func (s *store) wait() { s.work.Wait() }

// used notes that a session's picture was just used, and returns those that
// must leave the memory for it.
func (s *store) used(t *session) {
	s.mu.Lock()
	s.recent = append(slices.DeleteFunc(s.recent, func(o *session) bool { return o == t }), t)
	pixels, from := int64(0), len(s.recent)
	for from > 0 {
		pixels += s.recent[from-1].pixels.Load()
		if from < len(s.recent) && pixels > keptPixels {
			break
		}
		from--
	}
	leave := slices.Clone(s.recent[:from])
	s.mu.Unlock()
	for _, o := range leave {
		if !o.mu.TryLock() { // in use: it will come here itself
			continue
		}
		o.forget()
		s.mu.Lock()
		s.recent = slices.DeleteFunc(s.recent, func(p *session) bool { return p == o })
		s.mu.Unlock()
		o.mu.Unlock()
	}
}

func newID() string { return rand.Text()[:16] }
