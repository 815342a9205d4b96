package pattern

import (
	"fmt"
	"math"
	"slices"
)

// withOtherShade adds to the holes of a pitch circle those that are darker inside
// where the others are paler, or the other way round: pressed full of lead or of
// dirt, or with the paper torn through, so that what lies behind it shows. They take
// the place of fainter marks that they overlap.
func (c *chooser) withOtherShade(s supposed, holes []int) []int {
	beside := c.typicalOf(holes)
	shade := c.rings[holes[0]].inside()
	torn := 0
	for i, r := range c.rings {
		stay := slices.DeleteFunc(slices.Clone(holes), func(h int) bool {
			return !c.isAdded(h) && c.rings[h].inside() == shade && c.evidence[h] < c.evidence[i] && c.rings[h].overlaps(r)
		})
		if r.inside() == shade || math.Abs(s.Distance(r.Centre)) > s.tolerance(r) || !c.free(i, stay, -1) || len(stay) < 2 {
			continue
		}
		switch inset := c.inset(i, stay); {
		case beside.filled(c, i) && c.offSize(i, stay) <= 0.05:
			c.out.Reasons[i] = "hole: filled, so that it is darker or lighter than the others; on the pitch circle"
		case beside.torn(c, i) && inset > -0.05*r.radius() && inset < mostInset*r.radius():
			c.out.Reasons[i] = "hole: the paper is torn, and what lies behind it shows; on the pitch circle"
			// The paper tears within the rim, here closer to it than there.
			c.out.Doubt[i] = [2][2]float64{{inset * inset / 4, 0}, {0, inset * inset / 4}}
			torn++
		default:
			continue
		}
		for _, h := range holes {
			if !slices.Contains(stay, h) {
				c.out.Reasons[h] = "left: overlaps a clearer mark on the pitch circle"
			}
		}
		holes = append(stay, i)
	}
	if torn > 0 {
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("the paper is torn in %s: its edge is not the hole's, and the centre is known the less; look at the overlay", count(torn, "hole")))
	}
	return holes
}

// filled says that a ring of the other shade is as surely round as the typical hole.
// How steep its edge is depends on what fills it, and on what is behind the others
// where those are torn: a crisp rim seen all round may be as pale as it likes.
func (t typical) filled(c *chooser, i int) bool {
	r := c.rings[i]
	whole := r.RimSeen >= wholeRim && r.Scatter < crispRim*r.radius()
	return c.evidence[i] >= 0.4*t.evidence && (whole || math.Abs(r.Contrast) >= 0.6*t.contrast)
}

// wholeRim is the share of a rim that is seen of one that nothing interrupts.
const wholeRim = 0.9

// torn says that a ring of the other shade may be a torn edge: ragged, which counts
// against it as little as it may, but seen along most of the rim, steeper than lead
// beside paper, and about as strong as the typical hole.
func (t typical) torn(c *chooser, i int) bool {
	r := c.rings[i]
	return c.evidence[i] > leastEvidence && r.RimSeen >= 0.6 && math.Abs(r.Contrast) >= t.contrast && r.Score >= math.Max(leastScore, 0.7*t.score)
}

// inset is how far, in mm, a ring's edge lies within that of the hole nearest to it
// in size.
func (c *chooser) inset(i int, holes []int) float64 {
	inset := math.Inf(1)
	for _, h := range holes {
		if d := c.rings[h].radius() - c.rings[i].radius(); math.Abs(d) < math.Abs(inset) {
			inset = d
		}
	}
	return inset
}

// mostInset is how far within the rim paper tears at most, in radii of the torn
// edge.
const mostInset = 0.25
