package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// KnownLengths names the error of a scale that only known lengths give.
const KnownLengths = "known lengths"

// Adjusted returns the plane after lengths on the face became known: all
// places are zoom·(1 + e) times what they were, with the plane's own errors
// at errors, in units of Shared, and e the last of errors; cov is their
// covariance now. It takes from the plane what Shared gives to others.
func (p *Plane) Adjusted(method string, zoom float64, errors []float64, cov mat.Symmetric) (*Plane, error) {
	k := len(p.Params)
	if len(errors) != k+1 || cov.SymmetricDim() != k+1 {
		return nil, fmt.Errorf("scale by %s: %d errors for a plane of %d", method, len(errors), k)
	}
	if !(zoom > 0) || math.IsInf(zoom, 0) {
		return nil, fmt.Errorf("scale by %s: a scale %g times as large is none", method, zoom)
	}
	// What the errors in units of Shared are in those of the parameters.
	by := mat.NewDense(k+1, k+1, nil)
	for i := range k {
		for j := range i + 1 {
			by.Set(i, j, p.factor.At(i, j))
		}
	}
	by.Set(k, k, 1)
	var moved mat.VecDense
	moved.MulVec(by, mat.NewVecDense(k+1, append([]float64(nil), errors...)))
	params := append(append([]float64(nil), p.Params...), 0)
	for i := range params {
		params[i] += moved.AtVec(i)
	}
	var half, full mat.Dense
	half.Mul(by, cov)
	full.Mul(&half, by.T())
	c := mat.NewSymDense(k+1, nil)
	for i := range k + 1 {
		for j := i; j < k+1; j++ {
			c.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	model := p.model
	out, err := newPlane(method, append(append([]string(nil), p.Names...), KnownLengths), params, c, func(e []float64, px r2.Vec) r2.Vec {
		return r2.Scale(zoom*(1+e[k]), model(e[:k], px))
	})
	if err != nil {
		return nil, err
	}
	out.mirror = p.mirror
	if p.eye != nil {
		out.eye = &[3]float64{zoom * p.eye[0], zoom * p.eye[1], zoom * p.eye[2]}
	}
	return out, nil
}
