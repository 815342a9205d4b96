package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// leastCircled is the share of the typical hole's clarity that a hole of a second
// circle has, at least: holes of another size have edges of another steepness.
const leastCircled = 0.28

// aboutMiddle says that two or more of some rings are of ring i's drill and as far
// from the middle of the pitch circle as it is: a face that has holes on more circles
// than one has them about one middle, and chance sets no size at one distance again
// and again.
func (c *chooser) aboutMiddle(s supposed, i int, among []int) bool {
	r := c.rings[i]
	away := r2.Norm(r2.Sub(r.Centre, s.Centre))
	with := []int{i}
	for _, m := range among {
		o := c.rings[m]
		if r.sizeOff(o) < oneDrill && math.Abs(r2.Norm(r2.Sub(o.Centre, s.Centre))-away) < s.tolerance(o) && c.free(m, with, -1) {
			with = append(with, m)
		}
	}
	return len(with) > 2
}

// clearOf are the rings that are clear whatever their size.
func (c *chooser) clearOf(rings []int) []int {
	return slices.DeleteFunc(slices.Clone(rings), func(i int) bool { return c.evidence[i] <= clearEvidence })
}
