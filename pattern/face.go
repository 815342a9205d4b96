package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// OnFace returns the rings with the holes' centres as they are in the face,
// for rings of a photograph: the edge of a hole in a chamfer or counterbore
// lies below the face, and is seen aside and from farther away. The edge of the
// chamfer or counterbore lies in it.
//
// Holes of one size are of one make: where three or more of them have such an
// edge, their depth is fitted to those by least squares and taken for all. Of
// one or two that both have such an edge its own centre is taken, where it lies
// as an edge in the face can: a washer's print does not. Where only some have
// one, none is moved: alike deep, they are all seen aside alike. Where none has
// one and sizes hardly differ, see [chamfered].
//
// How far below the face other edges lie is known only as far as their chamfers
// would be seen. That is counted in their covariances: of holes that all show one
// edge alike at the bore, because among themselves they are not out of place.
func OnFace(rings []Ring, choice Choice) []Ring {
	out := slices.Clone(rings)
	usual := usualSize(rings, choice.Holes)
	alike := 0.0   // mm, how deep all holes may lie together, as a standard uncertainty
	known := false // whether holes of hardly another size lie as deep as the others
	if deeper, ok := chamfered(rings, choice); ok {
		known = true
		for h, deep := range deeper {
			out[h].Centre = r2.Sub(rings[h].Centre, r2.Scale(deep, rings[h].Aside))
		}
	}
	for _, holes := range bySize(rings, choice.Holes) {
		var pairs []int
		for _, h := range holes {
			if o, ok := choice.Outer[h]; ok && above(rings[h], rings[o]) {
				pairs = append(pairs, h)
			}
		}
		if d, ok := fitDepth(rings, pairs, choice.Outer); ok {
			if 2*len(pairs) < len(holes) {
				d.variance += othersDeepU * othersDeepU * d.deep * d.deep
			}
			for _, h := range holes {
				out[h] = d.raised(rings[h])
			}
			continue
		}
		for _, h := range holes {
			o, ok := choice.Outer[h]
			if !known && len(pairs) < len(holes) {
				alike = math.Max(alike, rings[h].unseenDepth())
			}
			if ok && len(pairs) == len(holes) && !mixed(rings[h], rings[o]) {
				out[h].Centre, out[h].CentreCov, out[h].Shared = rings[o].Centre, rings[o].CentreCov, rings[o].Shared
				continue
			}
			u := holeDepthU
			if !known {
				u = math.Hypot(u, rings[h].doubtfulDepth(usual))
			}
			out[h] = out[h].atDepth(u)
		}
	}
	if b := choice.Bore; b >= 0 {
		if m := choice.Mouth; m >= 0 {
			out[b].Centre, out[b].CentreCov, out[b].Shared = rings[m].Centre, rings[m].CentreCov, rings[m].Shared
		}
		out[b] = out[b].atDepth(math.Hypot(holeDepthU, rings[b].unseenDepth())).atDepth(alike)
	}
	return out
}

// othersDeepU is what the depth of holes may be wrong by, over itself, when most
// of them do not show the edge that it is known by: in nine of ten faces holes
// of one size are of one make.
const othersDeepU = 0.3

// holeDepthU is how far below the face an edge lies that is seen to be the
// outermost, in mm as a standard uncertainty about the face itself: edges are
// broken by some hundredths of a millimetre. Common practice.
const holeDepthU = 0.03

// unseenDepth is how deep, as a standard uncertainty in mm, an edge may lie beside
// which no other is seen: edges nearer than apartPx in the picture run into one, so
// that on a chamfer of 45° either may have been measured (a rectangular
// distribution of that width, JCGM 100:2008 clause 4.3.7).
func (r Ring) unseenDepth() float64 {
	return apartPx / math.Sqrt(3) * r.radius() / math.Max(r.RadiusPx, 1)
}

// apartPx is how far apart in the picture two edges are that are told from one
// another: blur of one px and what the slopes are smoothed by.
const apartPx = 3.0

// usualSize is the median of the holes' diameters.
func usualSize(rings []Ring, holes []int) float64 {
	var all []float64
	for _, h := range holes {
		all = append(all, rings[h].Diameter)
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[(len(all)-1)/2]
}

// doubtfulDepth is how deep, as a standard uncertainty in mm, a ring may lie that
// is hardly larger or smaller than is usual: on a chamfer of 45° elsewhere than
// the others. What is much larger or smaller is another hole.
func (r Ring) doubtfulDepth(usual float64) float64 {
	if off := math.Abs(r.Diameter - usual); off < hardly*usual {
		return off / 2
	}
	return 0
}

// hardly is the share of a hole's diameter that its chamfer may be taken for it.
const hardly = 0.15

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
			if rings[h].sizeOff(rings[group[0]]) < 0.05 {
				groups[g] = append(group, h)
				continue next
			}
		}
		groups = append(groups, []int{h})
	}
	return groups
}

// depth is how far below the face edges lie.
type depth struct {
	deep     float64 // mm
	variance float64 // mm², of deep
	own      float64 // mm², by which one hole's edge is elsewhere than its depth says: countersinks made by hand
}

// fitDepth fits the depth of holes' edges below their outer ones.
func fitDepth(rings []Ring, pairs []int, outer map[int]int) (depth, bool) {
	n := float64(len(pairs))
	if n < 3 {
		return depth{}, false
	}
	var d depth
	weight, expected := 0.0, 0.0
	for _, h := range pairs {
		off := r2.Sub(rings[h].Centre, rings[outer[h]].Centre)
		d.deep += r2.Dot(off, rings[h].Aside)
		weight += r2.Norm2(rings[h].Aside)
		for _, c := range [2][2][2]float64{rings[h].CentreCov, rings[outer[h]].CentreCov} {
			expected += (c[0][0] + c[1][1]) / (2 * n)
		}
	}
	if weight == 0 { // seen from straight above: nothing is seen aside
		return depth{}, false
	}
	d.deep /= weight
	left := 0.0
	for _, h := range pairs {
		off := r2.Sub(rings[h].Centre, rings[outer[h]].Centre)
		left += r2.Norm2(r2.Sub(off, r2.Scale(d.deep, rings[h].Aside)))
	}
	v := left / (2*n - 1)
	d.variance, d.own = v/weight, math.Max(v-expected, 0)
	return d, true
}

// raised puts a hole's centre into the face. What the fit leaves in doubt all
// the holes have in common; it is so little beside the scale's own that it is
// counted as each one's.
func (d depth) raised(r Ring) Ring {
	r.Centre = r2.Sub(r.Centre, r2.Scale(d.deep, r.Aside))
	r = r.atDepth(math.Sqrt(d.variance))
	r.CentreCov[0][0] += d.own
	r.CentreCov[1][1] += d.own
	return r
}
