package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// leastStray is the least diameter of a hole off the circle, relative to the
// smallest on it: what is smaller is a pit.
const leastStray = 0.45

// strayRim is the least share of its rim that is seen of one that nothing else
// speaks for.
const strayRim = 0.7

// strays are the holes off the circle: as clear as those on it, within the
// face, and overlapping nothing.
func (c *chooser) strays(s supposed, holes []int) []int {
	beside := c.typicalOf(holes)
	smallest, largest := math.Inf(1), 0.0
	for _, h := range holes {
		smallest = math.Min(smallest, c.rings[h].Diameter)
		largest = math.Max(largest, c.rings[h].Diameter)
	}
	like := c.rings[holes[0]]
	reach := s.Radius + 1.5*largest
	if c.out.Rim >= 0 {
		reach = c.rings[c.out.Rim].radius()
	}
	within := func(r Ring, reach float64) bool {
		return r2.Norm(r2.Sub(r.Centre, s.Centre))+r.radius() <= reach
	}
	var out []int
	free := func(i int) bool {
		return c.free(i, slices.Concat(holes, out), -1) &&
			(c.isAdded(i) || c.out.Bore < 0 || !c.rings[i].overlaps(c.rings[c.out.Bore]))
	}
	chance := c.chance(s)
	elsewhere := false
	enough := c.opts.Holes > 0 && len(holes) >= c.opts.Holes // as many as the person expects
	var order []int
	for i, r := range c.rings {
		if !slices.Contains(holes, i) && (c.isAdded(i) || !enough && r.inside() == like.inside() &&
			i != c.out.Bore && i != c.out.Rim && r.Diameter >= leastStray*smallest && r.Diameter <= 2*largest &&
			r2.Norm(r2.Sub(r.Centre, s.Centre)) >= r.radius()) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
	sure := c.clearOf(order)
	// What is of another size must be as clear as the holes are; what is of the
	// size of one that was taken is believed sooner: a drill is used twice.
	for _, again := range []bool{false, true} {
		for _, i := range order {
			share, limit := 0.9, reach
			switch {
			case c.rings[i].clarity() > chance && c.twin(i) < 0:
				share = 0.6 // smaller holes take less lead
			}
			switch {
			case c.offSize(i, holes) < 0.12:
				share, limit = 0.6, math.Inf(1) // the same drill, wherever it was used
			case again && c.offSize(i, out) < 0.05:
				share = 0.6
			}
			if c.aboutMiddle(s, i, sure) || again && c.evidence[i] >= doubtful && c.aboutMiddle(s, i, out) {
				share = leastCircled
				if c.out.Rim < 0 {
					limit = math.Inf(1) // nothing ends the face where the pitch circle does
				}
			} else if !c.isAdded(i) && c.rings[i].RimSeen < strayRim {
				continue
			}
			if !c.isAdded(i) && c.slotEnd(i) {
				continue
			}
			if !c.isAdded(i) && beside.line(c.rings[i]) {
				c.out.Reasons[i] = "left: a line, where the holes are steps: drawn, or a figure's"
				continue
			}
			if slices.Contains(out, i) || !free(i) || !c.isAdded(i) && !(beside.holds(c, i, share) && within(c.rings[i], limit)) {
				continue
			}
			if !c.isAdded(i) && c.inAnotherFace(i) {
				elsewhere = true
				c.out.Reasons[i] = "left: in another face beside this one"
				continue
			}
			out = append(out, i)
		}
	}
	// Its holes may be of a size that has no business on this one.
	for i, r := range c.rings {
		elsewhere = elsewhere || c.evidence[i] > clearEvidence && r.inside() == like.inside() && !slices.Contains(holes, i) && !slices.Contains(out, i) && c.inAnotherFace(i)
	}
	if elsewhere {
		c.out.Warnings = append(c.out.Warnings, "another face is in the picture, and its holes are left out: to read it too, crop the picture to it")
	}
	return out
}

// chance is the clarity of the clearest mark of the holes' opposite shade that
// is not about the circle's middle: what texture and handwriting make of
// themselves in this picture.
func (c *chooser) chance(s supposed) float64 {
	clearest := 0.0
	for i, r := range c.rings {
		if !r.Either && r.inside() != c.rings[s.members[0]].inside() && i != c.out.Rim && r2.Norm(r2.Sub(r.Centre, s.Centre)) > 0.2*s.Radius {
			clearest = math.Max(clearest, r.clarity())
		}
	}
	return clearest
}

// inAnotherFace says that another face's rim, beside this one's, goes round a
// ring.
func (c *chooser) inAnotherFace(i int) bool {
	if c.out.Rim < 0 {
		return false
	}
	rim := c.rings[c.out.Rim]
	return slices.ContainsFunc(c.rings, func(o Ring) bool {
		return o.inside() == rim.inside() && o.evidence() > clearEvidence && !o.overlaps(rim) &&
			r2.Norm(r2.Sub(o.Centre, c.rings[i].Centre))+1.3*c.rings[i].radius() < o.radius()
	})
}
