package pattern

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Spacing answers whether the holes are equally spaced.
type Spacing string

const (
	Even      Spacing = "even"      // what differs is no more than drilling and measuring explain
	Uneven    Spacing = "uneven"    // it is more
	Undecided Spacing = "undecided" // it cannot be told, or there is no pitch circle to ask about
)

// Layout names what the holes look like. It is claimed only where the holes
// agree with it and it explains them more simply than what comes after it.
type Layout string

const (
	EvenSpaces  Layout = "even"        // N holes in N equal spaces
	SomeEmpty   Layout = "some_empty"  // N holes in more equal spaces, the others empty
	OneShifted  Layout = "one_shifted" // N equal spaces and one hole moved
	Interleaved Layout = "interleaved" // two or more even rings turned against each other
	Irregular   Layout = "irregular"   // none of these
	OnLine      Layout = "line"        // in one straight row
	OnGrid      Layout = "grid"        // in rows and columns square to each other
	NoLayout    Layout = "none"        // free marks, or not to be told
)

// Flip answers whether the part also goes on flipped over.
type Flip string

const (
	FlipSame      Flip = "same"      // it does: which side is up makes no difference
	FlipDifferent Flip = "different" // it does not
	FlipUndecided Flip = "undecided"
)

// Verdict is what a reading says to whoever has to make the part. It is
// computed from the reading alone (Judge).
type Verdict struct {
	Spacing Spacing `json:"spacing"`
	Layout  Layout  `json:"layout"`
	Places  int     `json:"places"` // equal spaces on the circle, of even and some_empty; else 0

	// PValue is the probability that an even pattern, drilled as well as
	// DrilledU95 says and measured as well as the reading says, differs from
	// evenness by as much as this one. Below 0.01 it is uneven (three holes:
	// 0.03), below 0.05 undecided. ChiSquare and its degrees of freedom, 2N−4 for N holes, are
	// those of the test against even spaces. Null where there is no test: in
	// a free pattern and with two holes.
	PValue    *float64 `json:"p_value"`
	ChiSquare *float64 `json:"chi_square"`
	DoF       int      `json:"degrees_of_freedom"`

	// DrilledU95 (mm) is the allowance for how a maker drills: 95 of 100
	// holes lie within this distance of where they were meant.
	DrilledU95 float64 `json:"drilled_u95_mm"`

	// WorstMiss (mm) is how far the worst hole would miss, WorstHole its
	// number, if the part were drawn even: with even places laid through all
	// holes by least squares or, with one hole shifted, through the others.
	WorstMiss    *float64 `json:"worst_miss_mm"`
	WorstMissU95 *float64 `json:"worst_miss_u95_mm"`
	WorstHole    int      `json:"worst_hole"`

	// WorstGap is the gap that differs most from its even share.
	WorstGap *GapMiss `json:"worst_gap"`

	// SeenShift (mm) is the smallest move of one hole along the circle that
	// this reading would have shown with a probability of 95 %, whichever
	// hole it is.
	SeenShift *float64 `json:"seen_shift_mm"`

	// Turns is in how many positions the part goes on, turned in its plane:
	// 1 for an irregular pattern, 0 where it cannot be told. Flip says whether
	// it also goes on flipped over, FlipMiss (mm) how far the worst hole misses
	// then at the best axis, whose direction from the hole at 0° is AxisDeg.
	// Null and undecided without a pitch circle.
	Turns    int      `json:"turns"`
	Flip     Flip     `json:"flip"`
	FlipMiss *float64 `json:"flip_miss_mm"`
	AxisDeg  *float64 `json:"flip_axis_deg"`

	// Text is the verdict in words, and Notes what else to mind.
	Text  string   `json:"text"`
	Notes []string `json:"notes"`
}

// GapMiss is how much wider than its even share a gap is.
type GapMiss struct {
	From int     `json:"from"`
	To   int     `json:"to"`
	Off  float64 `json:"off_deg"`
	U95  float64 `json:"off_u95_deg"`
}

const (
	surely   = 0.01 // below this an even pattern is refused
	surely3  = 0.03 // the same of three holes
	perhaps  = 0.05 // below this it is doubted, and above it a layout is accepted
	meantMM  = 0.15 // a lone hole's shift from which on it may be meant
	hiddenMM = 0.5  // a miss that must not hide behind "even"
	power    = 0.95
	mostJudg = 60 // holes up to which layouts and flips are tried: the work grows with n⁴
)

