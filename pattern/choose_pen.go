package pattern

import (
	"fmt"
	"math"
	"slices"
)

// warnOfPen says which holes have a line drawn along their edge. It is crisper than
// what was rubbed, so that it is measured instead, and a hand follows an edge to
// about the width of its line: the ± counts half of that to every side.
//
// A rubbing has a dark edge too, where the paper is pressed most, and that of all
// its holes about alike: a line is what stands out of these. Along all holes it
// stands out of the bore's edge, if there is one.
func (c *chooser) warnOfPen() {
	if len(c.out.Holes) == 0 {
		return
	}
	var usual []float64
	for _, h := range c.out.Holes {
		usual = append(usual, c.rings[h].inkSlope())
	}
	slices.Sort(usual)
	rubbed, bore := usual[(len(usual)-1)/2], math.Inf(1)
	if c.out.Bore >= 0 {
		bore = c.rings[c.out.Bore].InkSteep
	}
	drawn := 0
	shade := c.rings[c.out.Holes[0]].inside()
	for _, h := range c.out.Holes {
		// What is filled or torn has edges of its own.
		r := c.rings[h]
		line := r.InkSteep >= clearInk && (r.inkSlope() > moreInk*rubbed || r.InkSteep > moreInk*bore)
		if line && r.inside() == shade {
			v := r.Ink * r.Ink / 4
			d := c.out.Doubt[h]
			c.out.Doubt[h] = [2][2]float64{{d[0][0] + v, d[0][1]}, {d[1][0], d[1][1] + v}}
			drawn++
		}
	}
	if drawn > 0 {
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("a line seems to be drawn along the edge of %s: it hides the rubbed edge, and the centre is known the less; draw beside holes, not on them", count(drawn, "hole")))
	}
}

// inkSlope is how steep the edge of the other sign is that follows a ring's own.
func (r Ring) inkSlope() float64 { return r.InkSteep * math.Abs(r.Contrast) }

const (
	clearInk = 0.6 // steepness of a drawn line's other edge beside the one in the hole, at least
	moreInk  = 2.0 // times as steep as of what was rubbed
)
