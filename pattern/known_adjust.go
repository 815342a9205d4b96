package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Adjustment is what known lengths did to the source's millimetres.
type Adjustment struct {
	Method string // which lengths, in words

	// A place on the face is Zoom·(1 + e)·(what the source said, moved by its
	// shared errors). Shared are the most likely values of the source's
	// shared errors, in their standard uncertainties, followed by e; Cov is
	// their covariance now (that of uncorrelated ones of variance 1, and of
	// an e of 0, before).
	Zoom   float64
	Shared []float64
	Cov    *mat.SymDense

	Lengths []KnownFit
}

// KnownFit is how a known length agrees with the picture and with the others.
type KnownFit struct {
	Name     string
	MM, U    float64 // as it is known, with its standard uncertainty
	Assumed  bool    // nobody stated that uncertainty
	Adjusted float64 // mm, what the adjusted reading says

	// What picture and other lengths say without it, its standard
	// uncertainty, and how far off the length is in standard uncertainties of
	// the difference; Told is false where they say nothing.
	Told              bool
	Without, WithoutU float64
	InSigmas          float64
}

// freeShare is how much less surely a scale that is not known at all is known
// than the lengths tell it: so that it tells nothing, and no more than that,
// to keep the digits.
const freeShare = 300

// settledMM is when an adjustment has come to rest: a pitch circle's fit itself
// is settled to some 1e-7 mm only.
const settledMM = 1e-6

// ground is what the source says before any length is known: parts in mm, the
// covariance of x1, y1, x2, … and then of the diameters, and how these move
// with each shared error, the last of which is that of a free scale.
type ground struct {
	parts  []part
	holes  int
	zoom   float64
	freeU  float64 // relative standard uncertainty of a free scale; 0 for the source's own
	cov    *mat.SymDense
	fixed  *mat.SymDense // cov without a free scale's share of it
	shared *mat.Dense
}

// ground takes the source's scale as it is (free false), or only the shape of
// what it shows: the known lengths then give the scale.
func (p *assembly) ground(free bool, lengths []known) (*ground, error) {
	g := &ground{parts: p.parts, holes: p.holes, zoom: 1}
	if free {
		sum := 0.0
		for _, k := range lengths {
			mm, _, err := k.of(p.parts, p.holes)
			if err != nil {
				return nil, err
			}
			ratio := (k.Value - k.pinned()) / (mm - k.pinned())
			if !(ratio > 0 && !math.IsInf(ratio, 0)) {
				return nil, fmt.Errorf("the %s of %g mm cannot be: the two holes overlap, or the pins are too thick", k, k.Value)
			}
			sum += ratio / float64(len(lengths))
		}
		g.zoom = sum
		g.parts = zoomed(p.parts, g.zoom)
	}
	g.cov, g.shared = sourceCovariance(g.parts)
	if free {
		for i, k := range lengths {
			mm, by, err := k.of(g.parts, g.holes)
			if err != nil {
				return nil, err
			}
			u := math.Hypot(uncertainty(g.cov, by...), math.Sqrt(p.noise(lengths, 1).At(i, i)))
			g.freeU = math.Max(g.freeU, freeShare*u/(mm-k.pinned()))
		}
		_, terms := g.shared.Dims()
		middle := centroid(g.parts[:g.holes])
		m := len(g.parts)
		for i, q := range g.parts {
			v := r2.Sub(q.Centre, middle)
			g.shared.Set(2*i, terms-1, g.freeU*v.X)
			g.shared.Set(2*i+1, terms-1, g.freeU*v.Y)
			g.shared.Set(2*m+i, terms-1, g.freeU*q.Diameter)
		}
		g.fixed = mat.NewSymDense(3*m, nil)
		g.fixed.CopySym(g.cov)
		g.cov.SymRankOne(g.cov, 1, g.shared.ColView(terms-1))
	}
	return g, nil
}

// zoomed is the parts by a scale as many times larger.
func zoomed(parts []part, k float64) []part {
	out := slices.Clone(parts)
	for i := range out {
		q := &out[i]
		q.Centre = r2.Scale(k, q.Centre)
		q.Diameter *= k
		q.DiameterU *= k
		for a := range 2 {
			for b := range 2 {
				q.CentreCov[a][b] *= k * k
			}
		}
		q.Shared, q.SharedDiameter = slices.Clone(q.Shared), slices.Clone(q.SharedDiameter)
		for t := range q.Shared {
			q.Shared[t] = r2.Scale(k, q.Shared[t])
			q.SharedDiameter[t] *= k
		}
	}
	return out
}

func centroid(parts []part) r2.Vec {
	var sum r2.Vec
	for _, q := range parts {
		sum = r2.Add(sum, r2.Scale(1/float64(len(parts)), q.Centre))
	}
	return sum
}

