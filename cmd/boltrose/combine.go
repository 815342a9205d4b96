package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"

	"github.com/spf13/pflag"
)

//go:embed help_combine.txt
var helpCombine string

// combineCommand is what the flags of boltrose combine say.
type combineCommand struct {
	files       []string
	opts        pattern.CombineOptions
	json, units string
	chords      bool
}

func runCombine(args []string, stdout, stderr io.Writer) int {
	c, err := parseCombine(args)
	if errors.Is(err, pflag.ErrHelp) {
		fmt.Fprint(stdout, helpCombine)
		return exitDone
	}
	if err != nil {
		return wrong(stderr, err)
	}
	for _, file := range c.files {
		if err := checkOutputs(file, c.outputs()); err != nil {
			return wrong(stderr, err)
		}
	}
	var in []pattern.Named
	for _, file := range c.files {
		r, err := openReading(file)
		if err != nil {
			return wrong(stderr, err)
		}
		in = append(in, pattern.Named{Name: file, Reading: r})
	}
	out, err := pattern.Combine(in, c.opts)
	if errors.Is(err, pattern.ErrNotOneFace) || errors.Is(err, pattern.ErrDisagree) {
		return c.reportNone(out, err, stdout, stderr)
	}
	if err != nil {
		return wrong(stderr, err)
	}
	if err := c.report(out, stdout, stderr); err != nil {
		return wrong(stderr, err)
	}
	return exitDone
}

func newCombineFlags(c *combineCommand) *pflag.FlagSet {
	f := pflag.NewFlagSet("combine", pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	f.BoolVar(&c.opts.Independent, "independent", false, "")
	f.IntVar(&c.opts.Zero, "zero", 0, "")
	f.StringVar(&c.json, "json", "", "")
	f.StringVar(&c.units, "units", "mm", "")
	f.BoolVar(&c.chords, "chords", false, "")
	return f
}

func parseCombine(args []string) (*combineCommand, error) {
	c := &combineCommand{}
	f := newCombineFlags(c)
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return nil, err
		}
		return nil, fmt.Errorf("%w (boltrose combine --help lists the flags)", err)
	}
	c.files = f.Args()
	switch {
	case len(c.files) < 2:
		return nil, errors.New("which readings? Two or more, for example: boltrose combine first.json second.json")
	case f.Changed("json") && c.json == "":
		return nil, errors.New("--json wants a file name, or - for standard output")
	case c.units != "mm" && c.units != "in":
		return nil, fmt.Errorf("--units is mm or in, not %s", c.units)
	case f.Changed("zero") && c.opts.Zero < 1:
		return nil, fmt.Errorf("--zero is the number of a hole, not %d", c.opts.Zero)
	case c.json == "-" && (c.chords || f.Changed("units")):
		return nil, errors.New("--chords or --units and --json - cannot go together: JSON always holds every chord, in mm, and the text is not printed")
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
	return c, nil
}

func (c *combineCommand) outputs() []output {
	if c.json == "" || c.json == "-" {
		return nil
	}
	return []output{{"--json", c.json}}
}

func (c *combineCommand) unit() show.Unit {
	if c.units == "in" {
		return show.Inch
	}
	return show.MM
}

func (c *combineCommand) report(out *pattern.Combination, stdout, stderr io.Writer) error {
	if c.json == "-" {
		warnings(stderr, out.Reading)
		return toStdout(stdout, out.Reading.WriteJSON)
	}
	err := toStdout(stdout, func(w io.Writer) error {
		if err := show.Text(w, out.Reading, show.TextOptions{Unit: c.unit(), Chords: c.chords}); err != nil {
			return err
		}
		fmt.Fprintln(w)
		return show.Combination(w, out, c.unit())
	})
	if err != nil || c.json == "" {
		return err
	}
	return atomicfile.Write(c.json, out.Reading.WriteJSON)
}

// reportNone says why there is no combined reading, and what to do.
func (c *combineCommand) reportNone(out *pattern.Combination, err error, stdout, stderr io.Writer) int {
	if out != nil && c.json != "-" {
		if err := toStdout(stdout, func(w io.Writer) error { return show.Combination(w, out, c.unit()) }); err != nil {
			return wrong(stderr, err)
		}
	}
	fmt.Fprintln(stderr, "boltrose: "+oneLine(err.Error()))
	if c.json != "" && c.json != "-" {
		fmt.Fprintf(stderr, "Nothing was written to %s.\n", oneLine(c.json))
	}
	return exitNoPattern
}
