package pattern

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
)

// Options is what New needs to know beside the rings.
type Options struct {
	Source Source
	View   View // "" is Facing
	Scale  Scale

	// Pixel tells where a point of the source's own coordinates (mm) is in
	// the picture; nil without one.
	Pixel func(mm r2.Vec) r2.Vec

	// Zero is the number (in the reading) of the hole which is to be 0°; 0
	// leaves it to hole 1.
	Zero int

	// Between are distances between holes that are known from elsewhere, by
	// the numbers that the reading gives the holes, and KnownPCD (mm), where
	// it is not 0, the pitch circle's diameter with its standard uncertainty
	// KnownPCDU, 0 for an exact one. Everything is adjusted to them. Adjusted
	// then tells the scale; nil leaves its sizes out.
	Between   []Distance
	KnownPCD  float64
	KnownPCDU float64
	Adjusted  func(Adjustment) Scale

	// NoScale says that the source has no scale of its own: its millimetres
	// are a guess, and the known lengths give the scale.
	NoScale bool

	// SharedNames says which cause each of the rings' shared errors has, for
	// the budget; terms of one name are added up.
	SharedNames []string

	// DiameterBiasU (mm) is the standard uncertainty of what a diameter is
	// wrong by whatever its edge says: paper bridges the edge of a rubbed
	// hole. It widens every diameter and no centre.
	DiameterBiasU float64

	// DrilledU95 (mm) is the allowance of the verdict for drilling (see
	// Judge); 0 stands for a general tolerance by size.
	DrilledU95 float64

	Warnings []string
}

// New computes the reading of the rings that choice takes.
//
// The pitch circle is the equally weighted least-squares circle through the
// holes on it. All uncertainties come from one joint covariance of all
// centres and diameters: each ring's own, and for every error that the rings
// share the outer product of their displacements.
func New(rings []Ring, choice Choice, opts Options) (*Reading, error) {
	r, err := measure(rings, choice, opts)
	if err != nil {
		return nil, err
	}
	r.Judge(opts.DrilledU95)
	r.Guess()
	r.guessBolts()
	if err := r.check(); err != nil {
		return nil, fmt.Errorf("the measured pattern makes no sense: %w", err)
	}
	return r, nil
}

// measure is the reading without what is concluded from it.
func measure(rings []Ring, choice Choice, opts Options) (*Reading, error) {
	if opts.View == "" {
		opts.View = Facing
	}
	if err := opts.check(); err != nil {
		return nil, err
	}
	p, err := gather(rings, choice)
	if err != nil {
		return nil, err
	}
	p.opts = opts
	if err := p.locate(); err != nil {
		return nil, err
	}
	p.number()
	if opts.Pixel != nil {
		p.originPx = opts.Pixel(p.origin)
	}
	if err := p.adjust(); err != nil {
		return nil, err
	}
	if err := p.propagate(); err != nil {
		return nil, err
	}

	r := &Reading{
		Schema:  Schema,
		Source:  opts.Source,
		View:    opts.View,
		Scale:   p.scale(),
		Pattern: Free,
		Holes:   p.holeTable(),
		Bore:    p.feature(p.bore),
		Rim:     p.feature(p.rim),
		Gaps:    []Span{},
		Chords:  p.chords(),
	}
	if p.hasCircle {
		r.Pattern = OnCircle
		r.PitchCircle = p.circleTable()
		if err := p.setAngles(r); err != nil {
			return nil, err
		}
		r.Gaps = p.gaps()
	}
	n := 2 * p.holes
	r.CovarianceMM2 = make([]float64, 0, n*n)
	for i := range n {
		for j := range n {
			r.CovarianceMM2 = append(r.CovarianceMM2, p.cov.At(i, j))
		}
	}
	r.Budget = p.budget(r, p.shared)
	r.Warnings = p.warnings(choice)
	r.validText()
	return r, nil
}

// check finds options that no reading can follow.
func (o Options) check() error {
	for _, v := range []struct {
		name  string
		value float64
	}{
		{"known pitch circle diameter", o.KnownPCD},
		{"uncertainty of the known pitch circle diameter", o.KnownPCDU},
		{"uncertainty of the diameters", o.DiameterBiasU},
		{"allowance for drilling", o.DrilledU95},
	} {
		if !(v.value >= 0 && v.value <= maxMM) {
			return fmt.Errorf("the %s cannot be %g mm", v.name, v.value)
		}
	}
	return nil
}
