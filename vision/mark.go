package vision

import (
	"gonum.org/v1/gonum/spatial/r2"
)

// Kind says what the edge of a mark looks like on the way from its inside to
// its outside.
type Kind string

const (
	Lighter Kind = "lighter inside"
	Darker  Kind = "darker inside"
	Either  Kind = "either inside" // darker on one side, lighter on another
)

// Mark is one circular edge of a picture.
type Mark struct {
	Centre r2.Vec // px
	Radius float64
	Kind   Kind

	// Edge holds one point for each sector of the rim in which an edge was
	// measured, in order around the rim, and Weight how much each is to be
	// trusted, relative to the others.
	Edge   []r2.Vec
	Weight []float64

	RimSeen  float64 // share of the rim on which the edge stands out, 0 to 1
	Contrast float64 // grey levels a pixel across the edge, positive where the inside is lighter, or of either kind
	Step     float64 // grey levels that the inside is lighter by than the outside, past the edge itself: next to none where the edge is a drawn line's
	Ink      float64 // px, how far outside the edge one of the other sign follows it, as a drawn line's other edge does; 0 where none does
	InkSteep float64 // how steep that one is beside the mark's own edge
	Scatter  float64 // px, robust standard deviation of the edge points about the circle
	Score    float64 // edge strength all round the rim, in units of what circles in this picture's texture have by chance
}

// sign is that of the outward slope; 0 where it differs along the rim.
func (m Mark) sign() float64 {
	switch m.Kind {
	case Darker:
		return 1
	case Either:
		return 0
	}
	return -1
}

// clarity puts marks in order: strong, seen along much of the rim, and round.
func (m Mark) clarity() float64 {
	ragged := 20 * m.Scatter / m.Radius
	return m.Score * m.RimSeen * m.RimSeen / (1 + ragged*ragged)
}
