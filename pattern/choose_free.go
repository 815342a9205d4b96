package pattern

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// The evidence of a mark that is believed without a pattern: when a person
// asks for every mark, a rim seen nearly all round, however ragged; when no
// pattern was found where one was expected, only what is beyond doubt.
const (
	leastFree     = 0.03
	leastFallback = 0.3
)

// takeFree takes every clear circular mark as a hole; of marks that overlap,
// the clearer. Those of sure are believed without.
func (c *chooser) takeFree(sure []int) {
	least := leastFallback
	if c.opts.Free {
		least = leastFree
	}
	var order []int
	for i, e := range c.evidence {
		if c.isAdded(i) || slices.Contains(sure, i) || e > least && c.rings[i].RimSeen >= 0.75 && c.rings[i].Score >= leastScore {
			order = append(order, i)
		}
	}
	if !c.opts.Free {
		order = c.withoutTheFace(order)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
next:
	for _, i := range order {
		for _, h := range c.out.Holes {
			if c.rings[i].covers(c.rings[h]) {
				continue next
			}
		}
		c.out.Holes = append(c.out.Holes, i)
		c.out.Reasons[i] = "hole: a clear circular mark"
	}
	if n := c.opts.Holes; n > 0 {
		for _, i := range c.out.Holes[min(n, len(c.out.Holes)):] {
			c.out.Reasons[i] = "left: weaker than the number of holes expected"
		}
		c.out.Holes = c.out.Holes[:min(n, len(c.out.Holes))]
	}
	c.chooseEdges()
}

// withoutTheFace leaves out what is the face's own: its edge, and the bore in its
// middle.
func (c *chooser) withoutTheFace(marks []int) []int {
	var edges []int
	rest := slices.DeleteFunc(slices.Clone(marks), func(i int) bool {
		if !c.isAdded(i) && c.surrounds(i, marks) {
			edges = append(edges, i)
			return true
		}
		return false
	})
	for _, e := range edges {
		edge := c.rings[e]
		bore := slices.IndexFunc(rest, func(i int) bool {
			r := c.rings[i]
			return !c.isAdded(i) && r.inside() != edge.inside() && r2.Norm(r2.Sub(r.Centre, edge.Centre)) < inTheMiddle*edge.radius()
		})
		if bore < 0 {
			continue
		}
		c.out.Bore, c.out.Rim = rest[bore], e
		c.out.Reasons[e] = "rim: goes round other marks"
		c.out.Reasons[rest[bore]] = "bore: in the middle of the rim"
		return slices.Delete(rest, bore, bore+1)
	}
	return rest
}

// inTheMiddle is how far a bore's centre is from its rim's, at most, in the
// rim's radii.
const inTheMiddle = 0.03

// inMiddleOfFace says that a ring is the bore of a face: the edge of that, of the
// other shade, goes round it evenly, and round two more clear marks beside it. With
// two of the holes a bore shares a circle as any three marks do.
func (c *chooser) inMiddleOfFace(i int) bool {
	r := c.rings[i]
	return slices.ContainsFunc(c.rings, func(face Ring) bool {
		if face.inside() == r.inside() || face.evidence() < clearEvidence || face.radius() < 1.5*r.radius() ||
			r2.Norm(r2.Sub(r.Centre, face.Centre)) > inTheMiddle*face.radius() {
			return false
		}
		beside := []int{i}
		for m, q := range c.rings {
			if q.inside() == r.inside() && c.evidence[m] > clearEvidence && r2.Norm(r2.Sub(face.Centre, q.Centre))+q.radius() < face.radius() && c.free(m, beside, -1) {
				beside = append(beside, m)
			}
		}
		return len(beside) > 2
	})
}

// surrounds says that a ring goes round two other marks or more, side by side:
// it is the edge of the part, or a line about the holes. Marks of the other
// shade need not be as clear: they are holes in what it is the edge of.
func (c *chooser) surrounds(i int, marks []int) bool {
	r := c.rings[i]
	var within []int
	for m, q := range c.rings {
		holeIn := q.inside() != r.inside() && c.evidence[m] > leastFree && q.RimSeen >= 0.6 && q.Score >= leastScore
		if m != i && (holeIn || slices.Contains(marks, m)) && r2.Norm(r2.Sub(r.Centre, q.Centre))+q.radius() < r.radius() && c.free(m, within, -1) {
			within = append(within, m)
		}
	}
	if len(within) < 2 {
		return false
	}
	c.out.Reasons[i] = "left: goes round other marks"
	return true
}
