package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// alternating are rings on a supposed circle, of one size of their own, that stand
// in the same place between clear holes, three or more of them: one by one too
// little is seen of them, but chance does not set one size in one place again and
// again.
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
	faint := c.faintBetween(s, clear)
	var best []int
	for _, m := range faint {
		with := []int{m}
		for _, k := range faint {
			if c.oneSize(k, m) && s.Radius*math.Abs(after(k)-after(m)) < s.tolerance(c.rings[k]) && c.free(k, with, -1) {
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

// faintBetween are the rings on a supposed circle, clear of its clear holes, that
// may be holes of another size, the likeliest first. The pale patch that the pencil
// left out beside a hole may look like a ring too, and more of one than the hole:
// overlapping rings are all among them.
func (c *chooser) faintBetween(s supposed, clear []int) []int {
	var faint []int
	for i, r := range c.rings {
		if c.evidence[i] > leastMember && r.inside() == c.rings[clear[0]].inside() && r.Scatter < raggedRim*r.radius() &&
			math.Abs(s.Distance(r.Centre)) < s.tolerance(r) && c.offSize(i, clear) < mostUnlike && c.free(i, clear, -1) {
			faint = append(faint, i)
		}
	}
	slices.SortStableFunc(faint, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
	return faint
}

// oneSize says that two rings may be of one drill: they differ in size by no more
// than edges of one make do and than the little that is seen of their rims leaves
// open.
func (c *chooser) oneSize(i, j int) bool {
	a, b := c.rings[i], c.rings[j]
	return a.sizeOff(b) < sameEdge+2*math.Hypot(a.DiameterU/a.Diameter, b.DiameterU/b.Diameter)
}
