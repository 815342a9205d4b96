package pattern

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// propagate computes the joint covariance in the source's coordinates and
// carries it over to the reading's.
//
// With the fitted pitch circle's centre c and diameter D, a reading's point is
// x' = K/D · (x − c) and its diameter d' = K/D · d, where K is the known
// diameter, or D itself without one; c and D depend on all holes.
func (p *assembly) propagate() error {
	m := len(p.parts)
	own, joint := p.sourceCovariance()

	datum := mat.NewDense(3, 3*m, nil)
	jac, err := p.datumJacobian()
	if err != nil {
		return err
	}
	datum.Slice(0, 3, 0, 2*p.holes).(*mat.Dense).Copy(jac)
	fitted := 2 * p.fitted.Radius
	p.fittedU = math.Sqrt(math.Max(propagate(datum, joint).At(2, 2), 0))

	p.zoom = 1
	if p.knownPCD() {
		p.zoom = p.opts.KnownPCD / fitted
		noise := math.Sqrt(math.Max(propagate(datum, own).At(2, 2), 0))
		p.zoomU = math.Hypot(p.opts.KnownPCDU/p.opts.KnownPCD, noise/fitted)
	}

	// Each coordinate x follows the datum through its row of follow, so that
	// the derivatives are zoom · (I − follow · datum).
	follow := mat.NewDense(3*m, 3, nil)
	byKnown := mat.NewVecDense(3*m, nil)
	set := func(row int, byX, byY, value float64) {
		follow.Set(row, 0, byX)
		follow.Set(row, 1, byY)
		if p.knownPCD() {
			follow.Set(row, 2, value/fitted)
			byKnown.SetVec(row, value/fitted)
		}
	}
	for i, q := range p.parts {
		v := r2.Sub(q.Centre, p.origin)
		set(2*i, 1, 0, v.X)
		set(2*i+1, 0, 1, v.Y)
		set(2*m+i, 0, 0, q.Diameter)
		p.at = append(p.at, r2.Scale(p.zoom, v))
		p.d = append(p.d, p.zoom*q.Diameter)
	}
	p.cov = propagateLess(joint, follow, datum)
	p.cov.ScaleSym(p.zoom*p.zoom, p.cov)
	p.cov.SymRankOne(p.cov, p.opts.KnownPCDU*p.opts.KnownPCDU, byKnown)
	return nil
}

// sourceCovariance returns the covariance of x1, y1, x2, … and then of the
// diameters of all parts in the source's coordinates: from what each ring has
// of its own, and jointly with what all share.
func (p *assembly) sourceCovariance() (own, joint *mat.SymDense) {
	m := len(p.parts)
	own, joint = mat.NewSymDense(3*m, nil), mat.NewSymDense(3*m, nil)
	for i, q := range p.parts {
		own.SetSym(2*i, 2*i, q.CentreCov[0][0])
		own.SetSym(2*i, 2*i+1, q.CentreCov[0][1])
		own.SetSym(2*i+1, 2*i+1, q.CentreCov[1][1])
		own.SetSym(2*m+i, 2*m+i, q.DiameterU*q.DiameterU)
	}
	joint.CopySym(own)
	for t := range p.parts[0].Shared {
		move := mat.NewVecDense(3*m, nil)
		for i, q := range p.parts {
			move.SetVec(2*i, q.Shared[t].X)
			move.SetVec(2*i+1, q.Shared[t].Y)
			move.SetVec(2*m+i, q.SharedDiameter[t])
		}
		joint.SymRankOne(joint, 1, move)
	}
	return own, joint
}

// datumJacobian returns the 3×2N derivatives of the origin's x and y and of
// the pitch circle's diameter (0 without one) by the holes' coordinates.
func (p *assembly) datumJacobian() (*mat.Dense, error) {
	if p.hasCircle {
		return pitchCircleJacobian(p.fitted, p.parts[:p.holes])
	}
	jac := mat.NewDense(3, 2*p.holes, nil)
	for i := range p.holes {
		jac.Set(0, 2*i, 1/float64(p.holes))
		jac.Set(1, 2*i+1, 1/float64(p.holes))
	}
	return jac, nil
}
