package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// What a layout (even spaces, a line, a grid …) predicts of a set of holes is
// linear in a few parameters: where it lies, how large and how it is turned.
// It is fitted by generalised least squares with the joint covariance of the
// holes' coordinates, and the weighted sum of squares that is left follows a
// χ² distribution with as many degrees of freedom as there are coordinates
// more than parameters (JCGM 102:2011; any text on least squares).
//
// A reading's covariance is singular, because its origin follows from the
// holes. Every layout has its place as a parameter, so that what is left is
// measured across all moves of the whole and does not feel the origin. The
// allowance for drilling, which is never zero, makes the matrix regular
// without adding anything there that the parameters do not take out again.

// leastDrilledU (mm) is the least standard uncertainty of a hole's place: no
// drill and no reading is better than a micrometre.
const leastDrilledU = 1e-3

// whitened is a set of points made independent and of unit variance.
type whitened struct {
	at    []r2.Vec
	sigma *mat.SymDense // of x1, y1, x2, … with the allowance for drilling
	lower mat.TriDense  // sigma = L Lᵀ
	y     *mat.VecDense // L⁻¹ x
}

// whiten takes points, their joint covariance and the standard uncertainty
// of a drilled hole's x and y. ok is false where the matrix is no covariance.
func whiten(at []r2.Vec, measured mat.Symmetric, drilledU float64) (*whitened, bool) {
	n := 2 * len(at)
	drilledU = math.Max(drilledU, leastDrilledU)
	w := &whitened{at: at, sigma: mat.NewSymDense(n, nil)}
	w.sigma.CopySym(measured)
	for i := range n {
		w.sigma.SetSym(i, i, w.sigma.At(i, i)+drilledU*drilledU)
	}
	var chol mat.Cholesky
	if !chol.Factorize(w.sigma) {
		return nil, false
	}
	chol.LTo(&w.lower)
	w.y = mat.NewVecDense(n, nil)
	return w, w.y.SolveVec(&w.lower, vectorOf(at)) == nil
}

func vectorOf(at []r2.Vec) *mat.VecDense {
	v := mat.NewVecDense(2*len(at), nil)
	for i, p := range at {
		v.SetVec(2*i, p.X)
		v.SetVec(2*i+1, p.Y)
	}
	return v
}

// fitted is how well a layout explains the points.
type fittedLayout struct {
	chi2   float64
	dof    int
	p      float64 // probability of a larger χ²; 1 where nothing is left to test
	params []float64
	cov    *mat.SymDense // of the parameters
	off    []r2.Vec      // each point from the place the layout gives it
}

// fit explains the points by the columns of a, 2N × parameters.
func (w *whitened) fit(a *mat.Dense) (fittedLayout, bool) {
	n, k := a.Dims()
	if n < k {
		return fittedLayout{}, false
	}
	var x mat.Dense
	if x.Solve(&w.lower, a) != nil {
		return fittedLayout{}, false
	}
	var qr mat.QR
	qr.Factorize(&x)
	theta := mat.NewVecDense(k, nil)
	if qr.SolveVecTo(theta, false, w.y) != nil {
		return fittedLayout{}, false
	}
	var left, place mat.VecDense
	left.MulVec(&x, theta)
	left.SubVec(w.y, &left)
	place.MulVec(a, theta)
	f := fittedLayout{chi2: mat.Dot(&left, &left), dof: n - k, p: 1, params: slices.Clone(theta.RawVector().Data)}
	for i, p := range w.at {
		f.off = append(f.off, r2.Sub(p, r2.Vec{X: place.AtVec(2 * i), Y: place.AtVec(2*i + 1)}))
	}
	var normal mat.SymDense
	normal.SymOuterK(1, x.T())
	var chol mat.Cholesky
	f.cov = mat.NewSymDense(k, nil)
	if !chol.Factorize(&normal) || chol.InverseTo(f.cov) != nil {
		return fittedLayout{}, false
	}
	if f.dof > 0 {
		f.p = distuv.ChiSquared{K: float64(f.dof)}.Survival(f.chi2)
	}
	return f, true
}

// ringColumns are those of holes at given directions (rad) on one or more
// rings about one centre, each ring with a size and a turn of its own:
// x = cx + a·cos − b·sin, y = cy + a·sin + b·cos.
func ringColumns(directions []float64, ring []int, rings int) *mat.Dense {
	a := mat.NewDense(2*len(directions), 2+2*rings, nil)
	for i, phi := range directions {
		sin, cos := math.Sincos(phi)
		k := 2 + 2*ring[i]
		a.Set(2*i, 0, 1)
		a.Set(2*i+1, 1, 1)
		a.Set(2*i, k, cos)
		a.Set(2*i, k+1, -sin)
		a.Set(2*i+1, k, sin)
		a.Set(2*i+1, k+1, cos)
	}
	return a
}

// withColumns appends columns to a.
func withColumns(a *mat.Dense, more ...[]float64) *mat.Dense {
	n, k := a.Dims()
	out := mat.NewDense(n, k+len(more), nil)
	out.Slice(0, n, 0, k).(*mat.Dense).Copy(a)
	for j, c := range more {
		out.SetCol(k+j, c)
	}
	return out
}

// leastSquares are the residuals of the points from the columns of a when all
// count the same, and the 2×2N derivatives of one point's residual by all
// coordinates.
func leastSquares(at []r2.Vec, a *mat.Dense) (off []r2.Vec, by func(i int) *mat.Dense) {
	n, k := a.Dims()
	var qr mat.QR
	qr.Factorize(a)
	var full mat.Dense
	qr.QTo(&full)
	q := full.Slice(0, n, 0, k)
	x := vectorOf(at)
	var along, place mat.VecDense
	along.MulVec(q.T(), x)
	place.MulVec(q, &along)
	for i, p := range at {
		off = append(off, r2.Sub(p, r2.Vec{X: place.AtVec(2 * i), Y: place.AtVec(2*i + 1)}))
	}
	return off, func(i int) *mat.Dense {
		rows := mat.NewDense(2, n, nil)
		rows.Mul(full.Slice(2*i, 2*i+2, 0, k), q.T())
		rows.Scale(-1, rows)
		rows.Set(0, 2*i, rows.At(0, 2*i)+1)
		rows.Set(1, 2*i+1, rows.At(1, 2*i+1)+1)
		return rows
	}
}

// noncentrality is the λ of a non-central χ² with dof degrees of freedom that
// exceeds the central one's (1−alpha) quantile with the given power, by
// Sankaran's normal approximation (Biometrika 46 (1959) 235–237).
func noncentrality(dof int, alpha, power float64) float64 {
	limit := distuv.ChiSquared{K: float64(dof)}.Quantile(1 - alpha)
	exceeds := func(lambda float64) float64 {
		k := float64(dof)
		h := 1 - 2.0/3*(k+lambda)*(k+3*lambda)/((k+2*lambda)*(k+2*lambda))
		p := (k + 2*lambda) / ((k + lambda) * (k + lambda))
		m := (h - 1) * (1 - 3*h)
		z := (math.Pow(limit/(k+lambda), h) - (1 + h*p*(h-1-0.5*(2-h)*m*p))) / (h * math.Sqrt(2*p) * (1 + 0.5*m*p))
		return distuv.UnitNormal.Survival(z)
	}
	low, high := 0.0, 1.0
	for exceeds(high) < power {
		high *= 2
	}
	for range 60 {
		if middle := (low + high) / 2; exceeds(middle) < power {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}
