package pattern

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
)

// maxBytes is more than the JSON of MaxHoles holes.
const maxBytes = 256 << 20

// WriteJSON writes the reading with every digit that it has, so that reading
// it back gives the same reading.
func (r *Reading) WriteJSON(w io.Writer) error {
	if err := r.check(); err != nil {
		return fmt.Errorf("this reading cannot be written: %w", err)
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(r)
}

// ReadJSON reads what WriteJSON wrote. It refuses, in one line, whatever is
// not a whole and consistent reading. Keys that it does not know are left
// out; of those that the first version did not write, the ones that follow
// from the rest are computed.
func ReadJSON(in io.Reader) (*Reading, error) {
	data, err := io.ReadAll(io.LimitReader(in, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("the reading cannot be read: %w", err)
	}
	if len(data) > maxBytes {
		return nil, fmt.Errorf("more than %d MB: no reading is so long", maxBytes>>20)
	}
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		return nil, fmt.Errorf("this is no JSON document: %w", err)
	}
	top, ok := tree.(map[string]any)
	if !ok {
		return nil, errors.New("this JSON document is no reading: it is not an object")
	}
	if top["schema"] != Schema {
		if s, ok := top["schema"].(string); ok {
			return nil, fmt.Errorf("this is a document of the form %.60q, and %q was expected: write the reading again with this version", s, Schema)
		}
		return nil, fmt.Errorf("this JSON document is no reading: its key schema is not %q", Schema)
	}
	if err := complete(tree, reflect.TypeFor[Reading](), "reading"); err != nil {
		return nil, err
	}
	var r Reading
	if err := json.Unmarshal(data, &r); err != nil {
		var wrong *json.UnmarshalTypeError
		if errors.As(err, &wrong) {
			return nil, fmt.Errorf("the reading's %s cannot be a %s", wrong.Field, wrong.Value)
		}
		return nil, fmt.Errorf("the reading cannot be understood: %w", err)
	}
	if err := r.check(); err != nil {
		return nil, fmt.Errorf("the reading makes no sense: %w", err)
	}
	r.conclude()
	return &r, nil
}

// later are the keys that readings written by the first version lack.
var later = []string{"budget", "verdict", "candidates", "bolt_guesses"}

// conclude fills what follows from the rest of the reading and is not there.
func (r *Reading) conclude() {
	if r.Budget == nil {
		r.Budget = []BudgetTerm{}
	}
	if r.Verdict == nil {
		r.Judge(0)
	}
	if r.Candidates == nil {
		r.Guess()
	}
	if r.Bolts == nil {
		r.guessBolts()
	}
}

// complete finds keys of the type t that v lacks or that are null without
// being a pointer; encoding/json takes both for zero.
func complete(v any, t reflect.Type, path string) error {
	switch t.Kind() {
	case reflect.Pointer:
		if v == nil {
			return nil
		}
		return complete(v, t.Elem(), path)
	case reflect.Struct:
		object, ok := v.(map[string]any)
		if !ok {
			return fmt.Errorf("%s is not an object", path)
		}
		for i := range t.NumField() {
			key, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			value, ok := object[key]
			if !ok && t == reflect.TypeFor[Reading]() && slices.Contains(later, key) {
				continue
			}
			if !ok {
				return fmt.Errorf("%s lacks the key %s", path, key)
			}
			if err := complete(value, t.Field(i).Type, path+"."+key); err != nil {
				return err
			}
		}
	case reflect.Slice:
		list, ok := v.([]any)
		if !ok {
			return fmt.Errorf("%s is not a list", path)
		}
		for i, value := range list {
			if err := complete(value, t.Elem(), fmt.Sprintf("%s[%d]", path, i)); err != nil {
				return err
			}
		}
	default:
		if v == nil {
			return fmt.Errorf("%s is null", path)
		}
	}
	return nil
}

// validText replaces what JSON text cannot hold: a file's name may be any
// bytes.
func (r *Reading) validText() {
	for _, s := range []*string{&r.Source.File, &r.Source.SHA256, &r.Source.Kind, &r.Scale.Method} {
		*s = strings.ToValidUTF8(*s, "\uFFFD")
	}
	for i, t := range r.Budget {
		r.Budget[i].Term = strings.ToValidUTF8(t.Term, "\uFFFD")
	}
	for i, w := range r.Warnings {
		r.Warnings[i] = strings.ToValidUTF8(w, "\uFFFD")
	}
}
