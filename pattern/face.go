package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// OnFace returns the rings with the holes' centres as they are in the face,
// for rings of a photograph: the edge of a hole in a chamfer or counterbore
// lies below the face, and is seen aside and from farther away. The edge of the
// chamfer or counterbore lies in it.
//
// Holes of one size are of one make: where three or more of them, and half at
// least, have such an edge, the shift and the change of size between the two
// edges are fitted to all of them by least squares and taken for all. Of one or
// two that both have such an edge its own centre is taken, where it lies as an
// edge in the face can: a washer's print does not. Where only some have one,
// none is moved: alike deep, they are all seen aside alike.
//
// How far below the face other edges lie is not known: holes and bores have
// their edges broken. That is counted in their covariances.
func OnFace(rings []Ring, choice Choice) []Ring {
	out := slices.Clone(rings)
	for _, holes := range bySize(rings, choice.Holes) {
		var pairs []int
		for _, h := range holes {
			if _, ok := choice.Outer[h]; ok {
				pairs = append(pairs, h)
			}
		}
		shift, ok := fitDepth(rings, pairs, choice.Outer)
		if ok && len(pairs) >= 3 && 2*len(pairs) >= len(holes) {
			for _, h := range holes {
				out[h] = shift.moved(rings[h])
			}
			continue
		}
		for _, h := range holes {
			o, ok := choice.Outer[h]
			if ok && len(pairs) == len(holes) && above(rings[h], rings[o]) && !mixed(rings[h], rings[o]) {
				out[h].Centre, out[h].CentreCov, out[h].Shared = rings[o].Centre, rings[o].CentreCov, rings[o].Shared
				continue
			}
			out[h] = rings[h].atDepth(holeDepthU)
		}
	}
	if b := choice.Bore; b >= 0 {
		out[b] = rings[b].atDepth(boreDepthU)
	}
	return out
}

// How far below the face the edges of holes and bores lie, in mm as standard
// uncertainties about the face itself: edges are broken by some hundredths of a
// millimetre, and bores chamfered by up to one. Common practice.
const (
	holeDepthU = 0.03
	boreDepthU = 0.6
)

// atDepth adds to a ring's covariance what a depth below the face that is not
// known does to its centre.
func (r Ring) atDepth(u float64) Ring {
	a := r2.Scale(u, r.Aside)
	r.CentreCov[0][0] += a.X * a.X
	r.CentreCov[0][1] += a.X * a.Y
	r.CentreCov[1][0] += a.X * a.Y
	r.CentreCov[1][1] += a.Y * a.Y
	return r
}

// mixed says that the outer of two edges is so ragged beside the inner that it
// is partly that.
func mixed(hole, outer Ring) bool {
	return outer.Scatter > 0.02*outer.radius() && outer.Scatter > 2*hole.Scatter
}

// above says whether the outer of two edges can lie above the other: the inner
// is then seen aside of it along the view, and not across.
func above(hole, outer Ring) bool {
	off := r2.Sub(hole.Centre, outer.Centre)
	if deep := r2.Dot(off, hole.Aside) / r2.Norm2(hole.Aside); deep > 0 {
		off = r2.Sub(off, r2.Scale(deep, hole.Aside))
	}
	u := math.Sqrt(hole.CentreCov[0][0] + hole.CentreCov[1][1] + outer.CentreCov[0][0] + outer.CentreCov[1][1])
	return r2.Norm(off) < 0.05+3*u
}

// bySize puts holes of like diameters together.
func bySize(rings []Ring, holes []int) [][]int {
	var groups [][]int
next:
	for _, h := range holes {
		for g, group := range groups {
			if math.Abs(math.Log(rings[h].Diameter/rings[group[0]].Diameter)) < 0.05 {
				groups[g] = append(group, h)
				continue next
			}
		}
		groups = append(groups, []int{h})
	}
	return groups
}

// depth is how edges that lie at a depth below the face are seen: shifted, and
// drawn together about a middle.
type depth struct {
	about, shift r2.Vec
	grow         float64

	variance  float64 // mm², of shift along either axis
	growthVar float64
	own       float64 // mm², by which one hole's shift differs from another's: countersinks made by hand
}

// fitDepth fits the depth of holes' edges below their outer ones.
func fitDepth(rings []Ring, pairs []int, outer map[int]int) (depth, bool) {
	n := float64(len(pairs))
	if n < 3 {
		return depth{}, false
	}
	var d depth
	for _, h := range pairs {
		d.about = r2.Add(d.about, r2.Scale(1/n, rings[h].Centre))
	}
	a, b := mat.NewDense(2*len(pairs), 3, nil), mat.NewVecDense(2*len(pairs), nil)
	spread, expected := 0.0, 0.0
	for i, h := range pairs {
		p := r2.Sub(rings[h].Centre, d.about)
		off := r2.Sub(rings[outer[h]].Centre, rings[h].Centre)
		a.SetRow(2*i, []float64{1, 0, p.X})
		a.SetRow(2*i+1, []float64{0, 1, p.Y})
		b.SetVec(2*i, off.X)
		b.SetVec(2*i+1, off.Y)
		spread += r2.Norm2(p)
		for _, c := range [2][2][2]float64{rings[h].CentreCov, rings[outer[h]].CentreCov} {
			expected += (c[0][0] + c[1][1]) / (2 * n)
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return depth{}, false
	}
	d.shift, d.grow = r2.Vec{X: x.AtVec(0), Y: x.AtVec(1)}, x.AtVec(2)
	var left mat.VecDense
	left.MulVec(a, &x)
	left.SubVec(b, &left)
	v := mat.Dot(&left, &left) / (2*n - 3)
	d.variance, d.growthVar = v/n, v/spread
	d.own = math.Max(v-expected, 0)
	return d, true
}

// moved puts a hole's centre into the face. What the fit leaves in doubt all
// the holes have in common; it is so little beside the scale's own that it is
// counted as each one's.
func (d depth) moved(r Ring) Ring {
	p := r2.Sub(r.Centre, d.about)
	r.Centre = r2.Add(r.Centre, r2.Add(d.shift, r2.Scale(d.grow, p)))
	r.CentreCov[0][0] += d.own + d.variance + d.growthVar*p.X*p.X
	r.CentreCov[1][1] += d.own + d.variance + d.growthVar*p.Y*p.Y
	r.CentreCov[0][1] += d.growthVar * p.X * p.Y
	r.CentreCov[1][0] += d.growthVar * p.X * p.Y
	return r
}
