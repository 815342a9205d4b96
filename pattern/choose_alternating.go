package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// alternating are members of one size of their own that stand in the same place
// between clear holes, three or more of them: one by one too little is seen of
// them, but chance does not set one size in one place again and again.
func (c *chooser) alternating(s supposed, clear []int) []int {
	if len(clear) < 3 {
		return nil
	}
	turn := func(i int) float64 {
		d := r2.Sub(c.rings[i].Centre, s.Centre)
		return math.Atan2(d.Y, d.X)
	}
	after := func(i int) float64 { // the clear hole before it, rad
		least := math.Inf(1)
		for _, h := range clear {
			least = math.Min(least, math.Mod(turn(i)-turn(h)+4*math.Pi, 2*math.Pi))
		}
		return least
	}
	var best []int
	for _, m := range s.members {
		if slices.Contains(clear, m) {
			continue
		}
		var with []int
		for _, k := range s.members {
			if !slices.Contains(clear, k) && c.oneSize(k, m) && c.rings[k].Scatter < raggedRim*c.rings[k].radius() &&
				s.Radius*math.Abs(after(k)-after(m)) < s.tolerance(c.rings[k]) {
				with = append(with, k)
			}
		}
		if len(with) > len(best) {
			best = with
		}
	}
	if len(best) < 3 || 2*len(best) < len(clear) {
		return nil
	}
	return best
}

// oneSize says that two rings may be of one drill: they differ in size by no more
// than edges of one make do and than the little that is seen of their rims leaves
// open.
func (c *chooser) oneSize(i, j int) bool {
	a, b := c.rings[i], c.rings[j]
	return a.sizeOff(b) < sameEdge+2*math.Hypot(a.DiameterU/a.Diameter, b.DiameterU/b.Diameter)
}
