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
// the clearer.
func (c *chooser) takeFree() {
	least := leastFallback
	if c.opts.Free {
		least = leastFree
	}
	var order []int
	for i, e := range c.evidence {
		if c.isAdded(i) || e > least && c.rings[i].RimSeen >= 0.75 && c.rings[i].Score >= leastScore {
			order = append(order, i)
		}
	}
	if !c.opts.Free {
		order = slices.DeleteFunc(order, func(i int) bool { return !c.isAdded(i) && c.surrounds(i, order) })
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
	c.claimOuters()
	c.sameEdges()
}

// surrounds says that a ring goes round two other marks or more, side by side:
// it is the edge of the part, or a line about the holes.
func (c *chooser) surrounds(i int, marks []int) bool {
	r := c.rings[i]
	var within []int
	for _, m := range marks {
		q := c.rings[m]
		if m != i && r2.Norm(r2.Sub(r.Centre, q.Centre))+q.radius() < r.radius() && c.free(m, within, -1) {
			within = append(within, m)
		}
	}
	if len(within) < 2 {
		return false
	}
	c.out.Reasons[i] = "left: goes round other marks"
	return true
}
