package pattern

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// positions finds the turns and flips after which the part goes on again.
func (j *judge) positions() {
	n := len(j.holes)
	switch j.v.Layout {
	case EvenSpaces:
		j.v.Turns = n
	case SomeEmpty:
		j.v.Turns = j.turnsWithEmpty()
	case Irregular, OneShifted:
		j.v.Turns = 1
	}
	if n > mostJudg {
		return
	}
	// Holes in counter-clockwise order change places under a flip as i ↔ s−i.
	best, least := -1.0, math.Inf(1)
	beyond := 0.0 // a miss that no error explains, or with even holes need not be tested
	if j.v.Spacing != Even {
		beyond = 10 * math.Sqrt(mat.Trace(j.w.sigma))
	}
	for s := range n {
		p, miss, axis := j.flip(s, beyond)
		// What fits best by its odds is the axis; without any, the least miss.
		if p > best && p >= surely || best < surely && miss < least {
			axis = fullTurn(axis/degree - *j.r.TurnDeg)
			if axis = math.Mod(axis, 180); axis > 180-1e-9 {
				axis = 0
			}
			j.v.AxisDeg, j.v.FlipMiss = &axis, &miss
			best, least = math.Max(best, p), miss
		}
	}
	switch {
	case j.v.Spacing == Even, best >= perhaps && j.v.Spacing == Uneven && *j.v.FlipMiss < hiddenMM:
		j.v.Flip = FlipSame
	case j.v.Spacing == Uneven && best < surely:
		j.v.Flip = FlipDifferent
	}
}

// turnsWithEmpty is how often the taken and empty places look alike in a
// whole turn.
func (j *judge) turnsWithEmpty() int {
	m := j.v.Places
	empty := map[int]bool{}
	for _, deg := range j.missing {
		empty[int(math.Round((deg-j.missing[0])*float64(m)/360))%m] = true
	}
	turns := 0
next:
	for s := range m {
		for k := range empty {
			if !empty[(k+s)%m] {
				continue next
			}
		}
		turns++
	}
	return turns
}

// flip tests whether the holes fit themselves after a flip that lets hole i
// and hole s−i change places, about the axis that suits best: with what
// probability they differ as much by drilling and measuring alone, how far
// the worst hole misses (mm), and the axis's direction (rad).
//
// With E an orthonormal basis of all moves that the flip turns round, E x is
// zero but for errors, and for the axis's own place and direction, which are
// fitted: χ² with N−2 degrees of freedom.
func (j *judge) flip(s int, beyond float64) (p, miss, axis float64) {
	n := len(j.holes)
	partner := func(i int) int { return ((s-i)%n + n) % n }
	var centre r2.Vec
	for _, v := range j.w.at {
		centre = r2.Add(centre, r2.Scale(1/float64(n), v))
	}
	z := make([]complex128, n)
	for i, v := range j.w.at {
		z[i] = complex(v.X-centre.X, v.Y-centre.Y)
	}
	var sum complex128
	for i := range z {
		sum += z[i] * z[partner(i)]
	}
	if cmplx.Abs(sum) == 0 {
		return 0, math.Inf(1), 0
	}
	turn := sum / complex(cmplx.Abs(sum), 0) // e^{2iα} of the axis's direction α
	axis = cmplx.Phase(turn) / 2
	for i := range z {
		miss = math.Max(miss, cmplx.Abs(z[i]-turn*cmplx.Conj(z[partner(i)])))
	}
	if miss > beyond {
		return 0, miss, axis
	}
	across := r2.Vec{X: -math.Sin(axis), Y: math.Cos(axis)}
	e := mat.NewDense(n, 2*n, nil)
	row := 0
	for i := range n {
		k := partner(i)
		switch {
		case k == i:
			e.Set(row, 2*i, across.X)
			e.Set(row, 2*i+1, across.Y)
			row++
		case k > i:
			for c, v := range []complex128{1, 1i} {
				mirrored := turn * cmplx.Conj(v)
				e.Set(row, 2*i+c, math.Sqrt2/2)
				e.Set(row, 2*k, -math.Sqrt2/2*real(mirrored))
				e.Set(row, 2*k+1, -math.Sqrt2/2*imag(mirrored))
				row++
			}
		}
	}
	moves := mat.NewDense(2*n, 2, nil) // of the axis: turned, and shifted across
	for i, v := range z {
		moves.Set(2*i, 0, -imag(v))
		moves.Set(2*i+1, 0, real(v))
		moves.Set(2*i, 1, across.X)
		moves.Set(2*i+1, 1, across.Y)
	}
	var y mat.VecDense
	y.MulVec(e, vectorOf(j.w.at))
	var columns mat.Dense
	columns.Mul(e, moves)
	f, ok := independent(&y, propagate(e, j.w.sigma), &columns)
	if !ok {
		return 0, miss, axis
	}
	return f, miss, axis
}

// independent is the probability of the χ² that is left of y, whose
// covariance is sigma, after its best fit by the columns of a.
func independent(y *mat.VecDense, sigma mat.Symmetric, a *mat.Dense) (p float64, ok bool) {
	var chol mat.Cholesky
	if !chol.Factorize(sigma) {
		return 0, false
	}
	w := &whitened{y: new(mat.VecDense)}
	chol.LTo(&w.lower)
	if w.y.SolveVec(&w.lower, y) != nil {
		return 0, false
	}
	f, ok := w.fit(a)
	return f.p, ok
}
