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

//go:embed help_solve.txt
var helpSolve string

// solveCommand is what the flags of boltrose solve say. Lengths are in the
// units asked for until measured turns them into millimetres.
type solveCommand struct {
	given        pattern.Measured
	pcdU95, dU95 float64
	calipersU95  float64 // 0: the default
	onCircleU95  float64
	results
}

func runSolve(args []string, stdout, stderr io.Writer) int {
	c, err := parseSolve(args)
	if err == nil {
		err = checkOutputs(c.outputs())
	}
	if err != nil {
		return ended(err, helpSolve, stdout, stderr)
	}
	s, err := pattern.Solve(c.measured())
	measurements := func(w io.Writer) error { return show.Measurements(w, s, c.unit()) }
	switch {
	case errors.Is(err, pattern.ErrUndetermined) || errors.Is(err, pattern.ErrContradiction):
		if s == nil {
			measurements = nil
		}
		return c.none(err, measurements, stdout, stderr)
	case err == nil:
		err = c.give(s.Reading, afterBlank(measurements), stdout, stderr)
	}
	return ended(err, helpSolve, stdout, stderr)
}

func newSolveFlags(c *solveCommand) *pflag.FlagSet {
	f := newFlags("solve")
	f.Var(distancesValue(&c.given.Between), "between", "")
	f.Var(pcdValue(&c.given.PCD, &c.pcdU95), "pcd", "")
	f.IntVar(&c.given.Holes, "holes", 0, "")
	f.Var(sizeValue(&c.given.Diameter, &c.dU95), "diameter", "")
	f.BoolVar(&c.given.Even, "even", false, "")
	f.Var(lengthValue(&c.calipersU95), "calipers", "")
	f.Var(lengthValue(&c.onCircleU95), "on-circle", "")
	c.results.addTo(f)
	return f
}

func parseSolve(args []string) (*solveCommand, error) {
	c := &solveCommand{}
	f := newSolveFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	switch {
	case f.NArg() > 0:
		return nil, fmt.Errorf("solve takes no file, but what you measured: --between 1-2=48.3; what is %.40q?", f.Arg(0))
	case len(c.given.Between) == 0:
		return nil, errors.New("what was measured? For example: boltrose solve --pcd 96 --between 1-2=48.3 --between 2-3=47.9")
	case f.Changed("holes") && (c.given.Holes < 2 || c.given.Holes > pattern.MaxByHand):
		return nil, fmt.Errorf("--holes is a number from 2 to %d, not %d", pattern.MaxByHand, c.given.Holes)
	}
	return c, c.results.check(f)
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
