// Package show makes results fit for people: the text a person works from at
// the bench, the picture with what was found drawn on it, and the list of
// what was seen and why it was taken or left.
package show

import (
	"bytes"
	"fmt"
	"io"

	"boltrose/pattern"
)

// TextOptions says how a reading is printed.
type TextOptions struct {
	Unit   Unit
	Chords bool // also list every pair of holes, not only the neighbours
}

// Text prints a reading.
func Text(w io.Writer, r *pattern.Reading, opts TextOptions) error {
	s := NewSheet(r, opts.Unit)
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n", s.Title)
	for i, words := range s.Verdict {
		lead := "        "
		if i == 0 {
			lead = "Verdict "
		}
		wrap(&b, lead, words)
	}
	if len(s.Verdict) > 0 {
		fmt.Fprintln(&b)
	}
	facts := func(facts []Fact) {
		for _, f := range facts {
			wrap(&b, fmt.Sprintf("%-8s", f.Name), f.Text)
		}
	}
	facts(s.Facts)
	if s.Bolts != "" {
		facts([]Fact{{"Bolts", s.Bolts}})
	}
	fmt.Fprintln(&b)
	s.Holes.write(&b)
	if s.OffCircle != "" {
		wrap(&b, "* ", s.OffCircle)
	}
	for _, note := range s.HoleNotes {
		wrap(&b, "", note)
	}
	spans := func(tab Table) {
		if len(tab.Heads) > 0 {
			fmt.Fprintln(&b)
			tab.write(&b)
		}
	}
	spans(s.Gaps)
	if opts.Chords {
		if len(r.Chords) > 0 {
			fmt.Fprintln(&b, "\nEvery pair of holes, included angle of at most 180°:")
		}
		spans(spanTable("Pair", r.Chords, opts.Unit))
	}
	if len(s.Features) > 0 {
		fmt.Fprintln(&b)
	}
	facts(s.Features)
	if len(s.Warnings) > 0 {
		fmt.Fprintln(&b)
	}
	for _, w := range s.Warnings {
		wrap(&b, "Warning: ", w)
	}
	fmt.Fprintln(&b)
	wrap(&b, "", s.Known)
	fmt.Fprintln(&b)
	wrap(&b, "", Safety)
	_, err := w.Write(b.Bytes())
	return err
}
