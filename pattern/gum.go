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

// radius95 is that of the circle about the truth which holds the measured point
// with 95 % probability: √χ²₂(0.95) standard uncertainties where these are alike
// in every direction (JCGM 102 clause 6.5.2), less where they are not. Of points
// in direction θ of the unit circle a share exp(−q²/2g²) lies outside of q, g being
// how far the unit circle's image reaches there; the mean over θ is that of all.
func (c cov2) radius95() float64 {
	a := c.largest()
	if a == 0 {
		return 0
	}
	least := math.Max(c.xx+c.yy-a*a, 0) / (a * a) // the variance of the best known direction, over a²
	outside := func(q float64) float64 {
		const n = 64 // the rule of equal steps converges exponentially for what is periodic
		sum := 0.0
		for k := range n {
			sin, cos := math.Sincos(math.Pi * (float64(k) + 0.5) / n)
			sum += math.Exp(-q * q / 2 / (cos*cos + least*sin*sin))
		}
		return sum / n
	}
	low, high := 1.9, coverage2 // between 1.96, of a line, and that of a circle
	for high-low > 1e-6 {
		if q := (low + high) / 2; outside(q) > 0.05 {
			low = q
		} else {
			high = q
		}
	}
	return a * high
}

// length returns the length of v and its expanded uncertainty.
//
// A length cannot be negative. Where v may well be zero its derivative by v
// has no direction, the linear law says too little, and the length is
// distributed as Rice's distribution, not a normal one (GUM F.2.4.4 treats
// such one-sided quantities). Within the circle which would hold a measured v of
// no length with 95 % probability the interval is that of the least known
// direction, and reaches down to zero. A little farther out it reaches down to
// the length δ whose 95 % quantile is what was measured: for small δ that
// quantile is (1 + δ²/4) times the circle's radius, δ in standard uncertainties.
func (c cov2) length(v r2.Vec) (l, u95 float64) {
	l = math.Hypot(v.X, v.Y)
	if near := c.radius95(); l <= 1.2*near {
		lowest := 0.0
		if l > near {
			lowest = 2 * c.largest() * math.Sqrt(l/near-1)
		}
		return l, math.Max(l-lowest, coverage*c.largest())
	}
	u := r2.Scale(1/l, v)
	return l, coverage * math.Sqrt(math.Max(u.X*u.X*c.xx+2*u.X*u.Y*c.xy+u.Y*u.Y*c.yy, 0))
}
