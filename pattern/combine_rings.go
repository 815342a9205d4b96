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

// rings are the combined holes, their chamfers, bore and rim, the way up that
// the first page has them. Every uncertainty is widened by the factor.
//
// A diameter is the mean, and as uncertain as the readings' are on average: it
// is wrong by what paper does at an edge, which repeats.
func (c *combiner) rings(widen float64) ([]Ring, Choice, error) {
	up := r2.NewRotation(c.all.sheets[0].turn, r2.Vec{})
	choice := Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Circle: true}
	for _, r := range c.in {
		choice.Circle = choice.Circle && r.Pattern == OnCircle
	}
	moves, err := c.moves(up, widen)
	if err != nil {
		return nil, Choice{}, err
	}
	var rings, outers []Ring
	for f, at := range c.all.face {
		ring := Ring{ID: f + 1, Centre: up.Rotate(at), Shared: moves[f], SharedDiameter: make([]float64, len(moves[f]))}
		var inner, outer mean
		on := 0
		for k, s := range c.all.sheets {
			i := slices.Index(s.to, f)
			if i < 0 {
				continue
			}
			h := c.in[k].Holes[i]
			inner.add(h.Diameter, h.DiameterU95)
			if h.OuterDiameter != nil {
				outer.add(*h.OuterDiameter, *h.OuterDiameterU95)
			}
			if h.OnCircle {
				on++
			}
		}
		choice.Holes = append(choice.Holes, f)
		if choice.Circle && 2*on < inner.n {
			choice.OffCircle = append(choice.OffCircle, f)
		}
		if outer.n > 0 {
			choice.Outer[f] = len(c.all.face) + len(outers)
			ring.Diameter, ring.DiameterU = outer.value(), widen*outer.u()
			outers = append(outers, ring)
		}
		ring.Diameter, ring.DiameterU = inner.value(), widen*inner.u()
		rings = append(rings, ring)
	}
	origin, err := originMoves(rings, choice, moves)
	if err != nil {
		return nil, Choice{}, err
	}
	rings = append(rings, outers...)
	for _, f := range []struct {
		of func(*Reading) *Feature
		to *int
	}{
		{func(r *Reading) *Feature { return r.Bore }, &choice.Bore},
		{func(r *Reading) *Feature { return r.Rim }, &choice.Rim},
	} {
		if ring, ok := c.feature(f.of, up, widen, origin); ok {
			*f.to = len(rings)
			rings = append(rings, ring)
		}
	}
	return rings, choice, nil
}

// mean is that of values with expanded uncertainties that do not shrink.
type mean struct {
	n          int
	sum, sum95 float64
}

func (m *mean) add(v, u95 float64) { m.n, m.sum, m.sum95 = m.n+1, m.sum+v, m.sum95+u95 }
func (m *mean) value() float64     { return m.sum / float64(m.n) }
func (m *mean) u() float64         { return m.sum95 / coverage / float64(m.n) }

