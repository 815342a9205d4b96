package circle

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Algebraic returns the hyperaccurate algebraic circle ("Hyper") of points,
// weighted by weights (nil: all equal): no essential bias even on a short
// arc, and no iteration on the points. It is where the geometric fit starts.
//
// Method: Al-Sharadqah and Chernov (2009), section 7; the root of the
// characteristic polynomial is found by Newton steps from zero.
func Algebraic(points []r2.Vec, weights []float64) (Circle, error) {
	if weights == nil {
		weights = ones(len(points))
	}
	if len(weights) != len(points) {
		return Circle{}, ErrDegenerate
	}
	total := 0.0
	var mean r2.Vec
	for i, p := range points {
		total += weights[i]
		mean = r2.Add(mean, r2.Scale(weights[i], p))
	}
	if !(total > 0) || len(points) < 3 {
		return Circle{}, ErrDegenerate
	}
	mean = r2.Scale(1/total, mean)

	// Points are scaled to unit spread so that the tests for degeneracy do
	// not depend on the unit.
	spread := 0.0
	for i, p := range points {
		spread += weights[i] * r2.Norm2(r2.Sub(p, mean))
	}
	spread = math.Sqrt(spread / total)
	if !(spread > 0) || math.IsInf(spread, 0) {
		return Circle{}, ErrDegenerate
	}
	var mxx, myy, mxy, mxz, myz, mzz float64
	for i, p := range points {
		v := r2.Scale(1/spread, r2.Sub(p, mean))
		z := r2.Norm2(v)
		w := weights[i] / total
		mxx += w * v.X * v.X
		myy += w * v.Y * v.Y
		mxy += w * v.X * v.Y
		mxz += w * v.X * z
		myz += w * v.Y * z
		mzz += w * z * z
	}
	mz := mxx + myy
	cov := mxx*myy - mxy*mxy
	if cov < 1e-12*mz*mz { // all on one line
		return Circle{}, ErrDegenerate
	}
	varZ := mzz - mz*mz
	a2 := 4*cov - 3*mz*mz - mzz
	a1 := varZ*mz + 4*cov*mz - mxz*mxz - myz*myz
	a0 := mxz*(mxz*myy-myz*mxy) + myz*(myz*mxx-mxz*mxy) - varZ*cov
	x, y := 0.0, a0
	for range 100 {
		slope := a1 + x*(2*a2+16*x*x)
		next := x - y/slope
		if next == x || math.IsNaN(next) || math.IsInf(next, 0) {
			break
		}
		nextY := a0 + next*(a1+next*(a2+4*next*next))
		if math.Abs(nextY) >= math.Abs(y) {
			break
		}
		x, y = next, nextY
	}
	det := x*x - x*mz + cov
	cx := (mxz*(myy-x) - myz*mxy) / det / 2
	cy := (myz*(mxx-x) - mxz*mxy) / det / 2
	r := math.Sqrt(math.Max(cx*cx+cy*cy+mz-2*x, 0))
	if math.IsNaN(r) || math.IsInf(r, 0) || r == 0 {
		return Circle{}, ErrDegenerate
	}
	return Circle{
		Centre: r2.Add(mean, r2.Scale(spread, r2.Vec{X: cx, Y: cy})),
		Radius: r * spread,
	}, nil
}
