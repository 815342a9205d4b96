package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// MaxByHand is the most holes that Solve takes: nobody measures more by hand.
const MaxByHand = 100

// OnCircleU95 (mm) is how far a hole is taken to lie off the pitch circle at
// most, unless somebody says better: common practice for marking out and
// drilling by hand.
const OnCircleU95 = 0.1

// What stops Solve. Both are wrapped with what is wrong and what to do.
var (
	ErrUndetermined  = errors.New("the measurements do not fix the pattern yet")
	ErrContradiction = errors.New("the measurements contradict one another")
)

// Measured is what was measured by hand on a face. Lengths are in mm. Holes
// are numbered counter-clockwise, looking at the face; which one is hole 1 is
// the person's choice.
type Measured struct {
	Holes   int // 0: as many as the largest number in Between
	Between []Distance

	PCD, PCDU           float64 // pitch circle diameter and its standard uncertainty; PCD 0 when not known
	Diameter, DiameterU float64 // the holes', all alike; Diameter 0 when not known
	DefaultU            float64 // standard uncertainty of a length without one of its own; 0: CaliperU95/2
	OnCircleU           float64 // how far a hole lies off the pitch circle (standard); 0: OnCircleU95/2
	Even                bool    // the holes are said to be equally spaced, each as true as OnCircleU
}

// Solution is a pattern that follows from measurements by hand.
type Solution struct {
	Reading *Reading // nil when the measurements contradict one another
	Checks  []HandCheck
	Closure *Closure // nil unless the pitch circle and every gap were measured

	// The test of all measurements together: the sum of the squared
	// residuals, each in units of its uncertainty, which is chi-square
	// distributed with Spare degrees of freedom when nothing is wrong. P is
	// the probability of a sum as large as this.
	ChiSquare float64
	Spare     int
	P         float64

	// Doubt says which measurement is likely wrong, if any is; Notes are what
	// else a person should know.
	Doubt string
	Notes []string
}

// HandCheck is one measurement beside what all of them together say.
type HandCheck struct {
	Name     string
	Measured float64 // mm, as it was given
	U        float64 // standard
	Adjusted float64 // what it should have been
	Checked  float64 // share of an error that would show, 0 (nothing checks it) to 1: Baarda's redundancy number
	W        float64 // its residual in units of the residual's standard deviation; 0 where nothing checks it
}

// Closure is the check of the trade: the gaps that follow from the chords
// between neighbours and the pitch circle add up to a full turn.
type Closure struct{ SumDeg, U95Deg float64 }

// Off says by how much the gaps fail to close (degrees).
func (c Closure) Off() float64 { return c.SumDeg - 360 }

// why says what does not agree, for someone who sees nothing else.
func (s *Solution) why() string {
	if c := s.Closure; c != nil && !c.Closes() {
		return fmt.Sprintf("the gaps add up to %s; %s", c, s.Doubt)
	}
	return s.Doubt
}

// Closes says whether the gaps add up to a full turn within their ±.
func (c Closure) Closes() bool { return math.Abs(c.Off()) <= c.U95Deg }

func (c Closure) String() string {
	sum := fmt.Sprintf("%.2f° ±%.2f°", c.SumDeg, c.U95Deg)
	switch {
	case c.Closes():
		return sum
	case c.Off() > 0:
		return fmt.Sprintf("%s, %.2f° too much", sum, c.Off())
	}
	return fmt.Sprintf("%s, %.2f° too little", sum, -c.Off())
}

// Solve adjusts hand measurements by least squares to the holes' positions:
// a free network (Koch, "Parameter Estimation and Hypothesis Testing in
// Linear Models", 1999) whose observations are the distances, the pitch
// circle's diameter, and that each hole lies on the pitch circle but for the
// maker's workmanship.
//
// It fails with ErrUndetermined, saying what to measure, or with
// ErrContradiction; the latter comes with a Solution that says what is known
// about the culprit.
func Solve(m Measured) (*Solution, error) {
	n, err := newNetwork(m)
	if err != nil {
		return nil, err
	}
	start, others := n.starts()
	if err := n.determined(start); err != nil {
		return nil, err
	}
	if err := n.unambiguous(start, others); err != nil {
		return nil, err
	}
	if err := n.adjust(start); err != nil {
		return nil, err
	}
	s := n.judge()
	if s.contradiction() {
		return s, fmt.Errorf("%w: %s", ErrContradiction, s.why())
	}
	if s.Reading, err = n.reading(s); err != nil {
		return nil, err
	}
	return s, nil
}

// network is a set of measurements while it is adjusted.
type network struct {
	Measured
	freeD bool // the holes' diameter is an unknown, because distances are over them
	notes []string

	// The outcome: hole centres, the diameter, the covariance of x1, y1, … and
	// (with freeD) of the diameter, the observations with their derivatives,
	// and what the unknowns can do to them (see step).
	at      []r2.Vec
	d       float64
	cov     *mat.SymDense
	obs     []observation
	rows    *mat.Dense
	reached *mat.Dense
}

