package pattern

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// MateSchema names the form of a Mating as JSON.
const MateSchema = "boltrose/mate/1"

// MaxMateHoles is the most holes that Mate takes.
const MaxMateHoles = 200

// Holes is one side of a joint: where its holes are, and how surely.
type Holes struct {
	At  []r2.Vec      // mm
	Cov mat.Symmetric // mm², of x1, y1, x2, …; nil where the places are exact

	// Zone is a position tolerance (ISO 1101, ASME Y14.5), the diameter (mm)
	// of the circle about its place within which each hole's centre is made,
	// anywhere in it alike and each for itself. It comes on top of Cov.
	Zone float64
}

// Places returns the places of a reading's holes and their covariance, in the
// order of its list.
func (r *Reading) Places() Holes {
	var h Holes
	for _, hole := range r.Holes {
		h.At = append(h.At, r2.Vec{X: hole.X, Y: hole.Y})
	}
	h.Cov = mat.NewSymDense(2*len(r.Holes), append([]float64(nil), r.CovarianceMM2...))
	return h
}

// Joint is a part that is to be bolted onto a face. All is in mm, and both
// sides are seen looking at the face, the part lying on it.
type Joint struct {
	Face, Part Holes

	// Bolts are the diameters of the bolts in the face's holes.
	Bolts []float64

	// FaceHoles are the diameters of the face's holes where the bolts pass
	// through these with clearance too (floating fasteners); nil where the
	// bolts stand fast in the face, as studs and screws in threads do (fixed
	// fasteners).
	FaceHoles []float64

	// PartHoles are the diameters of the part's holes.
	PartHoles []float64

	// Flip turns the part over (its x is reversed) before it is laid on.
	Flip bool
}

func (j Joint) check() error {
	n := len(j.Face.At)
	switch {
	case n == 0 || len(j.Part.At) == 0:
		return errors.New("a side without holes cannot be bolted")
	case n != len(j.Part.At):
		return fmt.Errorf("the face has %d holes and the part %d: give the part's holes that take the face's bolts, and only these", n, len(j.Part.At))
	case n > MaxMateHoles:
		return fmt.Errorf("%d holes are more than the %d that can be looked at together", n, MaxMateHoles)
	case len(j.Bolts) != n:
		return fmt.Errorf("%d bolts for %d holes", len(j.Bolts), n)
	case len(j.PartHoles) != n:
		return fmt.Errorf("%d diameters for the part's %d holes", len(j.PartHoles), n)
	case j.FaceHoles != nil && len(j.FaceHoles) != n:
		return fmt.Errorf("%d diameters for the face's %d holes", len(j.FaceHoles), n)
	}
	for _, side := range []Holes{j.Face, j.Part} {
		for i, p := range side.At {
			if !(math.Abs(p.X) <= maxMM && math.Abs(p.Y) <= maxMM) {
				return fmt.Errorf("hole %d cannot be at %g, %g", i+1, p.X, p.Y)
			}
		}
		if side.Cov != nil && side.Cov.SymmetricDim() != 2*n {
			return fmt.Errorf("a covariance of %d numbers for %d holes", side.Cov.SymmetricDim(), n)
		}
		if !(side.Zone >= 0 && side.Zone <= maxMM) {
			return fmt.Errorf("a position tolerance cannot be %g mm", side.Zone)
		}
	}
	for i := range n {
		for _, d := range []float64{j.Bolts[i], j.PartHoles[i]} {
			if !(d > 0 && d <= maxMM) {
				return fmt.Errorf("a diameter cannot be %g mm", d)
			}
		}
		if j.FaceHoles != nil && !(j.FaceHoles[i] >= j.Bolts[i] && j.FaceHoles[i] <= maxMM) {
			return fmt.Errorf("a bolt of %g mm does not go through hole %d of the face, which measures %g mm", j.Bolts[i], i+1, j.FaceHoles[i])
		}
	}
	thinnest := math.Inf(1)
	for _, d := range j.Bolts {
		thinnest = math.Min(thinnest, d)
	}
	for i, d := range j.PartHoles {
		if d < thinnest {
			return fmt.Errorf("hole %d of the part measures %g mm, and no bolt is thinner than %g mm: it goes through none", i+1, d, thinnest)
		}
	}
	return nil
}

// rooms returns by how much a hole of the part may be off a hole of the face,
// as a sum of what belongs to the one and to the other: (D − d)/2 where the
// bolt stands fast in the face, (D − d)/2 + (F − d)/2 where it has clearance
// there too.
func (j Joint) rooms() (face, part []float64) {
	for i, d := range j.Bolts {
		r := -d / 2
		if j.FaceHoles != nil {
			r += (j.FaceHoles[i] - d) / 2
		}
		face = append(face, r)
	}
	for _, d := range j.PartHoles {
		part = append(part, d/2)
	}
	return face, part
}

// laid returns the places of both sides about their middles, the part turned
// over where it is to be.
func (j Joint) laid() (face, part []r2.Vec) {
	about := func(points []r2.Vec, flip bool) []r2.Vec {
		c := meanPoint(points)
		out := make([]r2.Vec, len(points))
		for i, p := range points {
			if out[i] = r2.Sub(p, c); flip {
				out[i].X = -out[i].X
			}
		}
		return out
	}
	return about(j.Face.At, false), about(j.Part.At, j.Flip)
}

// solveTolerance (mm) is how closely the best turn and shift are known, and
// proven to be the best. Only where three holes or more of one side lie within
// a millimetre, over as many that do not, it may be proven less closely: to
// some micrometres where that was tried.
const solveTolerance = 1e-9

// match finds the assignments within reach (mm) of the best.
func (j Joint) match(reach float64) (found []match, low float64, whole bool) {
	face, part := j.laid()
	faceRoom, partRoom := j.rooms()
	return matchings(face, part, faceRoom, partRoom, reach, solveTolerance)
}
