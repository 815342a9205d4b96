package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"

	"boltrose/cmd/internal/show"
	"boltrose/pattern"

	"github.com/spf13/pflag"
)

//go:embed help_combine.txt
var helpCombine string

// combineCommand is what the flags of boltrose combine say.
type combineCommand struct {
	files []string
	opts  pattern.CombineOptions
	results
}

func runCombine(args []string, stdout, stderr io.Writer) int {
	c, err := parseCombine(args)
	var in []pattern.Named
	if err == nil {
		in, err = c.open()
	}
	if err != nil {
		return ended(err, helpCombine, stdout, stderr)
	}
	out, err := pattern.Combine(in, c.opts)
	together := func(w io.Writer) error { return show.Combination(w, out, c.unit()) }
	switch {
	case errors.Is(err, pattern.ErrNotOneFace) || errors.Is(err, pattern.ErrDisagree):
		if out == nil {
			together = nil
		}
		return c.none(err, together, stdout, stderr)
	case err == nil:
		err = c.give(out.Reading, afterBlank(together), stdout, stderr)
	}
	return ended(err, helpCombine, stdout, stderr)
}

// open reads the readings, once it is known that the result can be written.
func (c *combineCommand) open() ([]pattern.Named, error) {
	if err := checkOutputs(c.outputs(), asInputs("reading", c.files)...); err != nil {
		return nil, err
	}
	var in []pattern.Named
	for _, file := range c.files {
		r, err := openReading(file)
		if err != nil {
			return nil, err
		}
		in = append(in, pattern.Named{Name: file, Reading: r})
	}
	return in, nil
}

func newCombineFlags(c *combineCommand) *pflag.FlagSet {
	f := newFlags("combine")
	f.BoolVar(&c.opts.Independent, "independent", false, "")
	f.IntVar(&c.opts.Zero, "zero", 0, "")
	f.Var(turnsValue(&c.opts.Turned), "turned", "")
	c.results.addTo(f)
	return f
}

func parseCombine(args []string) (*combineCommand, error) {
	c := &combineCommand{}
	f := newCombineFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	c.files = f.Args()
	switch {
	case len(c.files) < 2:
		return nil, errors.New("which readings? Two or more, for example: boltrose combine first.json second.json")
	case f.Changed("zero") && c.opts.Zero < 1:
		return nil, fmt.Errorf("--zero is the number of a hole, not %d", c.opts.Zero)
	case f.Changed("turned") && len(c.opts.Turned) != len(c.files):
		return nil, fmt.Errorf("--turned has %d angles for %d readings: say of each how its paper lay on the scanner, as --turned 0,90", len(c.opts.Turned), len(c.files))
	case c.json == "-" && f.Changed("units"):
		return nil, errors.New("--units and --json - cannot go together: JSON is always in mm")
	}
	for i, file := range c.files {
		if file == "" {
			return nil, errors.New("a reading's name is empty")
		}
		for _, other := range c.files[:i] {
			if sameFile(file, other) {
				return nil, fmt.Errorf("%s is given twice, which tells nothing twice", file)
			}
		}
	}
	return c, c.results.check(f)
}
