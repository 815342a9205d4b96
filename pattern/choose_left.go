package pattern

import (
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// warnOfLeft names crisp circles within the face that look like its holes and are
// none by the rules: a person sees at once what they are.
func (c *chooser) warnOfLeft(s supposed) {
	beside := c.typicalOf(s.members)
	var left []string
	for i, r := range c.rings {
		if c.out.Reasons[i] != "" || c.dropped[i] || r.inside() != c.rings[s.members[0]].inside() ||
			c.evidence[i] < clearEvidence || r.RimSeen < allRound || r.Scatter > crispRim*r.radius() || beside.line(r) ||
			c.offSize(i, c.out.Holes) > mostUnlike || c.onKnown(i) || c.beyondRim(i) {
			continue
		}
		left = append(left, fmt.Sprintf("m%d", r.ID))
	}
	if len(left) > 0 {
		c.out.Warnings = append(c.out.Warnings, fmt.Sprintf("left out, though as clear and round as holes: %s; see on the overlay what is there, and give what is a hole with --add", strings.Join(left, ", ")))
	}
}

// onKnown says that a ring covers a part of a hole or of the bore.
func (c *chooser) onKnown(i int) bool {
	known := slices.Clone(c.out.Holes)
	if c.out.Bore >= 0 {
		known = append(known, c.out.Bore)
	}
	return slices.ContainsFunc(known, func(k int) bool { return c.rings[i].covers(c.rings[k]) })
}

// beyondRim says that a ring does not lie within the part's rim.
func (c *chooser) beyondRim(i int) bool {
	if c.out.Rim < 0 {
		return false
	}
	rim := c.rings[c.out.Rim]
	return r2.Norm(r2.Sub(c.rings[i].Centre, rim.Centre))+c.rings[i].radius() > rim.radius()
}
