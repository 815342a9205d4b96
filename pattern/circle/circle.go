// Package circle fits one circle to points of the plane. It knows neither
// pixels nor millimetres: centre, radius and scatter come back in whatever
// unit the points have.
//
// The geometric fit minimises Σ wᵢ (|pᵢ − c| − r)², the squared distances
// from the points to the circle, by Gauss–Newton steps that start from the
// hyperaccurate algebraic fit. Method and covariance: A. Al-Sharadqah and
// N. Chernov, "Error analysis for circle fitting algorithms", Electronic
// Journal of Statistics 3 (2009) 886–911; W. Gander, G. Golub and R. Strebel,
// "Least-squares fitting of circles and ellipses", BIT 34 (1994) 558–578.
package circle

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// ErrDegenerate says that the points do not determine a circle: fewer than
// three different ones, all on a line, or not finite.
var ErrDegenerate = errors.New("the points do not determine a circle")

// Circle is a circle of the plane.
type Circle struct {
	Centre r2.Vec
	Radius float64
}

// Distance returns the signed distance from p to the circle, positive outside.
func (c Circle) Distance(p r2.Vec) float64 {
	return norm(r2.Sub(p, c.Centre)) - c.Radius
}

// At returns the point of the circle at the angle theta, in radians from the
// x axis towards the y axis.
func (c Circle) At(theta float64) r2.Vec {
	return r2.Vec{X: c.Centre.X + c.Radius*math.Cos(theta), Y: c.Centre.Y + c.Radius*math.Sin(theta)}
}

// Fit is a fitted circle and how well the points determine it.
type Fit struct {
	Circle

	// Cofactor is (JᵀWJ)⁻¹ of centre x, centre y, radius at the solution.
	// Multiplied by the variance of a point of unit weight it is their
	// covariance.
	Cofactor [3][3]float64

	// Weights are the final weights of the points: as given to
	// LeastSquares, or those times the robust weight in [0, 1] of Robust.
	Weights []float64

	// RMS is the weighted root mean square of the distances, with the three
	// fitted parameters taken off the count; 0 for an exact fit.
	RMS float64
}

// Cov returns the covariance of centre x, centre y and radius when a point of
// unit weight has the standard deviation sigma.
func (f Fit) Cov(sigma float64) *mat.SymDense {
	c := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			c.SetSym(i, j, f.Cofactor[i][j]*sigma*sigma)
		}
	}
	return c
}

const maxSteps = 100

// LeastSquares returns the geometric least-squares circle of points, each
// weighted by weights (nil: all equal). Weights must not be negative.
func LeastSquares(points []r2.Vec, weights []float64) (Fit, error) {
	if weights == nil {
		weights = ones(len(points))
	}
	c, err := Algebraic(points, weights)
	if err != nil {
		return Fit{}, err
	}
	return descend(c, points, weights, maxSteps)
}

// descend takes at most steps damped Gauss–Newton (Levenberg–Marquardt) steps
// from start.
func descend(start Circle, points []r2.Vec, weights []float64, steps int) (Fit, error) {
	c := start
	cost := squares(c, points, weights)
	damping := 1e-6
	for range steps {
		next, size, ok := step(c, points, weights, damping)
		if !ok {
			return Fit{}, ErrDegenerate
		}
		nextCost := squares(next, points, weights)
		if !(nextCost <= cost) {
			if size < 1e-12*math.Abs(c.Radius) || damping > 1e12 {
				break
			}
			damping = math.Max(damping*10, 1e-3)
			continue
		}
		c, cost = next, nextCost
		damping /= 10
		if size < 1e-9*math.Abs(c.Radius) {
			break
		}
	}
	return result(c, cost, points, weights)
}

// step takes one Gauss–Newton step from c and says how long it was.
func step(c Circle, points []r2.Vec, weights []float64, damping float64) (next Circle, size float64, ok bool) {
	normal, rhs := normalEquations(c, points, weights)
	for i := range 3 {
		normal[i][i] *= 1 + damping
	}
	inverse, ok := invert3(normal)
	if !ok {
		return c, 0, false
	}
	d := apply3(inverse, rhs)
	next = Circle{r2.Vec{X: c.Centre.X + d[0], Y: c.Centre.Y + d[1]}, c.Radius + d[2]}
	return next, math.Abs(d[0]) + math.Abs(d[1]) + math.Abs(d[2]), true
}

