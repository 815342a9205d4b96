package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// sameEdges puts holes of one make on the same of their edges. A photograph from
// a slant sees the edges of one hole aside of one another, as deep as they lie:
// where the chamfer's rim was taken of some holes and the hole's own of others,
// they would be out of line. Where the depth is known by pairs of edges it is
// told by [OnFace]. In a rubbing an edge below the face shows where the paper
// happened to be pressed in: what few of the holes show, a thread's run-out or the
// foot of a chamfer, and what is not about the same centre, is not where they are.
func (c *chooser) sameEdges() {
	slant := slices.ContainsFunc(c.out.Holes, func(h int) bool { return c.rings[h].Aside != (r2.Vec{}) })
	if slant && len(c.out.Outer) >= 3 {
		return
	}
	var edges [][]int // of each hole, its own first
	for _, h := range c.out.Holes {
		of := []int{h}
		for i, r := range c.rings {
			if i != h && !c.isAdded(h) && !c.dropped[i] && r.inside() == c.rings[h].inside() && r.concentric(c.rings[h]) &&
				r.sizeOff(c.rings[h]) < MostChamfer && r.RimSeen >= 0.4 && r.evidence() > 0.3*c.rings[h].evidence() &&
				r.Scatter < math.Max(2*c.rings[h].Scatter, crispEdge*r.radius()) { // and no mixture of two
				of = append(of, i)
			}
		}
		edges = append(edges, of)
	}
	// The edge that most holes show; of two, seen from a slant, the larger: it lies
	// in the face.
	var common []int
	size := 0.0
	for _, d := range slices.Concat(edges...) {
		var have []int
		for _, of := range edges {
			nearest := slices.MinFunc(of, func(a, b int) int {
				return cmp.Compare(c.rings[a].sizeOff(c.rings[d]), c.rings[b].sizeOff(c.rings[d]))
			})
			if c.rings[nearest].sizeOff(c.rings[d]) < sameEdge {
				have = append(have, nearest)
			}
		}
		if len(have) > len(common) || len(have) == len(common) && slant == (c.rings[d].Diameter > size) {
			common, size = have, c.rings[d].Diameter
		}
	}
	if 3*len(common) < 2*len(edges) {
		return // of several sizes
	}
	for n, of := range edges {
		h := of[0]
		for _, i := range of[1:] {
			if outer, ok := c.out.Outer[h]; !slices.Contains(common, i) || !slant && !(ok && outer == i) && c.oneCentre(h, i) {
				continue
			}
			c.out.Holes[n] = i
			c.out.Reasons[i], c.out.Reasons[h] = c.out.Reasons[h], "left: an edge of a hole that the others do not show"
			delete(c.out.Outer, h)
			if k := slices.Index(c.out.OffCircle, h); k >= 0 {
				c.out.OffCircle[k] = i
			}
		}
	}
}

// oneCentre says that two rings have the same centre as far as that is known.
func (c *chooser) oneCentre(i, j int) bool {
	a, b := c.rings[i].CentreCov, c.rings[j].CentreCov
	return r2.Norm(r2.Sub(c.rings[i].Centre, c.rings[j].Centre)) < 2*math.Sqrt(a[0][0]+a[1][1]+b[0][0]+b[1][1])
}

const (
	crispEdge = 0.01 // scatter over the radius of what is one edge
	sameEdge  = 0.03 // of two holes' diameters, measured on the same edge
)