// moves are the face's covariance as shared errors, for each hole.
func (c *combiner) moves(up r2.Rotation, widen float64) ([][]r2.Vec, error) {
	var eigen mat.EigenSym
	if !eigen.Factorize(c.all.cov, true) {
		return nil, errors.New("the adjustment has no covariance")
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	out := make([][]r2.Vec, len(c.all.face))
	for t, variance := range eigen.Values(nil) {
		if variance <= 0 {
			continue
		}
		u := widen * math.Sqrt(variance)
		for f := range out {
			out[f] = append(out[f], up.Rotate(r2.Scale(u, r2.Vec{X: vectors.At(2*f, t), Y: vectors.At(2*f+1, t)})))
		}
	}
	return out, nil
}

// originMoves is how the origin of the combined reading follows its holes when
// these move.
func originMoves(holes []Ring, choice Choice, moves [][]r2.Vec) ([]r2.Vec, error) {
	parts := make([]part, len(holes))
	for i, h := range holes {
		parts[i] = part{Ring: h, on: choice.Circle && !slices.Contains(choice.OffCircle, i)}
	}
	jac, err := originJacobian(parts, choice.Circle)
	if err != nil {
		return nil, err
	}
	out := make([]r2.Vec, len(moves[0]))
	for t := range out {
		for i, of := range moves {
			out[t].X += jac.At(0, 2*i)*of[t].X + jac.At(0, 2*i+1)*of[t].Y
			out[t].Y += jac.At(1, 2*i)*of[t].X + jac.At(1, 2*i+1)*of[t].Y
		}
	}
	return out, nil
}

// feature is the weighted mean of the readings' bores or rims, each placed by
// its own holes. A reading's figure is of the bore's place relative to its
// origin, which follows its holes: what these are wrong by is in it. So the
// combined bore is taken to move with the combined origin, or the holes would
// count twice.
func (c *combiner) feature(of func(*Reading) *Feature, up r2.Rotation, widen float64, origin []r2.Vec) (Ring, bool) {
	var d mean
	var at r2.Vec
	weight := 0.0
	for k, s := range c.all.sheets {
		f := of(c.in[k].Reading)
		if f == nil {
			continue
		}
		d.add(f.Diameter, f.DiameterU95)
		w := 1 / (f.XU95*f.XU95 + f.YU95*f.YU95 + leastU*leastU)
		at = r2.Add(at, r2.Scale(w, s.lift(r2.Vec{X: f.X, Y: f.Y})))
		weight += w
	}
	if d.n == 0 {
		return Ring{}, false
	}
	v := widen * widen / weight / (2 * coverage * coverage)
	return Ring{
		ID: len(c.all.face) + 1, Centre: up.Rotate(r2.Scale(1/weight, at)),
		CentreCov: [2][2]float64{{v, 0}, {0, v}},
		Diameter:  d.value(), DiameterU: widen * d.u(),
		Shared: origin, SharedDiameter: make([]float64, len(origin)),
	}, true
}

// reading makes the combined reading and gives the parts its numbers.
func (c *combiner) reading(out *Combination) (*Reading, error) {
	rings, choice, err := c.rings(out.widen())
	if err != nil {
		return nil, err
	}
	r, err := New(rings, choice, Options{
		Source:      Source{Kind: Combined, File: c.names()},
		Scale:       Scale{Method: c.method(), URel: out.widen() * c.scaleU()},
		Zero:        c.opts.Zero,
		SharedNames: slices.Repeat([]string{"readings combined"}, len(rings[0].Shared)),
	})
	if err != nil {
		return nil, err
	}
	// The reading numbers the holes anew, about an origin of its own.
	var origin r2.Vec
	for i, h := range r.Holes {
		origin = r2.Add(origin, r2.Scale(1/float64(len(r.Holes)), r2.Sub(rings[i].Centre, r2.Vec{X: h.X, Y: h.Y})))
	}
	number := make([]int, len(c.all.face))
	for f := range number {
		near := math.Inf(1)
		for _, h := range r.Holes {
			if d := r2.Norm(r2.Sub(r2.Sub(rings[f].Centre, origin), r2.Vec{X: h.X, Y: h.Y})); d < near {
				near, number[f] = d, h.ID
			}
		}
	}
	for k := range out.Parts {
		p := &out.Parts[k]
		p.Holes = map[int]int{}
		for i, h := range c.in[k].Holes {
			p.Holes[h.ID] = number[c.all.sheets[k].to[i]]
		}
		p.Worst = number[p.Worst]
	}
	out.Doubt = out.doubt()
	r.Warnings = append(r.Warnings, c.warnings(out, number)...)
	r.validText()
	return r, r.check()
}

func (c *combiner) warnings(out *Combination, number []int) []string {
	w := slices.Clone(out.Notes)
	for f, n := range number {
		var in []string
		for k, s := range c.all.sheets {
			if slices.Contains(s.to, f) {
				in = append(in, c.in[k].Name)
			}
		}
		if len(in) == 1 {
			w = append(w, fmt.Sprintf("hole %d is only in %s", n, in[0]))
		}
	}
	if u := out.widen(); u > 1 {
		w = append(w, fmt.Sprintf("%s; every ± here is %.2g times wider for it", out.Doubt, u))
	}
	for _, r := range c.in {
		for _, warning := range r.Warnings {
			w = append(w, r.Name+": "+warning)
		}
	}
	return w
}

func (c *combiner) names() string {
	var names []string
	for _, r := range c.in {
		names = append(names, r.Name)
	}
	return strings.Join(names, ", ")
}

func (c *combiner) method() string {
	how := "errors of scale shared by what was scaled in the same way"
	if c.opts.Independent {
		how = "each with errors of scale of its own"
	}
	return fmt.Sprintf("%d readings adjusted together, %s", len(c.in), how)
}

// scaleU is the relative standard uncertainty of all lengths together.
func (c *combiner) scaleU() float64 {
	middle := c.all.centre()
	g := mat.NewVecDense(2*len(c.all.face), nil)
	sum := 0.0
	for i, v := range c.all.face {
		d := r2.Sub(v, middle)
		g.SetVec(2*i, d.X)
		g.SetVec(2*i+1, d.Y)
		sum += r2.Norm2(d)
	}
	if sum == 0 {
		return 0
	}
	return math.Min(0.1, math.Sqrt(math.Max(0, mat.Inner(g, c.all.cov, g)))/sum)
}