// refused is the probability below which an even pattern is refused. Three
// holes leave two degrees of freedom, and what a scanner's axes are wrong by
// makes any triangle of an equilateral one: it lies wholly in them. At the level
// of the others one key of a degree in eight would be doubted on a pitch circle
// of 70 mm, for one false alarm in a hundred; and there is only the one test.
func (j *judge) refused() float64 {
	if len(j.holes) == 3 {
		return surely3
	}
	return surely
}

// drilledU95 (mm) is the allowance for drilling where nothing else is said:
// 95 of 100 holes lie within this distance of where they were meant. It is the
// general tolerance of ISO 2768-1, class fine, for the distance from the pitch
// circle's centre, from which they are marked out (values from memory; common
// practice for holes marked out, punched and drilled with care).
func drilledU95(radiusMM float64) float64 {
	switch {
	case radiusMM <= 30:
		return 0.1
	case radiusMM <= 120:
		return 0.15
	case radiusMM <= 400:
		return 0.2
	}
	return 0.3
}

// hiddenMM: with M8 or M10 bolts in holes a millimetre larger (ISO 273 medium)
// a hole may be off by half a millimetre.

// Judge sets the reading's verdict. drilledU95MM (mm) is within what distance
// 95 of 100 of the maker's holes lie of where they were meant; 0 stands for
// the fine class of ISO 2768-1, 0.1 mm on pitch circles up to 60 mm, 0.15 mm
// up to 240 mm.
func (r *Reading) Judge(drilledU95MM float64) {
	r.Verdict = r.verdict(drilledU95MM, inMM)
}

// VerdictWords are the text and the notes of the verdict with lengths printed
// as told, for those who work in inches.
func (r *Reading) VerdictWords(length func(mm float64) string) (text string, notes []string) {
	drilled := 0.0
	if r.Verdict != nil {
		drilled = r.Verdict.DrilledU95
	}
	v := r.verdict(drilled, length)
	return v.Text, v.Notes
}

func (r *Reading) verdict(drilledU95MM float64, length func(mm float64) string) *Verdict {
	if drilledU95MM == 0 {
		drilledU95MM = drilledU95(r.size() / 2)
	}
	v := &Verdict{Spacing: Undecided, Layout: NoLayout, Flip: FlipUndecided, DrilledU95: drilledU95MM, Notes: []string{}}
	defer v.tame()
	j := &judge{r: r, v: v, drilledU: drilledU95MM / coverage2, length: length}
	if r.PitchCircle == nil {
		j.free()
	} else {
		j.circle()
	}
	return v
}

// size is the pitch circle's diameter, or without one twice the distance of
// the furthest hole from the middle.
func (r *Reading) size() float64 {
	if r.PitchCircle != nil {
		return r.PitchCircle.Diameter
	}
	size := 0.0
	for _, h := range r.Holes {
		size = math.Max(size, 2*math.Hypot(h.X, h.Y))
	}
	return size
}

// judge is a verdict while it is found.
type judge struct {
	r        *Reading
	v        *Verdict
	drilledU float64
	length   func(mm float64) string

	holes []Hole // on the circle, counter-clockwise
	w     *whitened
	bare  *mat.SymDense // the holes' covariance without drilling
	even  fittedLayout

	shifted int        // the hole of OneShifted, an index into holes
	shift   [3]float64 // its move along the circle in mm, in degrees, and ± in degrees
	doubt   []int      // others that may be the shifted one
	missing []float64  // directions of the empty places, degrees from 0°
	odd     float64    // angle that interleaved rings are turned by, degrees
	radii   [2]float64
}