func newNetwork(m Measured) (*network, error) {
	n := &network{Measured: m}
	if n.DefaultU == 0 {
		n.DefaultU = CaliperU95 / 2
	}
	if n.OnCircleU == 0 {
		n.OnCircleU = OnCircleU95 / 2
	}
	for _, v := range []struct {
		name  string
		value float64
	}{
		{"pitch circle diameter", n.PCD}, {"uncertainty of the pitch circle diameter", n.PCDU},
		{"holes' diameter", n.Diameter}, {"uncertainty of the holes' diameter", n.DiameterU},
		{"uncertainty of a length", n.DefaultU}, {"distance of the holes from the pitch circle", n.OnCircleU},
	} {
		if !(v.value >= 0 && v.value <= maxMM) {
			return nil, fmt.Errorf("the %s cannot be %g mm", v.name, v.value)
		}
	}
	n.Between = nil
	largest := 0
	for _, d := range m.Between {
		if d.U == 0 {
			d.U = n.DefaultU
		}
		if err := d.Check(); err != nil {
			return nil, err
		}
		n.freeD = n.freeD || d.overHoles()
		largest = max(largest, d.From, d.To)
		n.Between = append(n.Between, d)
	}
	if n.Holes == 0 {
		n.Holes = largest
	}
	switch {
	case n.Holes == 0:
		return nil, errors.New("nothing was measured: give distances between holes, as 1-2=48.3")
	case n.Holes < 2:
		return nil, errors.New("one hole has no pitch circle: two or more are wanted")
	case n.Holes > MaxByHand:
		return nil, fmt.Errorf("%d holes are more than the %d that are solved by hand", n.Holes, MaxByHand)
	case largest > n.Holes:
		return nil, fmt.Errorf("a distance names hole %d, but there are %d holes", largest, n.Holes)
	}
	if n.PCD > 0 && n.PCDU == 0 {
		n.PCDU = n.DefaultU
	}
	if n.Diameter > 0 && n.DiameterU == 0 {
		n.DiameterU = n.DefaultU
	}
	if n.PCD > 0 && n.PCDU >= n.PCD/4 {
		return nil, fmt.Errorf("±%g mm on a pitch circle of %g mm is no measurement", 2*n.PCDU, n.PCD)
	}
	return n, n.plausible()
}

// overHoles says whether a distance was taken over the holes' own edges.
func (d Distance) overHoles() bool { return d.Over != Centres && d.Pins == [2]float64{} }

// sign is that of the pins' mean diameter in what was measured.
func (d Distance) sign() float64 {
	switch d.Over {
	case Outside:
		return 1
	case Inside:
		return -1
	}
	return 0
}

// plausible refuses at once what no adjustment could make sense of.
func (n *network) plausible() error {
	for _, d := range n.Between {
		if d.overHoles() {
			if n.Diameter == 0 {
				continue
			}
			d.Pins = [2]float64{n.Diameter, n.Diameter}
		}
		c, err := d.Centre()
		if err != nil {
			return err
		}
		slack := 4 * (math.Hypot(d.U, n.PCDU) + 2*n.OnCircleU)
		if n.PCD > 0 && c > n.PCD+slack {
			return fmt.Errorf("%w: %s is %.6g mm from centre to centre, more than the pitch circle's %.6g mm across. Measure both again; was one taken over the outer edges of the holes?",
				ErrContradiction, d.Name(), c, n.PCD)
		}
	}
	if n.Holes == 2 && n.PCD > 0 && len(n.Between) > 0 && !n.freeD {
		if c, _ := n.Between[0].Centre(); math.Abs(c-n.PCD) > 4*math.Hypot(n.Between[0].U, n.PCDU) {
			return fmt.Errorf("%w: two holes are taken to lie opposite each other, so that 1-2 is the pitch circle's diameter, but it is %.6g mm and the PCD %.6g mm. Give a third hole, or leave one of the two out",
				ErrContradiction, c, n.PCD)
		}
	}
	return n.closable()
}

// closable refuses gaps of which one is longer than all others together: they
// make no polygon, and three chords no triangle.
func (n *network) closable() error {
	gaps := make([]float64, n.Holes)
	longest, sum := Distance{}, 0.0
	for _, d := range n.Between {
		if !d.neighbours(n.Holes) || d.overHoles() || n.Holes < 3 {
			continue
		}
		if c, _ := d.Centre(); gaps[d.firstOf(n.Holes)-1] == 0 {
			gaps[d.firstOf(n.Holes)-1] = c
			sum += c
			if c >= slices.Max(gaps) {
				longest = d
			}
		}
	}
	if top := slices.Max(gaps); slices.Min(gaps) > 0 && top >= (sum-top)*(1-1e-9) {
		return fmt.Errorf("%w: no pattern has these distances, because %s is not shorter than the other gaps together. Measure again", ErrContradiction, longest.Name())
	}
	return nil
}

