package calib

import (
	"fmt"
	"math"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Tie is a point that a person knows both in the picture and on the face.
type Tie struct {
	Px, MM r2.Vec
	U95    float64 // mm, what MM's coordinates may be wrong by
}

// MaxTies is how many ties are taken.
const MaxTies = 500

// Ties returns ties as controls. A tie that falls inside a mark means the
// mark's centre: of marks within one another, of the smallest. Two ties in
// one mark are refused.
func Ties(ties []Tie, marks []vision.Mark) ([]Control, error) {
	if len(ties) > MaxTies {
		return nil, fmt.Errorf("%d known points are more than the %d that can be used", len(ties), MaxTies)
	}
	out := make([]Control, len(ties))
	usedBy := map[int]string{}
	for i, t := range ties {
		c := Control{
			Name: fmt.Sprintf("%g,%g=%g,%g", t.Px.X, t.Px.Y, t.MM.X, t.MM.Y),
			Px:   t.Px, MM: t.MM, SigmaMM: t.U95 / 2,
		}
		if m := markAt(t.Px, marks); m >= 0 {
			if other, twice := usedBy[m]; twice {
				return nil, fmt.Errorf("%s and %s lie in the same mark at %.0f,%.0f px; both would be its centre", other, c.Name, marks[m].Centre.X, marks[m].Centre.Y)
			}
			usedBy[m] = c.Name
			c.Mark, c.Px = &marks[m], marks[m].Centre
		}
		out[i] = c
	}
	return out, nil
}

// markAt is the smallest mark that holds a pixel, of which most of the rim was
// seen; −1 for none.
func markAt(px r2.Vec, marks []vision.Mark) int {
	best := -1
	for i, m := range marks {
		if m.RimSeen < 0.5 || r2.Norm(r2.Sub(m.Centre, px)) > m.Radius || math.IsNaN(m.Radius) {
			continue
		}
		if best < 0 || m.Radius < marks[best].Radius {
			best = i
		}
	}
	return best
}
