package pattern

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// oneCopy recognises paper that slipped while it was rubbed: most holes then
// show twice, all shifted alike. It returns the clearer copy as a whole; a
// mixture of the two would be off by the shift.
func (c *chooser) oneCopy(s supposed) supposed {
	type pair struct{ here, there int }
	var pairs []pair
	for _, m := range s.members {
		if twin := c.twin(m); twin >= 0 {
			pairs = append(pairs, pair{m, twin})
		}
	}
	// Two holes of many may have something beside them, three hardly the same.
	enough := func(n int) bool { return n >= 2 && (n >= 3 || 2*n > len(s.members)) }
	if !enough(len(pairs)) {
		return s
	}
	// The shift is that of most pairs, whichever way round they lie.
	shiftOf := func(p pair) r2.Vec { return r2.Sub(c.rings[p.there].Centre, c.rings[p.here].Centre) }
	var shift r2.Vec
	var agreeing []pair
	for _, p := range pairs {
		v := shiftOf(p)
		var with []pair
		for _, q := range pairs {
			w := shiftOf(q)
			if r2.Dot(v, w) < 0 {
				q, w = pair{q.there, q.here}, r2.Scale(-1, w)
			}
			if r2.Norm(r2.Sub(v, w)) < 0.25+0.1*r2.Norm(v) {
				with = append(with, q)
			}
		}
		if len(with) > len(agreeing) {
			agreeing, shift = with, v
		}
	}
	if !enough(len(agreeing)) {
		return s
	}
	here, there := 0.0, 0.0
	for _, p := range agreeing {
		here += c.clearness(p.here)
		there += c.clearness(p.there)
	}
	copyOf := map[int]int{}
	for _, p := range agreeing {
		if here >= there {
			copyOf[p.there] = p.here
		} else {
			copyOf[p.here] = p.there
		}
	}
	for i, m := range s.members {
		if better, ok := copyOf[m]; ok {
			s.members[i] = better
		}
	}
	for worse := range copyOf {
		c.out.Reasons[worse] = "left: the fainter copy of a hole that shows twice"
		c.evidence[worse] = 0
	}
	c.out.Warnings = append(c.out.Warnings, fmt.Sprintf(
		"everything shows twice, %.1f mm apart: the paper slipped; the clearer copy was taken, but take another rubbing if you can", r2.Norm(shift)))
	return s
}

func (c *chooser) clearness(i int) float64 {
	return c.evidence[i] * math.Abs(c.rings[i].Contrast)
}

// slotEnd says that a ring is the end of a slot: of its rim a part is missing
// where another of its size begins.
func (c *chooser) slotEnd(i int) bool {
	t := c.sameTwin(i)
	return t >= 0 && c.rings[i].RimSeen < slotRim && c.rings[t].RimSeen < slotRim
}

// slotRim is the share of a rim that is seen of a slot's end: half, and what goes
// on straight.
const slotRim = 0.85

// sameTwin is the ring of the same size that overlaps ring i; −1 where there is
// none.
func (c *chooser) sameTwin(i int) int {
	if t := c.twin(i); t >= 0 && c.rings[i].sizeOff(c.rings[t]) < 0.05 {
		return t
	}
	return -1
}

// warnOfTwins says which holes show twice: where it is not all of them, it may
// be slots, and one of a few may be taken from the wrong copy. The hole is where
// the one ring is or where the other, each as likely as it is clear, and the ±
// counts that.
func (c *chooser) warnOfTwins() {
	n, apart := 0, 0.0
	for _, h := range c.out.Holes {
		if t := c.sameTwin(h); t >= 0 && c.evidence[t] > 0.4*c.evidence[h] {
			off := r2.Sub(c.rings[t].Centre, c.rings[h].Centre)
			n, apart = n+1, math.Max(apart, r2.Norm(off))
			if c.isAdded(h) {
				continue
			}
			other := c.evidence[t] / (c.evidence[h] + c.evidence[t])
			c.out.Doubt[h] = [2][2]float64{{other * off.X * off.X, other * off.X * off.Y}, {other * off.X * off.Y, other * off.Y * off.Y}}
		}
	}
	switch {
	case n == 1:
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("one hole shows twice, %.1f mm apart: a slot, or the paper slipped; look at the overlay whether the right one was taken", apart))
	case n > 1:
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("%d holes show twice, up to %.1f mm apart: slots, or the paper slipped; look at the overlay whether the right ones were taken", n, apart))
	}
}

// twin returns the clearest ring that overlaps ring m, is of its size and not
// concentric with it, nor its chamfer's from a slant; −1 when there is none.
func (c *chooser) twin(m int) int {
	best := -1
	for i, r := range c.rings {
		hole := c.rings[m]
		apart := r2.Norm(r2.Sub(r.Centre, hole.Centre))
		if i == m || c.evidence[i] < 0.15*c.evidence[m] || r.inside() != hole.inside() || !r.overlaps(hole) ||
			apart < 0.12*hole.radius() || r.Aside != (r2.Vec{}) && r.concentric(hole) || r.sizeOff(hole) > 0.15 {
			continue
		}
		if best < 0 || c.evidence[i] > c.evidence[best] {
			best = i
		}
	}
	return best
}

// warnOfSlots tells of holes of one size beside each other whose rims are seen in
// half, where the others' are seen all round: the ends of a slot, which no drill
// made one by one.
func (c *chooser) warnOfSlots() {
	holes := c.out.Holes
	if c.median(holes, func(i int) float64 { return c.rings[i].RimSeen }) < slotRim {
		return
	}
	for n, h := range holes {
		for _, o := range holes[:n] {
			a, b := c.rings[h], c.rings[o]
			if a.RimSeen < slotRim && b.RimSeen < slotRim && a.sizeOff(b) < oneDrill &&
				r2.Norm(r2.Sub(a.Centre, b.Centre)) < longSlot*(a.radius()+b.radius()) {
				c.out.Warnings = append(c.out.Warnings, "two holes close beside each other are seen by half: the ends of a slot? A bolt may sit anywhere between them; look at the overlay")
				return
			}
		}
	}
}

// longSlot is how far apart, in its width, the ends of a slot are that are found as
// two holes.
const longSlot = 1.5