// reading makes the reading of an adjusted network: hole 1 at twelve o'clock.
//
// Rings carry the joint covariance as shared errors, one for each direction in
// which the network can be wrong.
func (n *network) reading(s *Solution) (*Reading, error) {
	fit, err := pitchCircle(n.at)
	if err != nil {
		return nil, err
	}
	v := r2.Sub(n.at[0], fit.Centre)
	turn := r2.NewRotation(math.Pi/2-math.Atan2(v.Y, v.X), fit.Centre)
	about0 := r2.NewRotation(math.Pi/2-math.Atan2(v.Y, v.X), r2.Vec{})
	choice := Choice{Bore: -1, Rim: -1, Circle: true}
	rings := make([]Ring, n.Holes)
	for i, p := range n.at {
		choice.Holes = append(choice.Holes, i)
		rings[i] = Ring{ID: i + 1, Centre: turn.Rotate(p), Diameter: n.d}
		switch {
		case n.freeD: // among the shared errors
		case n.Diameter > 0:
			rings[i].DiameterU = n.DiameterU
		default:
			rings[i].DiameterU = n.d / 4 // a stand-in: any size up to half as large again
		}
	}
	var names []string
	for _, cause := range n.causes() {
		var eigen mat.EigenSym
		if !eigen.Factorize(cause.cov, true) {
			return nil, errors.New("the adjustment has no covariance")
		}
		var vectors mat.Dense
		eigen.VectorsTo(&vectors)
		for k, variance := range eigen.Values(nil) {
			if variance <= 0 {
				continue
			}
			names = append(names, cause.name)
			u := s.widen() * math.Sqrt(variance)
			for i := range rings {
				move := r2.Scale(u, r2.Vec{X: vectors.At(2*i, k), Y: vectors.At(2*i+1, k)})
				rings[i].Shared = append(rings[i].Shared, about0.Rotate(move))
				byD := 0.0
				if n.freeD {
					byD = u * vectors.At(2*n.Holes, k)
				}
				rings[i].SharedDiameter = append(rings[i].SharedDiameter, byD)
			}
		}
	}
	method := fmt.Sprintf("calipers, adjusted by least squares; ±%.4g mm where no ± was given", coverage*n.DefaultU)
	if n.Holes > 3 {
		method += fmt.Sprintf("; every hole is taken to lie within ±%.4g mm of one pitch circle", coverage*n.OnCircleU)
	}
	r, err := New(rings, choice, Options{
		Source:      Source{Kind: ByHand},
		Scale:       Scale{Method: method},
		SharedNames: names,
		Warnings:    n.warnings(s),
	})
	if err != nil {
		return nil, err
	}
	for i, p := range n.at { // the numbers a person gave are the reading's
		want := turn.Rotate(p)
		if got := r.Holes[i]; math.Hypot(got.X-(want.X-fit.Centre.X), got.Y-(want.Y-fit.Centre.Y)) > 1e-6*(1+fit.Radius) {
			return nil, fmt.Errorf("%w: hole %d does not come next counter-clockwise, looking at the face; number the holes in that order", ErrContradiction, i+1)
		}
	}
	return r, nil
}

// cause is one part of the covariance.
type cause struct {
	name string
	cov  *mat.SymDense
}

// causes splits the covariance N⁻¹ AᵀA N⁻¹, with N = AᵀA, into what the
// measurements and what the maker's workmanship have in it.
func (n *network) causes() []cause {
	split := func(name string, workmanship bool) cause {
		part := mat.DenseCopyOf(n.rows)
		for i, o := range n.obs {
			if (o.hole > 0) != workmanship {
				part.RowView(i).(*mat.VecDense).Zero()
			}
		}
		var influence mat.Dense
		influence.Mul(part, n.cov)
		out := mat.NewSymDense(n.unknowns(), nil)
		out.SymOuterK(1, influence.T())
		return cause{name, out}
	}
	return []cause{split("calipers", false), split("holes off the pitch circle", true)}
}

func (n *network) warnings(s *Solution) []string {
	var w []string
	if n.Diameter == 0 && !n.freeD {
		w = append(w, fmt.Sprintf("the holes' diameter was not given: %.3g mm stands in for it, for drawing only; measure one hole", n.d))
	}
	if n.Even {
		w = append(w, "the holes are evenly spaced because you said so, not because it was measured")
	}
	if f := s.widen(); f > 1 {
		w = append(w, fmt.Sprintf("the measurements agree less well than their ± allow, so that every ± here is %.2g times wider: %s", f, s.why()))
	}
	return w
}
