package pattern

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// notRound is the scatter of the edge over the radius from which on marks are
// hardly circles.
const notRound = 0.045

// How much of its rim must be seen, and how clearly beside the holes, of a bore that
// is darker on one side and lighter on another.
const (
	eitherSeen     = 0.75
	eitherContrast = 0.25
)

// take makes the choice around a pitch circle.
func (c *chooser) take(s supposed) {
	c.out.Circle = true
	holes := slices.Clone(s.members)
	for _, m := range holes {
		c.out.Reasons[m] = fmt.Sprintf("hole: on the pitch circle (%.2f mm off)", math.Abs(s.Distance(c.rings[m].Centre)))
	}
	c.findBoreAndRim(s, holes)
	for _, i := range c.strays(s, holes) {
		holes = append(holes, i)
		if off := math.Abs(s.Distance(c.rings[i].Centre)); off < s.tolerance(c.rings[i]) {
			c.out.Reasons[i] = fmt.Sprintf("hole: of another size, on the pitch circle (%.2f mm off)", off)
			continue
		}
		c.out.OffCircle = append(c.out.OffCircle, i)
		c.out.Reasons[i] = fmt.Sprintf("hole: as clear as the others, but %.1f mm off their pitch circle", math.Abs(s.Distance(c.rings[i].Centre)))
	}
	holes = c.withOtherShade(s, holes)
	c.out.OffCircle = slices.DeleteFunc(c.out.OffCircle, func(i int) bool { return !slices.Contains(holes, i) })
	c.out.Holes = holes
	c.chooseEdges()
	c.warn(s)
	c.warnOfTwins()
	c.warnOfSlots()
	c.warnOfPen()
	c.warnOfLeft(s)
}

// warn says what a person should look at twice.
func (c *chooser) warn(s supposed) {
	if ragged := c.median(s.members, func(i int) float64 { return c.rings[i].Scatter / c.rings[i].radius() }); ragged > notRound {
		c.out.Warnings = append(c.out.Warnings, "the marks are not round: slots, nuts or smeared rims? A circle through a slot need not be where its bolt sits; look at the overlay")
	}
	faint := 0 // place and size of these say little: they were looked for by them
	for _, m := range s.members {
		if slices.Contains(c.out.Holes, m) && c.evidence[m] < doubtful {
			faint++
		}
	}
	if faint > 0 && 2*faint < len(s.members) { // else they are told to be ragged
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("%s on the pitch circle may be mere strokes or texture, so faint and ragged: see on the overlay whether a hole is there, and leave it out with --drop where none is", count(faint, "hole")))
	}
	if len(s.members) == 3 && len(c.out.OffCircle) > 0 {
		c.out.Warnings = append(c.out.Warnings, "any three holes lie on some circle: with four, of which one is off, it cannot be told which; trust the chords, and the pitch circle only if it agrees with the bore or the rim")
	}
}

// findBoreAndRim looks for the round edges that surround the pitch circle's
// centre, within the holes and beyond them.
func (c *chooser) findBoreAndRim(s supposed, holes []int) {
	hole := 0.0
	for _, h := range holes {
		hole = math.Max(hole, c.rings[h].radius())
	}
	shade := c.rings[holes[0]].inside()
	beside := c.typicalOf(holes)
	bore, rim := 0.0, 0.0
	for i, r := range c.rings {
		if slices.Contains(holes, i) || c.dropped[i] || r.Scatter > 0.015*r.radius()+0.15 {
			continue // a machined edge is round; where the pencil stopped is not
		}
		off := r2.Norm(r2.Sub(r.Centre, s.Centre))
		e := r.evidence()
		switch {
		case off < 0.1*s.Radius+0.5 && off < r.radius()/2 && r.radius()+off < s.Radius-1.15*hole:
			// A bore is a hole too: of the same shade as the bolt holes.
			if r.Either && (r.RimSeen < eitherSeen || math.Abs(r.Contrast) < eitherContrast*beside.contrast) {
				continue // the grooves of turning
			}
			if r.Either || r.inside() != shade {
				e *= 0.4
			}
			if e > math.Max(bore, 0.12) && beside.inAll(r) >= leastInAll {
				bore, c.out.Bore = e, i
			}
		case off < 0.15*s.Radius+0.5 && r.radius()-off > s.Radius+1.15*hole:
			// The face ends at its rim: the other shade.
			if r.Either || r.inside() == shade {
				e *= 0.4
			}
			if e > math.Max(rim, 0.12) {
				rim, c.out.Rim = e, i
			}
		}
	}
	if c.out.Bore >= 0 {
		c.out.Reasons[c.out.Bore] = "bore: surrounds the pitch circle's centre, within the holes"
	}
	if c.out.Rim >= 0 {
		c.out.Reasons[c.out.Rim] = "rim: surrounds all holes"
	}
	c.findMouth(s, hole)
}
