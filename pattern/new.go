package pattern

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/mat"
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

	// KnownPCD (mm), where it is not 0, is a pitch circle diameter known from
	// elsewhere with the standard uncertainty KnownPCDU; it replaces the
	// source's scale.
	KnownPCD  float64
	KnownPCDU float64

	// DiameterBiasU (mm) is the standard uncertainty of what a diameter is
	// wrong by whatever its edge says: paper bridges the edge of a rubbed
	// hole. It widens every diameter and no centre.
	DiameterBiasU float64

	Warnings []string
}

// New computes the reading of the rings that choice takes.
//
// The pitch circle is the equally weighted least-squares circle through the
// holes on it. All uncertainties come from one joint covariance of all
// centres and diameters: each ring's own, and for every error that the rings
// share the outer product of their displacements.
func New(rings []Ring, choice Choice, opts Options) (*Reading, error) {
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
	r.Warnings = p.warnings(choice)
	r.validText()
	if err := r.check(); err != nil {
		return nil, fmt.Errorf("the measured pattern makes no sense: %w", err)
	}
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
	} {
		if !(v.value >= 0 && v.value <= maxMM) {
			return fmt.Errorf("the %s cannot be %g mm", v.name, v.value)
		}
	}
	return nil
}

// part is a ring with its place in the pattern.
type part struct {
	Ring
	on    bool // takes part in the pitch circle
	outer int  // index of its chamfer among the parts, −1 without one
}

// assembly is a pattern while it is computed. Its parts are the holes, in
// the reading's order once number has run, then chamfers, bore and rim.
type assembly struct {
	opts      Options
	parts     []part
	holes     int
	bore, rim int // indices into parts, −1 without one

	// In the source's coordinates: the origin, and the pitch circle, whose
	// diameter by the source's own scale has the standard uncertainty fittedU.
	hasCircle bool
	origin    r2.Vec
	fitted    circle.Circle
	fittedU   float64

	// zoom is the reading's millimetres per source's: 1 unless a known pitch
	// circle replaces the scale, and then with a relative uncertainty.
	zoom, zoomU float64

	// In the reading's coordinates: the centres and diameters of the parts
	// and the covariance of x1, y1, x2, … of all parts and then of all
	// diameters.
	at  []r2.Vec
	d   []float64
	cov *mat.SymDense
}

// knownPCD says whether a known pitch circle diameter replaces the scale.
func (p *assembly) knownPCD() bool { return p.hasCircle && p.opts.KnownPCD != 0 }

func gather(rings []Ring, choice Choice) (*assembly, error) {
	switch n := len(choice.Holes); {
	case n == 0:
		return nil, errors.New("no holes were found")
	case n > MaxHoles:
		return nil, fmt.Errorf("%d holes are more than the %d that a reading holds: take fewer, by size for instance", n, MaxHoles)
	}
	p := &assembly{holes: len(choice.Holes), bore: -1, rim: -1, hasCircle: choice.Circle}
	seen := map[int]bool{}
	take := func(i int) error {
		if i < 0 || i >= len(rings) {
			return fmt.Errorf("there is no ring %d among the %d", i, len(rings))
		}
		if seen[i] {
			return fmt.Errorf("ring %d is taken twice", rings[i].ID)
		}
		seen[i] = true
		if err := rings[i].check(len(rings[choice.Holes[0]].Shared)); err != nil {
			return fmt.Errorf("ring %d: %w", rings[i].ID, err)
		}
		p.parts = append(p.parts, part{Ring: rings[i], outer: -1})
		return nil
	}
	for _, i := range choice.Holes {
		if err := take(i); err != nil {
			return nil, err
		}
		p.parts[len(p.parts)-1].on = choice.Circle && !slices.Contains(choice.OffCircle, i)
	}
	for k, i := range choice.Holes {
		if outer, ok := choice.Outer[i]; ok {
			if err := take(outer); err != nil {
				return nil, err
			}
			p.parts[k].outer = len(p.parts) - 1
		}
	}
	for _, f := range []struct {
		ring  int
		index *int
	}{{choice.Bore, &p.bore}, {choice.Rim, &p.rim}} {
		if f.ring >= 0 {
			if err := take(f.ring); err != nil {
				return nil, err
			}
			*f.index = len(p.parts) - 1
		}
	}
	return p, nil
}