// conditioned is a ground after lengths became known.
type conditioned struct {
	*ground
	lengths []known
	parts   []part // moved

	by     *mat.Dense    // n×3m, derivatives of the lengths
	cross  *mat.Dense    // 3m×n, covariance of the coordinates with the lengths
	weight *mat.SymDense // n×n, inverse of the covariance of the lengths' misfits
	misfit *mat.VecDense // n, known less source, at the adjusted parts
	pull   *mat.VecDense // weight · misfit
	chi2   float64

	// astray says that no pattern near the picture's has the lengths: all
	// this then is of the first step only, enough to tell which is wrong.
	astray bool
}

// condition adjusts the ground to lengths by generalised least squares: of
// all places of the parts, those that together with the lengths are the most
// likely. For errors distributed normally this is the conditional
// distribution, with linearisation anew at each step (E. M. Mikhail, "Observations
// and Least Squares", 1976; the same as the iterated update of a Kalman
// filter). It is one update of the joint covariance, so that nothing counts
// twice.
func (g *ground) condition(lengths []known, noise *mat.SymDense) (*conditioned, error) {
	c := &conditioned{ground: g, lengths: lengths, parts: slices.Clone(g.parts)}
	moved := mat.NewVecDense(3*len(g.parts), nil)
	for range 30 {
		next, err := c.step(moved, noise)
		if err != nil {
			return nil, err
		}
		var change mat.VecDense
		change.SubVec(next, moved)
		size := mat.Norm(&change, math.Inf(1))
		moved = next
		if math.IsNaN(size) || !c.move(moved) {
			break
		}
		if size < settledMM {
			c.chi2 = mat.Dot(c.misfit, c.pull)
			return c, nil
		}
	}
	c.parts, c.astray = slices.Clone(g.parts), true
	if _, err := c.step(mat.NewVecDense(3*len(g.parts), nil), noise); err != nil {
		return nil, err
	}
	c.chi2 = mat.Dot(c.misfit, c.pull)
	return c, nil
}

// step linearises about the parts, which were moved from the ground's, and
// returns how far they are to be moved.
func (c *conditioned) step(moved *mat.VecDense, noise *mat.SymDense) (*mat.VecDense, error) {
	n, m := len(c.lengths), len(c.parts)
	c.by = mat.NewDense(n, 3*m, nil)
	c.misfit = mat.NewVecDense(n, nil)
	for i, k := range c.lengths {
		mm, by, err := k.of(c.parts, c.holes)
		if err != nil {
			return nil, err
		}
		for _, d := range by {
			c.by.Set(i, d.at, d.d)
		}
		c.misfit.SetVec(i, k.Value-mm+mat.Dot(c.by.RowView(i), moved))
	}
	c.cross = new(mat.Dense)
	c.cross.Mul(c.cov, c.by.T())
	total := propagate(c.by, c.cov)
	total.AddSym(total, noise)
	var chol mat.Cholesky
	c.weight = mat.NewSymDense(n, nil)
	if !chol.Factorize(total) || chol.InverseTo(c.weight) != nil {
		return nil, errSameTwice
	}
	c.pull = mat.NewVecDense(n, nil)
	c.pull.MulVec(c.weight, c.misfit)
	next := mat.NewVecDense(3*m, nil)
	next.MulVec(c.cross, c.pull)
	return next, nil
}

// move puts the parts so far from the ground's; it is false where a hole
// would have no diameter.
func (c *conditioned) move(by *mat.VecDense) bool {
	m := len(c.parts)
	for i, q := range c.ground.parts {
		c.parts[i].Centre = r2.Add(q.Centre, r2.Vec{X: by.AtVec(2 * i), Y: by.AtVec(2*i + 1)})
		c.parts[i].Diameter = q.Diameter + by.AtVec(2*m+i)
		if !(c.parts[i].Diameter > 0) {
			return false
		}
	}
	return true
}

// covariance returns that of the adjusted coordinates.
//
// A free scale's variance is huge beside what is left of it; so that no digits
// are lost, the lengths are first taken in with the scale held, and then what
// they leave of the scale is added: with s its column of shared, t what it does
// to the lengths, and G and S of the rest,
//
//	Σ − G S⁻¹ Gᵀ + d dᵀ/(1 + tᵀ S⁻¹ t),  d = s − G S⁻¹ t.
func (c *conditioned) covariance(noise *mat.SymDense) (*mat.SymDense, error) {
	if c.fixed == nil {
		return lessBy(c.cov, c.cross, c.weight), nil
	}
	var cross mat.Dense
	cross.Mul(c.fixed, c.by.T())
	total := propagate(c.by, c.fixed)
	total.AddSym(total, noise)
	var chol mat.Cholesky
	weight := mat.NewSymDense(len(c.lengths), nil)
	if !chol.Factorize(total) || chol.InverseTo(weight) != nil {
		return nil, errSameTwice
	}
	_, terms := c.shared.Dims()
	s := c.shared.ColView(terms - 1)
	var t, pull, d mat.VecDense
	t.MulVec(c.by, s)
	pull.MulVec(weight, &t)
	d.MulVec(&cross, &pull)
	d.SubVec(s, &d)
	out := lessBy(c.fixed, &cross, weight)
	out.SymRankOne(out, 1/(1+mat.Dot(&t, &pull)), &d)
	return out, nil
}

