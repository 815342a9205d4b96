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
	return r2.Norm(r2.Sub(p, c.Centre)) - c.Radius
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
		normal, rhs := normalEquations(c, points, weights)
		for i := range 3 {
			normal[i][i] *= 1 + damping
		}
		inverse, ok := invert3(normal)
		if !ok {
			return Fit{}, ErrDegenerate
		}
		step := apply3(inverse, rhs)
		next := Circle{r2.Vec{X: c.Centre.X + step[0], Y: c.Centre.Y + step[1]}, c.Radius + step[2]}
		nextCost := squares(next, points, weights)
		size := math.Abs(step[0]) + math.Abs(step[1]) + math.Abs(step[2])
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
	fit := Fit{Circle: start}
	w := make([]float64, len(points))
	d := make([]float64, 0, len(points))
	for range 30 {
		d = d[:0]
		for i, p := range points {
			if weights[i] > 0 {
				d = append(d, math.Abs(fit.Distance(p)))
			}
		}
		if len(d) < 3 {
			return Fit{}, ErrDegenerate
		}
		slices.Sort(d)
		scale := math.Max(1.4826*d[len(d)/2], floor)
		for i, p := range points {
			w[i] = weights[i] * tukey(fit.Distance(p)/scale)
		}
		// The weights change with the circle, so one step at a time is enough.
		next, err := descend(fit.Circle, points, w, 1)
		if err != nil {
			return Fit{}, err
		}
		moved := r2.Norm(r2.Sub(next.Centre, fit.Centre)) + math.Abs(next.Radius-fit.Radius)
		fit = next
		if moved < 1e-6*fit.Radius {
			break
		}
	}
	return fit, nil
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

// normalEquations returns JᵀWJ and JᵀW(distance) of the distances at c.
func normalEquations(c Circle, points []r2.Vec, weights []float64) (n [3][3]float64, rhs [3]float64) {
	for i, p := range points {
		if weights[i] == 0 {
			continue
		}
		v := r2.Sub(p, c.Centre)
		l := r2.Norm(v)
		if l == 0 {
			continue
		}
		row := [3]float64{v.X / l, v.Y / l, 1}
		d := l - c.Radius
		for a := range 3 {
			rhs[a] += weights[i] * row[a] * d
			for b := range 3 {
				n[a][b] += weights[i] * row[a] * row[b]
			}
		}
	}
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
