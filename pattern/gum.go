package pattern

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// The law of propagation of uncertainty. GUM is JCGM 100:2008, with clause
// numbers of its own; results of several quantities follow JCGM 102:2011.

// coverage is the k of an expanded uncertainty (GUM 6.2.1, 6.3.3), and
// coverage2 that of a circle which holds a point of the plane with 95 %
// probability, √χ²₂(0.95) (JCGM 102 clause 6.5.2).
const (
	coverage  = 2
	coverage2 = 2.4477
)

// propagate returns J Σ Jᵀ, the covariance of the results of which J holds the
// partial derivatives, one row each (GUM 5.2.2, JCGM 102 clause 6.2.1).
func propagate(j mat.Matrix, sigma mat.Symmetric) *mat.SymDense {
	var half, full mat.Dense
	half.Mul(j, sigma)
	full.Mul(&half, j.T())
	n, _ := full.Dims()
	out := mat.NewSymDense(n, nil)
	for a := range n {
		for b := a; b < n; b++ {
			out.SetSym(a, b, (full.At(a, b)+full.At(b, a))/2)
		}
	}
	return out
}

// propagateLess returns (I − F T) Σ (I − F T)ᵀ for a tall F and a wide T of few
// columns and rows, multiplied out as Σ − F(TΣ) − (F(TΣ))ᵀ + F(TΣTᵀ)Fᵀ: the
// work grows with the square of the size of Σ and not with its cube.
func propagateLess(sigma mat.Symmetric, f, t mat.Matrix) *mat.SymDense {
	var byDatum, cross, datum, back mat.Dense
	byDatum.Mul(t, sigma)
	cross.Mul(f, &byDatum)
	datum.Mul(&byDatum, t.T())
	back.Product(f, &datum, f.T())
	n := sigma.SymmetricDim()
	out := mat.NewSymDense(n, nil)
	for a := range n {
		for b := a; b < n; b++ {
			out.SetSym(a, b, sigma.At(a, b)-cross.At(a, b)-cross.At(b, a)+(back.At(a, b)+back.At(b, a))/2)
		}
	}
	return out
}

// partial is the derivative of one result by the input at an index.
type partial struct {
	at int
	d  float64
}

// covariance returns that of two results which depend on few of the inputs
// (GUM equation 13; JCGM 102 clause 6.2.1).
func covariance(sigma mat.Symmetric, a, b []partial) float64 {
	sum := 0.0
	for _, p := range a {
		for _, q := range b {
			sum += p.d * q.d * sigma.At(p.at, q.at)
		}
	}
	return sum
}

// uncertainty returns the standard uncertainty of one such result.
func uncertainty(sigma mat.Symmetric, gradient ...partial) float64 {
	return math.Sqrt(math.Max(covariance(sigma, gradient, gradient), 0))
}

// cov2 is the covariance of a vector of the plane.
type cov2 struct{ xx, xy, yy float64 }

// largest returns the standard uncertainty in the least known direction.
func (c cov2) largest() float64 {
	mean, half := (c.xx+c.yy)/2, (c.xx-c.yy)/2
	return math.Sqrt(math.Max(mean+math.Hypot(half, c.xy), 0))
}

// length returns the length of v and its expanded uncertainty.
//
// A length cannot be negative. Where v may well be zero its derivative by v
// has no direction, the linear law says too little, and the length is
// distributed as Rice's distribution, not a normal one (GUM F.2.4.4 treats
// such one-sided quantities). There the radius of the circle that holds v with
// 95 % probability, in its least known direction, is the uncertainty: the
// interval then holds zero.
func (c cov2) length(v r2.Vec) (l, u95 float64) {
	l = math.Hypot(v.X, v.Y)
	if near := coverage2 * c.largest(); l <= near {
		return l, near
	}
	u := r2.Scale(1/l, v)
	return l, coverage * math.Sqrt(math.Max(u.X*u.X*c.xx+2*u.X*u.Y*c.xy+u.Y*u.Y*c.yy, 0))
}
