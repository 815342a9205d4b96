package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// takeRows takes the holes as a free pattern where they lie in one straight
// row, or in rows and columns of which the supposed pitch circle holds but a
// part: the corners of a grid share a circle, and so does any slightly bent
// row, but nobody set them out on one.
func (c *chooser) takeRows(s supposed) bool {
	if c.opts.PCD > 0 {
		return false
	}
	holes := c.likeMembers(s)
	var at []r2.Vec
	span := 0.0
	for _, h := range holes {
		at = append(at, c.rings[h].Centre)
		span = math.Max(span, r2.Norm(r2.Sub(c.rings[h].Centre, at[0])))
	}
	tolerance := func(i int) float64 {
		cov := c.rings[holes[i]].CentreCov
		return 0.15 + 0.002*span + math.Sqrt(cov[0][0]+cov[1][1])
	}
	r, ok := inRows(at, tolerance)
	what := "in rows and columns"
	switch {
	case c.opts.Holes > 0 && c.opts.Holes != len(holes):
		return false
	case !ok:
		return false
	case r.nRows == 1:
		what = "on a straight line"
	}
	for _, h := range holes {
		c.out.Holes = append(c.out.Holes, h)
		c.out.Reasons[h] = "hole: " + what + " with the others"
	}
	c.chooseEdges()
	c.out.Warnings = append(c.out.Warnings, "the holes lie "+what+": they are reported by x and y, with no pitch circle forced on them; if they do share one, say so with --pcd")
	return true
}

// likeMembers are the members of a supposed pitch circle and all rings that
// are as clear as they are, of their size and shade, and overlap none.
func (c *chooser) likeMembers(s supposed) []int {
	holes := slices.Clone(s.members)
	beside := c.typicalOf(holes)
	for i, r := range c.rings {
		if c.dropped[i] || slices.Contains(holes, i) || r.inside() != c.rings[s.members[0]].inside() ||
			c.offSize(i, s.members) > 0.12 || !c.isAdded(i) && (r.RimSeen < 0.7 || beside.line(r) || !beside.holds(c, i, 0.6)) || !c.free(i, holes, -1) {
			continue
		}
		holes = append(holes, i)
	}
	return holes
}
