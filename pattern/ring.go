package pattern

import "gonum.org/v1/gonum/spatial/r2"

// Ring is one circular edge measured on the face. It is what every source (a
// scan, a photograph, calipers) hands to this package.
//
// Coordinates are millimetres on the face as seen looking at it: x right, y
// up, with an origin of the source's choosing.
type Ring struct {
	ID       int    // the source's number for it, kept so that a person can name it
	Centre   r2.Vec // mm
	Diameter float64

	// CentreCov is the covariance (mm²) of the centre's x and y from what
	// belongs to this ring alone: its edge points. DiameterU is the standard
	// uncertainty of the diameter from the same cause.
	CentreCov [2][2]float64
	DiameterU float64

	// Shared holds, for each error that all rings of the source have in
	// common (see Terms of the source), how the centre moves (mm) when that
	// error is one standard uncertainty; SharedDiameter holds how the
	// diameter changes. The covariance between two rings is the sum over the
	// terms of the outer products of their displacements.
	Shared         []r2.Vec
	SharedDiameter []float64

	// What the source saw, for choosing and for explaining the choice.
	CentrePx r2.Vec  // where the centre is in the picture; zero without one
	RadiusPx float64 // its radius in the picture
	RimSeen  float64 // share of the rim on which the edge was found, 0 to 1
	Contrast float64 // grey levels, positive where the inside is brighter
	Score    float64 // strength of the evidence; comparable within one source
	Scatter  float64 // mm, robust standard deviation of the edge points about the circle
}
