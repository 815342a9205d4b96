package pattern

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// propagate carries the joint covariance over from the source's coordinates
// to the reading's: a point is x' = x − c, where the pitch circle's centre c
// depends on all holes.
func (p *assembly) propagate() error {
	m := len(p.parts)
	datum := mat.NewDense(3, 3*m, nil)
	jac, err := p.datumJacobian()
	if err != nil {
		return err
	}
	datum.Slice(0, 3, 0, 2*p.holes).(*mat.Dense).Copy(jac)
	p.fittedU = math.Sqrt(math.Max(propagate(datum, p.joint).At(2, 2), 0))
	if p.adjusted != nil && p.hasCircle && p.opts.KnownPCD != 0 && p.opts.KnownPCDU == 0 {
		p.fittedU = 0 // known exactly; the arithmetic leaves some nanometres
	}

	// Each coordinate follows the datum through its row of follow, so that
	// the derivatives are I − follow · datum.
	follow := mat.NewDense(3*m, 3, nil)
	for i, q := range p.parts {
		follow.Set(2*i, 0, 1)
		follow.Set(2*i+1, 1, 1)
		p.at = append(p.at, r2.Sub(q.Centre, p.origin))
		p.d = append(p.d, q.Diameter)
	}
	p.cov = propagateLess(p.joint, follow, datum)
	return nil
}

// sourceCovariance returns the joint covariance of x1, y1, x2, … and then of
// the diameters of all parts in the source's coordinates: what each ring has
// of its own, and what all share. shared holds, a column each, how these move
// with each shared error; its last column is empty, for the error of a scale
// that the source does not have.
func sourceCovariance(parts []part) (joint *mat.SymDense, shared *mat.Dense) {
	m := len(parts)
	joint = mat.NewSymDense(3*m, nil)
	for i, q := range parts {
		joint.SetSym(2*i, 2*i, q.CentreCov[0][0])
		joint.SetSym(2*i, 2*i+1, q.CentreCov[0][1])
		joint.SetSym(2*i+1, 2*i+1, q.CentreCov[1][1])
		joint.SetSym(2*m+i, 2*m+i, q.DiameterU*q.DiameterU)
	}
	terms := len(parts[0].Shared)
	shared = mat.NewDense(3*m, terms+1, nil)
	for t := range terms {
		for i, q := range parts {
			shared.Set(2*i, t, q.Shared[t].X)
			shared.Set(2*i+1, t, q.Shared[t].Y)
			shared.Set(2*m+i, t, q.SharedDiameter[t])
		}
		joint.SymRankOne(joint, 1, shared.ColView(t))
	}
	return joint, shared
}

// datumJacobian returns the 3×2N derivatives of the origin's x and y and of
// the pitch circle's diameter (0 without one) by the holes' coordinates.
func (p *assembly) datumJacobian() (*mat.Dense, error) {
	if p.hasCircle {
		return pitchCircleJacobian(p.fitted, p.parts[:p.holes])
	}
	return centroidJacobian(p.holes), nil
}

// originJacobian returns the derivatives of the origin by the holes'
// coordinates in its first two rows.
func originJacobian(holes []part, circle bool) (*mat.Dense, error) {
	if !circle {
		return centroidJacobian(len(holes)), nil
	}
	c, err := pitchCircle(pitchCentres(holes))
	if err != nil {
		return nil, err
	}
	return pitchCircleJacobian(c, holes)
}

// centroidJacobian is that of the centroid of n holes in the place of the
// circle's centre; there is no diameter.
func centroidJacobian(n int) *mat.Dense {
	jac := mat.NewDense(3, 2*n, nil)
	for i := range n {
		jac.Set(0, 2*i, 1/float64(n))
		jac.Set(1, 2*i+1, 1/float64(n))
	}
	return jac
}