// check finds what no propagation can work on.
func (r Ring) check(terms int) error {
	numbers := []float64{r.Centre.X, r.Centre.Y, r.Diameter, r.DiameterU,
		r.CentreCov[0][0], r.CentreCov[0][1], r.CentreCov[1][0], r.CentreCov[1][1],
		r.CentrePx.X, r.CentrePx.Y, r.RimSeen}
	for _, v := range r.Shared {
		numbers = append(numbers, v.X, v.Y)
	}
	numbers = append(numbers, r.SharedDiameter...)
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > maxMM {
			return fmt.Errorf("a value of %g is no measurement", v)
		}
	}
	c := r.CentreCov
	switch {
	case r.Diameter <= 0:
		return errors.New("its diameter is not positive")
	case c[0][0] < 0, c[1][1] < 0, r.DiameterU < 0,
		c[0][0]*c[1][1] < c[0][1]*c[1][0]*(1-1e-9), c[0][1] != c[1][0]:
		return errors.New("its covariance is none")
	case len(r.Shared) != terms, len(r.SharedDiameter) != terms:
		return fmt.Errorf("it has %d and %d shared terms where the first hole has %d", len(r.Shared), len(r.SharedDiameter), terms)
	}
	return nil
}

// locate finds the origin: the pitch circle's centre or the centroid.
func (p *assembly) locate() error {
	var all, on []r2.Vec
	for _, h := range p.parts[:p.holes] {
		all = append(all, h.Centre)
		if h.on {
			on = append(on, h.Centre)
		}
	}
	if p.hasCircle {
		c, err := pitchCircle(on)
		p.fitted, p.origin = c, c.Centre
		return err
	}
	for _, c := range all {
		p.origin = r2.Add(p.origin, r2.Scale(1/float64(len(all)), c))
	}
	return nil
}

// sameDirection is the angle (rad) below which rounding alone tells two
// directions apart.
const sameDirection = 1e-9

