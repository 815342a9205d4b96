package vision

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// The kinds of LoadError, for errors.Is.
var (
	ErrUnreadable  = errors.New("cannot be opened")       // missing, forbidden, a folder
	ErrEmpty       = errors.New("empty")                  // zero bytes
	ErrNotPicture  = errors.New("not a readable picture") // some other kind of file
	ErrUnsupported = errors.New("unsupported variant")    // a picture, but not one that is read
	ErrDamaged     = errors.New("damaged")                // cut short or inconsistent
	ErrTooLarge    = errors.New("too large")              // beyond Limits
)

// LoadError says why a picture could not be loaded and what to do about it.
type LoadError struct {
	Kind error  // one of the Err… above
	Path string // empty when the picture came as bytes
	Text string
}

// Error is always one line, whatever the file's name or a decoder put in it.
func (e *LoadError) Error() string {
	path := e.Path
	if path == "" {
		path = "the picture"
	}
	return oneLine(path) + ": " + oneLine(e.Text)
}

func (e *LoadError) Unwrap() error { return e.Kind }

func failf(kind error, format string, args ...any) error {
	return &LoadError{Kind: kind, Text: fmt.Sprintf(format, args...)}
}

// oneLine replaces what would break a line or drive a terminal.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, s)
}
