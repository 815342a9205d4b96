package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"

	"github.com/spf13/pflag"
)

// results is how a command that makes a reading is asked to give it.
type results struct {
	json, units string
	chords      bool
}

func (r *results) addTo(f *pflag.FlagSet) {
	f.StringVar(&r.json, "json", "", "")
	f.StringVar(&r.units, "units", "mm", "")
	f.BoolVar(&r.chords, "chords", false, "")
}

func (r *results) check(f *pflag.FlagSet) error {
	switch {
	case f.Changed("json") && r.json == "":
		return errors.New("--json wants a file name, or - for standard output")
	case r.units != "mm" && r.units != "in":
		return fmt.Errorf("--units is mm or in, not %s", r.units)
	case r.json == "-" && r.chords:
		return errors.New("--chords and --json - cannot go together: JSON always holds every chord, and the text is not printed")
	}
	return nil
}

func (r *results) outputs() []output {
	if r.json == "" || r.json == "-" {
		return nil
	}
	return []output{{"--json", r.json}}
}

func (r *results) unit() show.Unit {
	if r.units == "in" {
		return show.Inch
	}
	return show.MM
}

// give writes the reading's file, or prints it; more is what the text goes on
// with.
func (r *results) give(reading *pattern.Reading, more func(io.Writer) error, stdout, stderr io.Writer) error {
	if r.json == "-" {
		warnings(stderr, reading.Warnings)
		return toStdout(stdout, reading.WriteJSON)
	}
	if r.json != "" {
		if err := atomicfile.Write(r.json, reading.WriteJSON); err != nil {
			return err
		}
	}
	return toStdout(stdout, func(w io.Writer) error {
		if err := show.Text(w, reading, show.TextOptions{Unit: r.unit(), Chords: r.chords}); err != nil {
			return err
		}
		return more(w)
	})
}

// afterBlank prints an empty line first.
func afterBlank(more func(io.Writer) error) func(io.Writer) error {
	return func(w io.Writer) error {
		fmt.Fprintln(w)
		return more(w)
	}
}

// none says why there is no reading; seen prints what there is instead, nil
// where there is nothing.
func (r *results) none(why error, seen func(io.Writer) error, stdout, stderr io.Writer) int {
	if seen != nil && r.json != "-" {
		if err := toStdout(stdout, seen); err != nil {
			return wrong(stderr, err)
		}
	}
	fmt.Fprintln(stderr, "boltrose: "+oneLine(why.Error()))
	r.nothingWritten(stderr)
	return exitNoPattern
}

func (r *results) nothingWritten(stderr io.Writer) {
	if len(r.outputs()) > 0 {
		fmt.Fprintf(stderr, "Nothing was written to %s.\n", oneLine(r.json))
	}
}

// warnings prints warnings where the text that holds them is not printed.
func warnings(stderr io.Writer, all []string) {
	for _, w := range all {
		fmt.Fprintln(stderr, "boltrose: warning: "+oneLine(w))
	}
}

// toStdout prints what fill writes, and does not take a full disk for success.
func toStdout(stdout io.Writer, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	w := bufio.NewWriter(stdout)
	w.Write(b.Bytes())
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output cannot be written: %v", err)
	}
	return nil
}