// number sorts the holes counter-clockwise from the one nearest to twelve
// o'clock. With a pitch circle that one is on it. Of two equally near, the
// one to the right is first.
func (p *assembly) number() {
	holes := p.parts[:p.holes]
	fromTwelve := func(h part) float64 { // (−π, π], positive to the left
		v := r2.Sub(h.Centre, p.origin)
		return math.Atan2(-v.X, v.Y)
	}
	first := math.Inf(1)
	for _, h := range holes {
		a := fromTwelve(h)
		nearer := math.Abs(first) - math.Abs(a)
		if h.on == p.hasCircle && (nearer > sameDirection || nearer > -sameDirection && a < first) {
			first = a
		}
	}
	turn := func(h part) float64 {
		return math.Floor(math.Mod(fromTwelve(h)-first+sameDirection/2+4*math.Pi, 2*math.Pi) / sameDirection)
	}
	radius := func(h part) float64 { return r2.Norm(r2.Sub(h.Centre, p.origin)) }
	slices.SortStableFunc(holes, func(a, b part) int {
		if turn(a) == turn(b) && a.on != b.on {
			if a.on {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(turn(a), turn(b)), cmp.Compare(radius(a), radius(b)), cmp.Compare(a.ID, b.ID))
	})
}

// propagate computes the joint covariance in the source's coordinates and
// carries it over to the reading's.
//
// With the fitted pitch circle's centre c and diameter D, a reading's point is
// x' = K/D · (x − c) and its diameter d' = K/D · d, where K is the known
// diameter, or D itself without one; c and D depend on all holes.
func (p *assembly) propagate() error {
	m := len(p.parts)
	own, joint := p.sourceCovariance()

	datum := mat.NewDense(3, 3*m, nil)
	jac, err := p.datumJacobian()
	if err != nil {
		return err
	}
	datum.Slice(0, 3, 0, 2*p.holes).(*mat.Dense).Copy(jac)
	fitted := 2 * p.fitted.Radius
	p.fittedU = math.Sqrt(math.Max(propagate(datum, joint).At(2, 2), 0))

	p.zoom = 1
	if p.knownPCD() {
		p.zoom = p.opts.KnownPCD / fitted
		noise := math.Sqrt(math.Max(propagate(datum, own).At(2, 2), 0))
		p.zoomU = math.Hypot(p.opts.KnownPCDU/p.opts.KnownPCD, noise/fitted)
	}

	// Each coordinate x follows the datum through its row of follow, so that
	// the derivatives are zoom · (I − follow · datum).
	follow := mat.NewDense(3*m, 3, nil)
	byKnown := mat.NewVecDense(3*m, nil)
	set := func(row int, byX, byY, value float64) {
		follow.Set(row, 0, byX)
		follow.Set(row, 1, byY)
		if p.knownPCD() {
			follow.Set(row, 2, value/fitted)
			byKnown.SetVec(row, value/fitted)
		}
	}
	for i, q := range p.parts {
		v := r2.Sub(q.Centre, p.origin)
		set(2*i, 1, 0, v.X)
		set(2*i+1, 0, 1, v.Y)
		set(2*m+i, 0, 0, q.Diameter)
		p.at = append(p.at, r2.Scale(p.zoom, v))
		p.d = append(p.d, p.zoom*q.Diameter)
	}
	p.cov = propagateLess(joint, follow, datum)
	p.cov.ScaleSym(p.zoom*p.zoom, p.cov)
	p.cov.SymRankOne(p.cov, p.opts.KnownPCDU*p.opts.KnownPCDU, byKnown)
	return nil
}

// sourceCovariance returns the covariance of x1, y1, x2, … and then of the
// diameters of all parts in the source's coordinates: from what each ring has
// of its own, and jointly with what all share.
func (p *assembly) sourceCovariance() (own, joint *mat.SymDense) {
	m := len(p.parts)
	own, joint = mat.NewSymDense(3*m, nil), mat.NewSymDense(3*m, nil)
	for i, q := range p.parts {
		own.SetSym(2*i, 2*i, q.CentreCov[0][0])
		own.SetSym(2*i, 2*i+1, q.CentreCov[0][1])
		own.SetSym(2*i+1, 2*i+1, q.CentreCov[1][1])
		own.SetSym(2*m+i, 2*m+i, q.DiameterU*q.DiameterU)
	}
	joint.CopySym(own)
	for t := range p.parts[0].Shared {
		move := mat.NewVecDense(3*m, nil)
		for i, q := range p.parts {
			move.SetVec(2*i, q.Shared[t].X)
			move.SetVec(2*i+1, q.Shared[t].Y)
			move.SetVec(2*m+i, q.SharedDiameter[t])
		}
		joint.SymRankOne(joint, 1, move)
	}
	return own, joint
}

// datumJacobian returns the 3×2N derivatives of the origin's x and y and of
// the pitch circle's diameter (0 without one) by the holes' coordinates.
func (p *assembly) datumJacobian() (*mat.Dense, error) {
	if p.hasCircle {
		return pitchCircleJacobian(p.fitted, p.parts[:p.holes])
	}
	jac := mat.NewDense(3, 2*p.holes, nil)
	for i := range p.holes {
		jac.Set(0, 2*i, 1/float64(p.holes))
		jac.Set(1, 2*i+1, 1/float64(p.holes))
	}
	return jac, nil
}
