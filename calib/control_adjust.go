package calib

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// adjustment is a least-squares problem: find the parameters that make the
// residuals small. Every residual is divided by its standard uncertainty.
type adjustment struct {
	// residuals fills out with the residuals at the parameters, and says
	// whether there are any there.
	residuals func(params, out []float64) bool
	count     int       // of residuals
	step      []float64 // for the derivative by each parameter; 0 holds it still

	// What is known of the parameters beforehand: they are at prior with the
	// precision (inverse covariance), which may be nil.
	prior     []float64
	precision *mat.SymDense

	steps int // at most; 0: as many as it needs
}

var errNoSolution = errors.New("the adjustment does not settle")

// solution is what an adjustment ends at.
type solution struct {
	params []float64
	r      []float64  // residuals
	jac    *mat.Dense // count × parameters
	cost   float64    // Σ r²
}

// solve takes damped Gauss–Newton steps (Levenberg–Marquardt with Marquardt's
// scaling: D. W. Marquardt, J. SIAM 11 (1963) 431–441) from start.
func (a adjustment) solve(start []float64) (solution, error) {
	n := len(start)
	s := solution{params: append([]float64(nil), start...), r: make([]float64, a.count)}
	if !a.residuals(s.params, s.r) {
		return s, errNoSolution
	}
	cost := a.total(s.params, s.r)
	damping := 1e-4
	trial, rTrial := make([]float64, n), make([]float64, a.count)
	steps := a.steps
	if steps == 0 {
		steps = 200
	}
	for range steps {
		if s.jac = a.jacobian(s.params); s.jac == nil {
			return s, errNoSolution
		}
		normal, rhs := a.normal(s)
		improved, small := false, false
		for damping < 1e12 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(normal)
			for i := range n {
				damped.SetSym(i, i, normal.At(i, i)*(1+damping))
			}
			var chol mat.Cholesky
			var by mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&by, rhs) != nil {
				damping = math.Max(10*damping, 1e-6)
				continue
			}
			small = true
			for i := range n {
				trial[i] = s.params[i] + by.AtVec(i)
				if math.Abs(by.AtVec(i)) > 1e-4*a.step[i] {
					small = false
				}
			}
			if a.residuals(trial, rTrial) {
				if c := a.total(trial, rTrial); c <= cost {
					if cost-c < 1e-14*cost {
						small = true
					}
					copy(s.params, trial)
					copy(s.r, rTrial)
					cost, improved = c, true
					damping = math.Max(damping/10, 1e-15)
					break
				}
			}
			if small {
				break
			}
			damping = math.Max(10*damping, 1e-6)
		}
		if small || !improved {
			break
		}
	}
	if s.jac = a.jacobian(s.params); s.jac == nil || math.IsNaN(cost) || math.IsInf(cost, 0) {
		return s, errNoSolution
	}
	for _, r := range s.r {
		s.cost += r * r
	}
	return s, nil
}

// total is what is made small: the residuals' squares and how far the
// parameters are from what was known.
func (a adjustment) total(params, r []float64) float64 {
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	if a.precision != nil {
		d := a.off(params)
		sum += mat.Inner(d, a.precision, d)
	}
	return sum
}

func (a adjustment) off(params []float64) *mat.VecDense {
	d := mat.NewVecDense(len(params), nil)
	for i := range params {
		d.SetVec(i, params[i]-a.prior[i])
	}
	return d
}

// normal returns JᵀJ + P and −Jᵀr − P(params − prior).
func (a adjustment) normal(s solution) (*mat.SymDense, *mat.VecDense) {
	n := len(s.params)
	m := mat.NewSymDense(n, nil)
	m.SymOuterK(1, s.jac.T())
	rhs := mat.NewVecDense(n, nil)
	rhs.MulVec(s.jac.T(), mat.NewVecDense(len(s.r), s.r))
	rhs.ScaleVec(-1, rhs)
	if a.precision != nil {
		m.AddSym(m, a.precision)
		var p mat.VecDense
		p.MulVec(a.precision, a.off(s.params))
		rhs.SubVec(rhs, &p)
	}
	for i, h := range a.step {
		if h == 0 { // held still
			m.SetSym(i, i, 1)
			rhs.SetVec(i, 0)
		}
	}
	return m, rhs
}

// jacobian is taken by central differences; nil where there is none.
func (a adjustment) jacobian(params []float64) *mat.Dense {
	jac := mat.NewDense(a.count, len(params), nil)
	p := append([]float64(nil), params...)
	hi, lo := make([]float64, a.count), make([]float64, a.count)
	for i, h := range a.step {
		if h == 0 {
			continue
		}
		p[i] = params[i] + h
		ok := a.residuals(p, hi)
		p[i] = params[i] - h
		ok = ok && a.residuals(p, lo)
		p[i] = params[i]
		if !ok {
			return nil
		}
		for k := range hi {
			jac.Set(k, i, (hi[k]-lo[k])/(2*h))
		}
	}
	return jac
}

// cov returns the parameters' covariance where the residuals' variances are
// factor times what was supposed: (JᵀJ/factor + P)⁻¹, with zero for those
// held still. It fails where the residuals leave a parameter open.
func (a adjustment) cov(s solution, factor float64) (*mat.SymDense, error) {
	n := len(s.params)
	m := mat.NewSymDense(n, nil)
	m.SymOuterK(1/factor, s.jac.T())
	if a.precision != nil {
		m.AddSym(m, a.precision)
	}
	// Scaled to a unit diagonal, so that units do not decide on rank.
	d := make([]float64, n)
	for i, h := range a.step {
		if h == 0 {
			m.SetSym(i, i, 1)
		}
		if !(m.At(i, i) > 0) {
			return nil, errNoSolution
		}
		d[i] = math.Sqrt(m.At(i, i))
	}
	for i := range n {
		for j := i; j < n; j++ {
			m.SetSym(i, j, m.At(i, j)/(d[i]*d[j]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(m) || chol.Cond() > 1e13 {
		return nil, errNoSolution
	}
	out := mat.NewSymDense(n, nil)
	if err := chol.InverseTo(out); err != nil {
		return nil, errNoSolution
	}
	for i := range n {
		for j := i; j < n; j++ {
			v := out.At(i, j) / (d[i] * d[j])
			if a.step[i] == 0 || a.step[j] == 0 {
				v = 0
			}
			out.SetSym(i, j, v)
		}
	}
	return out, nil
}
