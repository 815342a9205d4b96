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

//go:embed help_solve.txt
var helpSolve string

// solveCommand is what the flags of boltrose solve say. Lengths are in the
// units asked for until measured turns them into millimetres.
type solveCommand struct {
	given        pattern.Measured
	pcdU95, dU95 float64
	calipersU95  float64 // 0: the default
	onCircleU95  float64
	json, units  string
	chords       bool
}

func runSolve(args []string, stdout, stderr io.Writer) int {
	c, err := parseSolve(args)
	if errors.Is(err, pflag.ErrHelp) {
		fmt.Fprint(stdout, helpSolve)
		return exitDone
	}
	if err != nil {
		return wrong(stderr, err)
	}
	if err := checkOutputs("", c.outputs()); err != nil {
		return wrong(stderr, err)
	}
	s, err := pattern.Solve(c.measured())
	if errors.Is(err, pattern.ErrUndetermined) || errors.Is(err, pattern.ErrContradiction) {
		return c.reportNone(s, err, stdout, stderr)
	}
	if err != nil {
		return wrong(stderr, err)
	}
	if err := c.report(s, stdout, stderr); err != nil {
		return wrong(stderr, err)
	}
	return exitDone
}

func newSolveFlags(c *solveCommand) *pflag.FlagSet {
	f := pflag.NewFlagSet("solve", pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	f.Var(distancesValue(&c.given.Between), "between", "")
	f.Var(pcdValue(&c.given.PCD, &c.pcdU95), "pcd", "")
	f.IntVar(&c.given.Holes, "holes", 0, "")
	f.Var(sizeValue(&c.given.Diameter, &c.dU95), "diameter", "")
	f.BoolVar(&c.given.Even, "even", false, "")
	f.Var(lengthValue(&c.calipersU95), "calipers", "")
	f.Var(lengthValue(&c.onCircleU95), "on-circle", "")
	f.StringVar(&c.json, "json", "", "")
	f.StringVar(&c.units, "units", "mm", "")
	f.BoolVar(&c.chords, "chords", false, "")
	return f
}

func parseSolve(args []string) (*solveCommand, error) {
	c := &solveCommand{}
	f := newSolveFlags(c)
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return nil, err
		}
		return nil, fmt.Errorf("%w (boltrose solve --help lists the flags)", err)
	}
	switch {
	case f.NArg() > 0:
		return nil, fmt.Errorf("solve takes no file, but what you measured: --between 1-2=48.3; what is %.40q?", f.Arg(0))
	case len(c.given.Between) == 0:
		return nil, errors.New("what was measured? For example: boltrose solve --pcd 96 --between 1-2=48.3 --between 2-3=47.9")
	case f.Changed("json") && c.json == "":
		return nil, errors.New("--json wants a file name, or - for standard output")
	case c.units != "mm" && c.units != "in":
		return nil, fmt.Errorf("--units is mm or in, not %s", c.units)
	case f.Changed("holes") && (c.given.Holes < 2 || c.given.Holes > pattern.MaxByHand):
		return nil, fmt.Errorf("--holes is a number from 2 to %d, not %d", pattern.MaxByHand, c.given.Holes)
	case c.json == "-" && c.chords:
		return nil, errors.New("--chords and --json - cannot go together: JSON always holds every chord, and the text is not printed")
	}
	return c, nil
}

// measured is what was given, in mm, with standard uncertainties.
func (c *solveCommand) measured() pattern.Measured {
	unit := 1.0
	if c.units == "in" {
		unit = 25.4
	}
	m := c.given
	m.PCD, m.PCDU = m.PCD*unit, c.pcdU95*unit/2
	m.Diameter, m.DiameterU = m.Diameter*unit, c.dU95*unit/2
	m.DefaultU, m.OnCircleU = c.calipersU95*unit/2, c.onCircleU95*unit/2
	m.Between = nil
	for _, d := range c.given.Between {
		d.Value *= unit
		d.U *= unit
		d.Pins[0] *= unit
		d.Pins[1] *= unit
		m.Between = append(m.Between, d)
	}
	return m
}

func (c *solveCommand) outputs() []output {
	if c.json == "" || c.json == "-" {
		return nil
	}
	return []output{{"--json", c.json}}
}

func (c *solveCommand) unit() show.Unit {
	if c.units == "in" {
		return show.Inch
	}
	return show.MM
}

func (c *solveCommand) report(s *pattern.Solution, stdout, stderr io.Writer) error {
	if c.json == "-" {
		warnings(stderr, s.Reading)
		return toStdout(stdout, s.Reading.WriteJSON)
	}
	err := toStdout(stdout, func(w io.Writer) error {
		if err := show.Text(w, s.Reading, show.TextOptions{Unit: c.unit(), Chords: c.chords}); err != nil {
			return err
		}
		fmt.Fprintln(w)
		return show.Measurements(w, s, c.unit())
	})
	if err != nil || c.json == "" {
		return err
	}
	return atomicfile.Write(c.json, s.Reading.WriteJSON)
}

// warnings prints what a reading warns of where its text is not printed.
func warnings(stderr io.Writer, r *pattern.Reading) {
	for _, w := range r.Warnings {
		fmt.Fprintln(stderr, "boltrose: warning: "+oneLine(w))
	}
}

// reportNone says why there is no reading, and what to do.
func (c *solveCommand) reportNone(s *pattern.Solution, err error, stdout, stderr io.Writer) int {
	if s != nil && c.json != "-" {
		if err := toStdout(stdout, func(w io.Writer) error { return show.Measurements(w, s, c.unit()) }); err != nil {
			return wrong(stderr, err)
		}
	}
	fmt.Fprintln(stderr, "boltrose: "+oneLine(err.Error()))
	if c.json != "" && c.json != "-" {
		fmt.Fprintf(stderr, "Nothing was written to %s.\n", oneLine(c.json))
	}
	return exitNoPattern
}