// take collects the holes that meet a condition and whitens them.
func (j *judge) take(on func(Hole) bool) bool {
	var index []int
	j.holes = nil
	for i, h := range j.r.Holes {
		if on(h) {
			j.holes = append(j.holes, h)
			index = append(index, i)
		}
	}
	if len(index) == 0 {
		return false
	}
	n := 2 * len(j.r.Holes)
	j.bare = mat.NewSymDense(2*len(index), nil)
	var at []r2.Vec
	for a, i := range index {
		at = append(at, r2.Vec{X: j.r.Holes[i].X, Y: j.r.Holes[i].Y})
		for b, k := range index {
			for c := range 2 {
				for d := range 2 {
					if 2*a+c <= 2*b+d {
						j.bare.SetSym(2*a+c, 2*b+d, j.r.CovarianceMM2[(2*i+c)*n+2*k+d])
					}
				}
			}
		}
	}
	var ok bool
	j.w, ok = whiten(at, j.bare, j.drilledU)
	return ok
}

func isOnCircle(h Hole) bool { return h.OnCircle }

// circle judges holes that share a pitch circle.
func (j *judge) circle() {
	ok := j.take(isOnCircle)
	n := len(j.holes)
	switch {
	case n < 3:
		j.v.Turns, j.v.Flip = 2, FlipSame
		j.v.Text = "Two holes: there is nothing to be even. Drill the part to the chord; it goes on either way round and either way up."
		return
	case !ok:
		j.v.Text = "Cannot tell: the stated uncertainties contradict each other."
		return
	}
	j.testEven()
	switch {
	case *j.v.PValue < j.refused():
		j.v.Spacing, j.v.Layout = Uneven, Irregular
		if n <= mostJudg {
			j.recognise()
		}
	// Of the shift of one of N even holes the others' places take up 2/N.
	case *j.v.PValue < perhaps, !(*j.v.SeenShift*(1-2/float64(n)) <= hiddenMM):
		j.v.Spacing, j.v.Layout = Undecided, NoLayout
	default:
		j.v.Spacing, j.v.Layout, j.v.Places = Even, EvenSpaces, n
	}
	j.miss()
	j.positions()
	j.say()
	j.bore()
	j.secondCircle()
}

func evenDirections(n int) []float64 {
	d := make([]float64, n)
	for i := range d {
		d[i] = 2 * math.Pi * float64(i) / float64(n)
	}
	return d
}

// evenColumns are those of n holes in n equal spaces.
func evenColumns(n int) *mat.Dense { return ringColumns(evenDirections(n), make([]int, n), 1) }

// testEven tests the holes against even spaces in two ways, and takes both
// into account by doubling the smaller probability (Bonferroni): all holes at
// once by χ², with the allowance for drilling; and one hole against the
// others, whose own scatter then says how well this maker drilled. The second
// finds the small key of a maker who otherwise drilled well.
func (j *judge) testEven() {
	n := len(j.holes)
	even := evenColumns(n)
	var ok bool
	if j.even, ok = j.w.fit(even); !ok {
		j.even = fittedLayout{p: 1, dof: 2*n - 4}
	}
	p := j.even.p
	if n <= mostJudg {
		if one, ok := j.standsOut(); ok {
			p = math.Min(1, 2*math.Min(p, one))
		}
	}
	chi2, seen := j.even.chi2, j.seenShift()
	j.v.PValue, j.v.ChiSquare, j.v.DoF, j.v.SeenShift = &p, &chi2, j.even.dof, &seen
}

// along is the unit move of hole i along the circle, as a column.
func (j *judge) along(i int) []float64 {
	c := make([]float64, 2*len(j.holes))
	u := r2.Unit(j.w.at[i])
	c[2*i], c[2*i+1] = -u.Y, u.X
	return c
}

// moves are what is left, of the holes and of a move of each by 1 mm along
// the circle, when even places are fitted to them; whitened.
type moves struct {
	left mat.Vector
	rest *mat.Dense // column i: of hole i's move
}

func (j *judge) moves(w *whitened) (moves, bool) {
	n := len(j.holes)
	all := mat.NewDense(2*n, n+1, nil)
	for i := range n {
		all.SetCol(i, j.along(i))
	}
	all.SetCol(n, vectorOf(w.at).RawVector().Data)
	var x, m, theta, fit mat.Dense
	if x.Solve(&w.lower, evenColumns(n)) != nil || m.Solve(&w.lower, all) != nil {
		return moves{}, false
	}
	var qr mat.QR
	qr.Factorize(&x)
	if qr.SolveTo(&theta, false, &m) != nil {
		return moves{}, false
	}
	fit.Mul(&x, &theta)
	m.Sub(&m, &fit)
	return moves{m.ColView(n), m.Slice(0, 2*n, 0, n).(*mat.Dense)}, true
}

