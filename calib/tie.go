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

// Ties returns ties as controls. A tie that falls inside a clear mark means the
// mark's centre: of marks within one another, of the smallest. A mark as large
// as the ties stand apart is none that a person pointed at.
func Ties(ties []Tie, marks []vision.Mark) ([]Control, error) {
	if len(ties) > MaxTies {
		return nil, fmt.Errorf("%d known points are more than the %d that can be used", len(ties), MaxTies)
	}
	out := make([]Control, len(ties))
	for i, t := range ties {
		c := Control{
			Name: fmt.Sprintf("%g,%g=%g,%g", t.Px.X, t.Px.Y, t.MM.X, t.MM.Y),
			Px:   t.Px, MM: t.MM, SigmaMM: t.U95 / 2,
		}
		if m := markAt(t.Px, marks, apart(ties, i)/2); m >= 0 {
			c.Mark, c.Px = &marks[m], marks[m].Centre
		}
		out[i] = c
	}
	return out, nil
}

// apart is how far the nearest other tie lies from tie i, px.
func apart(ties []Tie, i int) float64 {
	nearest := math.Inf(1)
	for k, t := range ties {
		if k != i {
			nearest = math.Min(nearest, r2.Norm(r2.Sub(t.Px, ties[i].Px)))
		}
	}
	return nearest
}

// What makes a mark clear: how much of its rim was seen, and how far its edge
// points scatter, over its radius (and a little for small ones, px). Circles in
// mere texture are ragged.
const (
	tieRim       = 0.6
	tieScatter   = 0.03
	tieScatterPx = 0.3
)

// markAt is the smallest clear mark of at most a radius that holds a pixel; −1
// for none.
func markAt(px r2.Vec, marks []vision.Mark, most float64) int {
	best := -1
	for i, m := range marks {
		if m.RimSeen < tieRim || !(m.Radius <= most) || r2.Norm(r2.Sub(m.Centre, px)) > m.Radius || m.Scatter > tieScatter*m.Radius+tieScatterPx {
			continue
		}
		if best < 0 || m.Radius < marks[best].Radius {
			best = i
		}
	}
	return best
}
