package pattern

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// The errors that all points of a scan share, as a scanner makes them: of the
// scale, of what its axes differ by, and of the angle between them. With the
// errors e they move the point v, in the page's axes, by
// (e₀ + e₁/2)·x + e₂·y and (e₀ − e₁/2)·y. A page mirrored on reading has the
// last of them the other way round.
const sharedTerms = 3

func sharedMoves(v r2.Vec, mirrored bool) [sharedTerms]r2.Vec {
	shear := r2.Vec{X: v.Y}
	if mirrored {
		shear.X = -v.Y
	}
	return [sharedTerms]r2.Vec{v, {X: v.X / 2, Y: -v.Y / 2}, shear}
}

// knownSize says whether a reading's size comes from known lengths instead of
// from its source's own scale.
func (r *Reading) knownSize() bool { return strings.HasPrefix(r.Scale.Method, "known") }

// sizeVariance is the relative variance of all lengths of a reading together.
func (r *Reading) sizeVariance() float64 {
	n := 2 * len(r.Holes)
	at := make([]float64, 0, n)
	sum := 0.0
	for _, h := range r.Holes {
		at = append(at, h.X, h.Y)
		sum += h.X*h.X + h.Y*h.Y
	}
	if sum == 0 {
		return 0
	}
	v := 0.0
	for i := range n {
		for j := range n {
			v += at[i] * at[j] * r.CovarianceMM2[i*n+j]
		}
	}
	return math.Max(0, v) / (sum * sum)
}

// sharedOf are the variances of what a reading shares with others. Known
// lengths leave nothing of the scale that tells it from the holes' own errors;
// but the size then is the known length's, wholly, and the same length given
// for two rubbings is one measurement.
func sharedOf(r *Reading) [sharedTerms]float64 {
	v := sharedVariances(r)
	if r.knownSize() {
		v[0] = r.sizeVariance()
	}
	return v
}

// sharedVariances finds what part of a reading's covariance the errors shared
// by all its points make up: the three variances that best explain how the
// vector between two holes varies with that between two others.
//
// Holes' own errors and the origin, which follows all of them, have no part in
// the covariance of two vectors between four different holes, so that for a
// scan the equations hold exactly and least squares solves them.
func sharedVariances(r *Reading) [sharedTerms]float64 {
	if r.Source.Kind == ByHand {
		return [sharedTerms]float64{} // calipers err anew each time
	}
	n := min(len(r.Holes), 24) // these tell enough
	at := func(i int) r2.Vec { return r2.Vec{X: r.Holes[i].X, Y: r.Holes[i].Y} }
	size := 2 * len(r.Holes)
	cov := func(i, j int) float64 { return r.CovarianceMM2[i*size+j] }
	if n < 4 {
		u := r.Scale.URel
		return [sharedTerms]float64{u * u / 2, 2 * u * u, 0}
	}
	var normal [sharedTerms][sharedTerms]float64
	var right [sharedTerms]float64
	for i := range n {
		for gap := 1; gap < n; gap++ {
			j := (i + gap) % n
			for k := i + 1; k < n; k++ {
				l := (k + gap) % n
				if k == j || l == i || l == j || j < i && l < k {
					continue
				}
				p := sharedMoves(r2.Sub(at(j), at(i)), r.View == FromBehind)
				q := sharedMoves(r2.Sub(at(l), at(k)), r.View == FromBehind)
				for a := range 2 {
					for b := range 2 {
						got := cov(2*j+a, 2*l+b) - cov(2*j+a, 2*k+b) - cov(2*i+a, 2*l+b) + cov(2*i+a, 2*k+b)
						var row [sharedTerms]float64
						for t := range row {
							row[t] = axis(p[t], a) * axis(q[t], b)
						}
						for s := range row {
							right[s] += row[s] * got
							for t := range row {
								normal[s][t] += row[s] * row[t]
							}
						}
					}
				}
			}
		}
	}
	return positive(normal, right)
}

func axis(v r2.Vec, a int) float64 {
	if a == 0 {
		return v.X
	}
	return v.Y
}