// result returns the fit that ended at c, where the sum of squares is cost.
func result(c Circle, cost float64, points []r2.Vec, weights []float64) (Fit, error) {
	normal, _ := normalEquations(c, points, weights)
	inverse, ok := invert3(normal)
	if !ok || math.IsNaN(cost) || math.IsInf(cost, 0) || c.Radius <= 0 {
		return Fit{}, ErrDegenerate
	}
	used := 0
	total := 0.0
	for _, w := range weights {
		if w > 0 {
			used++
			total += w
		}
	}
	rms := 0.0
	if used > 3 {
		rms = math.Sqrt(cost / total * float64(used) / float64(used-3))
	}
	return Fit{Circle: c, Cofactor: inverse, Weights: slices.Clone(weights), RMS: rms}, nil
}

// Robust returns the circle that most points agree on: the geometric fit
// reweighted by Tukey's biweight of each point's distance over a scale taken
// from the median distance, so that a stretch of rim that is not rim (a
// scratch, another ring) does not pull the centre. start is where to begin,
// and floor is the smallest scale, in the unit of the points, that is
// believed (a few points on a perfect circle must not throw out all others).
func Robust(start Circle, points []r2.Vec, weights []float64, floor float64) (Fit, error) {
	if weights == nil {
		weights = ones(len(points))
	}
	c := start
	w := make([]float64, len(points))
	d := make([]float64, len(points))
	used := make([]float64, 0, len(points))
	cost := 0.0
	for range 30 {
		used = used[:0]
		for i, p := range points {
			d[i] = math.Abs(c.Distance(p))
			if weights[i] > 0 {
				used = append(used, d[i])
			}
		}
		if len(used) < 3 {
			return Fit{}, ErrDegenerate
		}
		scale := math.Max(1.4826*Median(used), floor)
		cost = 0
		for i := range points {
			w[i] = weights[i] * tukey(d[i]/scale)
			cost += w[i] * d[i] * d[i]
		}
		// The weights change with the circle, so one step at a time is enough.
		next, size, ok := step(c, points, w, 1e-6)
		if !ok {
			return Fit{}, ErrDegenerate
		}
		nextCost := squares(next, points, w)
		if !(nextCost <= cost) {
			break
		}
		c, cost = next, nextCost
		if size < 1e-6*c.Radius {
			break
		}
	}
	return result(c, cost, points, w)
}

// tukey is the biweight with the usual tuning constant for 95 % efficiency on
// normal errors.
func tukey(u float64) float64 {
	const c = 4.685
	if math.Abs(u) >= c {
		return 0
	}
	t := 1 - u*u/(c*c)
	return t * t
}

func ones(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return w
}

func squares(c Circle, points []r2.Vec, weights []float64) float64 {
	sum := 0.0
	for i, p := range points {
		d := c.Distance(p)
		sum += weights[i] * d * d
	}
	return sum
}

// norm is r2.Norm for lengths whose squares are within range, at a third of
// its cost.
func norm(v r2.Vec) float64 { return math.Sqrt(v.X*v.X + v.Y*v.Y) }

// normalEquations returns JᵀWJ and JᵀW(distance) of the distances at c.
func normalEquations(c Circle, points []r2.Vec, weights []float64) (n [3][3]float64, rhs [3]float64) {
	for i, p := range points {
		w := weights[i]
		v := r2.Sub(p, c.Centre)
		l := norm(v)
		if w == 0 || l == 0 {
			continue
		}
		x, y, d := v.X/l, v.Y/l, l-c.Radius
		n[0][0] += w * x * x
		n[0][1] += w * x * y
		n[0][2] += w * x
		n[1][1] += w * y * y
		n[1][2] += w * y
		n[2][2] += w
		rhs[0] += w * x * d
		rhs[1] += w * y * d
		rhs[2] += w * d
	}
	n[1][0], n[2][0], n[2][1] = n[0][1], n[0][2], n[1][2]
	return n, rhs
}

func apply3(m [3][3]float64, v [3]float64) (out [3]float64) {
	for i := range 3 {
		for j := range 3 {
			out[i] += m[i][j] * v[j]
		}
	}
	return out
}

// invert3 inverts a symmetric 3×3 matrix by cofactors; ok is false when it is
// singular to working precision.
func invert3(m [3][3]float64) (inv [3][3]float64, ok bool) {
	minor := func(i, j int) float64 {
		a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][c]*m[b][d] - m[a][d]*m[b][c]
	}
	det := m[0][0]*minor(0, 0) + m[0][1]*minor(0, 1) + m[0][2]*minor(0, 2)
	if !(math.Abs(det) > 1e-14*math.Abs(m[0][0]*m[1][1]*m[2][2])) || math.IsInf(det, 0) {
		return inv, false
	}
	for i := range 3 {
		for j := i; j < 3; j++ {
			inv[i][j] = minor(i, j) / det
			inv[j][i] = inv[i][j]
		}
	}
	return inv, true
}