// seenShift is the move of the hole least well watched over that the χ² test
// refuses with the wanted power.
func (j *judge) seenShift() float64 {
	n := len(j.holes)
	m, ok := j.moves(j.w)
	if !ok {
		return maxMM
	}
	least := math.Inf(1) // λ of a move by 1 mm
	for i := range n {
		c := m.rest.ColView(i)
		least = math.Min(least, mat.Dot(c, c))
	}
	return math.Min(maxMM, math.Sqrt(noncentrality(2*n-4, j.refused(), power)/math.Max(least, 1e-300)))
}

// miss is how far the holes lie from even places.
func (j *judge) miss() {
	n := len(j.holes)
	a := evenColumns(n)
	if j.v.Layout == OneShifted {
		a = withColumns(a, j.unit(2*j.shifted), j.unit(2*j.shifted+1))
	}
	off, by := leastSquares(j.w.at, a)
	// Three holes always miss alike: of those that do, the least known.
	most := 0.0
	for _, v := range off {
		most = math.Max(most, r2.Norm(v))
	}
	worst, v, c := -1, r2.Vec{}, cov2{}
	for i := range off {
		if r2.Norm(off[i]) < most*(1-1e-6)-1e-6 {
			continue
		}
		cov := propagate(by(i), j.bare)
		if at := (cov2{cov.At(0, 0), cov.At(0, 1), cov.At(1, 1)}); worst < 0 || at.largest() > c.largest()*(1+1e-6) {
			worst, v, c = i, off[i], at
		}
	}
	if j.v.Layout == OneShifted {
		// The even place of the shifted hole is a parameter's worth away.
		f, _ := j.bareFit(a)
		k := len(f.params)
		worst, v = j.shifted, r2.Vec{X: f.params[k-2], Y: f.params[k-1]}
		c = cov2{f.cov.At(k-2, k-2), f.cov.At(k-2, k-1), f.cov.At(k-1, k-1)}
	}
	l, u := c.length(v)
	j.v.WorstMiss, j.v.WorstMissU95, j.v.WorstHole = &l, &u, j.holes[worst].ID

	var gap *GapMiss
	for _, g := range j.r.Gaps {
		if off := *g.AngleDeg - 360/float64(n); gap == nil || math.Abs(off) > math.Abs(gap.Off)+1e-9 {
			gap = &GapMiss{From: g.From, To: g.To, Off: off, U95: *g.AngleU95Deg}
		}
	}
	j.v.WorstGap = gap
}

// bareFit is a fit with equal weights, and the covariance of its parameters
// from measuring alone.
func (j *judge) bareFit(a *mat.Dense) (fittedLayout, bool) {
	var qr mat.QR
	qr.Factorize(a)
	n, k := a.Dims()
	var inverse mat.Dense
	identity := mat.NewDiagDense(n, nil)
	for i := range n {
		identity.SetDiag(i, 1)
	}
	if qr.SolveTo(&inverse, false, identity) != nil {
		return fittedLayout{params: make([]float64, k), cov: mat.NewSymDense(k, nil)}, false
	}
	var theta mat.VecDense
	theta.MulVec(&inverse, vectorOf(j.w.at))
	return fittedLayout{params: theta.RawVector().Data, cov: propagate(&inverse, j.bare)}, true
}

func (j *judge) unit(i int) []float64 {
	c := make([]float64, 2*len(j.holes))
	c[i] = 1
	return c
}

// tame takes back numbers that are none: of readings whose uncertainties are
// larger than anything on the face.
func (v *Verdict) tame() {
	for _, n := range []**float64{&v.PValue, &v.ChiSquare, &v.WorstMiss, &v.WorstMissU95, &v.SeenShift, &v.FlipMiss, &v.AxisDeg} {
		if *n != nil && (math.IsNaN(**n) || math.IsInf(**n, 0)) {
			*n = nil
			v.Spacing, v.Layout, v.Places, v.Turns, v.Flip = Undecided, NoLayout, 0, 0, FlipUndecided
			v.Text = "Cannot tell: the numbers of this reading are too far apart to compute with."
		}
	}
}