// positive solves the normal equations, leaving out (as zero) what would be a
// negative variance or cannot be told.
func positive(normal [sharedTerms][sharedTerms]float64, right [sharedTerms]float64) [sharedTerms]float64 {
	free := []int{0, 1, 2}
	for len(free) > 0 {
		a, b := mat.NewDense(len(free), len(free), nil), mat.NewVecDense(len(free), nil)
		for i, s := range free {
			b.SetVec(i, right[s])
			for j, t := range free {
				a.Set(i, j, normal[s][t])
			}
		}
		var x mat.VecDense
		solved := x.SolveVec(a, b) == nil
		worst, at := 0.0, -1
		for i := range free {
			if !solved {
				at = len(free) - 1
			} else if v := x.AtVec(i); v < worst {
				worst, at = v, i
			}
		}
		if at < 0 {
			var out [sharedTerms]float64
			for i, s := range free {
				out[s] = x.AtVec(i)
			}
			return out
		}
		free = append(append([]int(nil), free[:at]...), free[at+1:]...)
	}
	return [sharedTerms]float64{}
}

// own factorises a reading's covariance less its shared part. Holes' own errors
// are much alike in all directions; a direction that the difference makes much
// better known than most is an artefact of it, and is not taken to be. It fails
// where there is no covariance to begin with.
func own(r *Reading, shared [sharedTerms]float64) (*mat.Cholesky, bool) {
	n := 2 * len(r.Holes)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			cov.SetSym(i, j, (r.CovarianceMM2[i*n+j]+r.CovarianceMM2[j*n+i])/2)
		}
	}
	r.loosen(cov)
	var chol mat.Cholesky
	if shared == [sharedTerms]float64{} {
		return &chol, chol.Factorize(cov)
	}
	moves := r.sharedVectors(r.View == FromBehind)
	for t, v := range shared {
		cov.SymRankOne(cov, -v, moves[t])
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(cov, true) {
		return nil, false
	}
	values := eigen.Values(nil) // ascending
	least := math.Max(values[n/2]/4, leastU*leastU)
	if values[0] < least {
		var vectors mat.Dense
		eigen.VectorsTo(&vectors)
		for i, v := range values {
			if v < least {
				cov.SymRankOne(cov, least-v, vectors.ColView(i))
			}
		}
	}
	return &chol, chol.Factorize(cov)
}

// sharedVectors are the moves of all holes, x1, y1, x2, …, for each shared
// error, relative to the origin as it follows them.
func (r *Reading) sharedVectors(mirrored bool) [sharedTerms]*mat.VecDense {
	var out [sharedTerms]*mat.VecDense
	for t := range out {
		out[t] = mat.NewVecDense(2*len(r.Holes), nil)
	}
	for i, h := range r.Holes {
		for t, m := range sharedMoves(r2.Vec{X: h.X, Y: h.Y}, mirrored) {
			out[t].SetVec(2*i, m.X)
			out[t].SetVec(2*i+1, m.Y)
		}
	}
	datum := r.originJacobian()
	for _, move := range out {
		var by mat.VecDense
		by.MulVec(datum, move)
		for i := range r.Holes {
			move.SetVec(2*i, move.AtVec(2*i)-by.AtVec(0))
			move.SetVec(2*i+1, move.AtVec(2*i+1)-by.AtVec(1))
		}
	}
	return out
}

// originJacobian is how the origin follows the holes' coordinates.
func (r *Reading) originJacobian() mat.Matrix {
	parts := make([]part, len(r.Holes))
	for i, h := range r.Holes {
		parts[i] = part{Ring: Ring{Centre: r2.Vec{X: h.X, Y: h.Y}}, on: h.OnCircle}
	}
	jac, err := originJacobian(parts, r.Pattern == OnCircle)
	if err != nil {
		return centroidJacobian(len(parts))
	}
	return jac
}

// leastU (mm) is what no coordinate is known better than. It keeps a reading
// that says it is exact in some direction from deciding alone.
const leastU = 1e-3

// loosen adds what makes a reading's covariance regular: large variances for a
// shift and a turn of the whole page, which an adjustment leaves open anyway
// (the origin follows the holes, so that shifts are missing from the
// covariance), and a little for every coordinate.
func (r *Reading) loosen(cov *mat.SymDense) {
	n := 2 * len(r.Holes)
	size := leastU * leastU
	for i := range n {
		size = math.Max(size, cov.At(i, i))
	}
	far := 1.0
	for _, h := range r.Holes {
		far = math.Max(far, math.Hypot(h.X, h.Y))
	}
	x, y, turn := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i, h := range r.Holes {
		x.SetVec(2*i, 1)
		y.SetVec(2*i+1, 1)
		turn.SetVec(2*i, -h.Y/far)
		turn.SetVec(2*i+1, h.X/far)
	}
	for _, v := range []*mat.VecDense{x, y, turn} {
		cov.SymRankOne(cov, size, v) // more would let turns stray beyond where an adjustment is linear
	}
	for i := range n {
		cov.SetSym(i, i, cov.At(i, i)+leastU*leastU)
	}
}