// lessBy returns Σ − G W Gᵀ.
func lessBy(sigma *mat.SymDense, g *mat.Dense, w *mat.SymDense) *mat.SymDense {
	var gain, less mat.Dense
	gain.Mul(g, w)
	less.Mul(&gain, g.T())
	n := sigma.SymmetricDim()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, sigma.At(i, j)-(less.At(i, j)+less.At(j, i))/2)
		}
		out.SetSym(i, i, math.Max(out.At(i, i), 0))
	}
	return out
}

var errSameTwice = errors.New("the known lengths cannot be adjusted: two of them say the same of the same holes")

// without is what source and other lengths say of length k, with the standard
// uncertainty of that, and how far off the length is in standard uncertainties
// of the difference.
func (c *conditioned) without(k int, noise *mat.SymDense) (mm, u, sigmas float64) {
	variance := 1 / c.weight.At(k, k)
	off := c.pull.AtVec(k) * variance
	return c.lengths[k].Value - off, math.Sqrt(math.Max(variance-noise.At(k, k), 0)), math.Abs(off) / math.Sqrt(variance)
}

// sharedErrors returns the most likely values of the shared errors and their
// covariance; the last error is that of the free scale, as a fraction.
func (c *conditioned) sharedErrors() ([]float64, *mat.SymDense) {
	_, terms := c.shared.Dims()
	var by, z mat.Dense // how lengths follow the shared errors
	by.Mul(c.by, c.shared)
	z.Mul(by.T(), c.pull)
	var half, less mat.Dense
	half.Mul(c.weight, &by)
	less.Mul(by.T(), &half)
	unit := make([]float64, terms)
	for t := range unit {
		unit[t] = 1
	}
	unit[terms-1] = c.freeU
	values := make([]float64, terms)
	cov := mat.NewSymDense(terms, nil)
	for a := range terms {
		values[a] = unit[a] * z.At(a, 0)
		for b := a; b < terms; b++ {
			v := -(less.At(a, b) + less.At(b, a)) / 2
			if a == b {
				v++
			}
			cov.SetSym(a, b, unit[a]*unit[b]*v)
		}
	}
	return values, cov
}

// adjust brings the parts to the known lengths and sets their joint
// covariance.
func (p *assembly) adjust() error {
	lengths, err := p.known()
	if err != nil {
		return err
	}
	if len(lengths) == 0 {
		if p.opts.NoScale {
			return ErrNoScale
		}
		p.joint, p.shared = sourceCovariance(p.parts)
		return nil
	}
	c, noise, free, err := p.agree(lengths)
	if err != nil {
		return err
	}
	a := &Adjustment{Method: p.method(lengths, free), Zoom: c.zoom}
	a.Shared, a.Cov = c.sharedErrors()
	for i, k := range lengths {
		f := KnownFit{Name: k.String(), MM: k.Value, U: k.U, Assumed: k.assumed}
		f.Without, f.WithoutU, f.InSigmas = c.without(i, noise)
		f.Told = f.WithoutU < 0.1*k.Value // a free scale tells nothing of the only length
		if f.Adjusted, _, err = k.of(c.parts, p.holes); err != nil {
			return err
		}
		a.Lengths = append(a.Lengths, f)
	}
	p.adjusted = a
	p.given, p.givenNoise, p.shared = c, noise, c.shared
	p.parts = c.parts
	if p.joint, err = c.covariance(noise); err != nil {
		return err
	}
	return p.locate()
}

// method tells in words which lengths gave the scale, and whether the source's
// own scale took part.
func (p *assembly) method(lengths []known, free bool) string {
	var names, pairs []string
	for _, k := range lengths {
		if k.isPCD() {
			names = append(names, k.String())
		} else {
			pair := strings.TrimPrefix(k.String(), "known distance ")
			if k.assumed {
				pair += fmt.Sprintf(" (±%g mm assumed)", CaliperU95)
			}
			pairs = append(pairs, pair)
		}
	}
	switch len(pairs) {
	case 0:
	case 1:
		names = append(names, "known distance "+pairs[0])
	default:
		names = append(names, "known distances "+strings.Join(pairs, ", "))
	}
	s := strings.Join(names, " and ")
	if !free && p.opts.Scale.Method != "" {
		s += ", and " + p.opts.Scale.Method
	}
	return s
}

// scale is that of the reading.
func (p *assembly) scale() Scale {
	switch {
	case p.adjusted == nil:
		return p.opts.Scale
	case p.opts.Adjusted != nil:
		return p.opts.Adjusted(*p.adjusted)
	}
	return Scale{Method: p.adjusted.Method}
}
