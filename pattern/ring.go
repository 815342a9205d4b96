package pattern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

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

	// Aside is how far, mm along x and y, what lies 1 mm below the face here is
	// seen aside; zero where it is seen from straight above, as on a scan.
	Aside r2.Vec

	// What the source saw, for choosing and for explaining the choice.
	CentrePx r2.Vec  // where the centre is in the picture; zero without one
	RadiusPx float64 // its radius in the picture
	RimSeen  float64 // share of the rim on which the edge was found, 0 to 1
	Contrast float64 // grey levels, positive where the inside is brighter
	Step     float64 // grey levels that the inside is brighter by than the outside, past the edge; 0 where nobody looked
	Ink      float64 // mm, how far outside the edge one of the other sign follows it, as a drawn line's other edge does; 0 where none does or nobody looked
	InkSteep float64 // how steep that one is beside the ring's own edge
	Either   bool    // the inside is brighter along one part of the rim and darker along another, as of something deep
	Score    float64 // strength of the evidence; comparable within one source
	Scatter  float64 // mm, robust standard deviation of the edge points about the circle
}

// raggedRim is the scatter over half the radius of a rim that is half believed.
const raggedRim = 0.06

// evidence weighs how surely a ring is a round edge, from 0 to about 1. A crisp
// arc is believed by its length; ragged ones close to a circle by chance the
// sooner, the shorter they are.
func (r Ring) evidence() float64 {
	strength := r.Score / (r.Score + 8)
	ragged := 2 * r.Scatter / math.Max(r.radius(), 1e-9) / raggedRim
	return strength * math.Pow(r.RimSeen, 1+math.Min(ragged, 1)) / (1 + ragged*ragged)
}

// clarity weighs a ring by its edge alone, where evidence is asked how likely it
// is one: score, and how much of the rim is seen how crisply.
func (r Ring) clarity() float64 {
	ragged := 20 * r.Scatter / math.Max(r.radius(), 1e-9)
	return r.Score * r.RimSeen * r.RimSeen / (1 + ragged*ragged)
}

// rise is the step from one side of an edge to the other over its steepness, in
// pixels as the source measured it. It is the same for all steps of a picture, and
// next to nothing for a line, whose two sides are alike.
func (r Ring) rise() float64 {
	if r.Contrast == 0 {
		return 0
	}
	return r.Step / r.Contrast
}

func (r Ring) radius() float64 { return r.Diameter / 2 }

// sizeOff is how far two rings differ in size: the logarithm of the ratio of their
// diameters, without sign.
func (r Ring) sizeOff(o Ring) float64 { return math.Abs(math.Log(r.Diameter / o.Diameter)) }

// inside is +1 for a ring paler inside than outside, −1 for a darker one.
func (r Ring) inside() float64 { return math.Copysign(1, r.Contrast) }

// overlaps says that two rings cannot both be holes: they leave no metal
// between them to speak of.
func (r Ring) overlaps(o Ring) bool {
	return r2.Norm(r2.Sub(r.Centre, o.Centre)) < 1.04*(r.radius()+o.radius())
}

// covers says that two rings cover a part of one another.
func (r Ring) covers(o Ring) bool {
	return r2.Norm(r2.Sub(r.Centre, o.Centre)) < 0.95*(r.radius()+o.radius())
}

// concentric says that two rings can belong to one and the same hole. What lies
// below the face is seen aside, as far as it is still seen within the edge of
// the chamfer or counterbore that it lies in.
func (r Ring) concentric(o Ring) bool {
	in, out := r, o
	if in.radius() > out.radius() {
		in, out = o, r
	}
	off := r2.Sub(in.Centre, out.Centre)
	if in.Aside != (r2.Vec{}) {
		way := r2.Unit(in.Aside)
		off = r2.Sub(off, r2.Scale(min(max(r2.Dot(off, way), 0), out.radius()-in.radius()), way))
	}
	return r2.Norm(off) < 0.06*(r.radius()+o.radius())
}
