package pattern

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// standsOut tests the hole that fits the others' even places least: by how
// many of its standard uncertainties, inflated by how badly the others fit
// even places (Student's t, with the allowance for drilling replaced by a
// fifth of it), times the number of holes looked at. ok is false where no
// move is large enough to have been meant, or the others are too few.
func (j *judge) standsOut() (p float64, ok bool) {
	n := len(j.holes)
	if n < 4 {
		return 1, false
	}
	w, fine := whiten(j.w.at, j.bare, j.drilledU/5)
	if !fine {
		return 1, false
	}
	m, ok := j.moves(w)
	if !ok {
		return 1, false
	}
	p = 1
	dof := float64(2*n - 5)
	t := distuv.StudentsT{Sigma: 1, Nu: dof}
	left := mat.Dot(m.left, m.left)
	for i := range n {
		c := m.rest.ColView(i)
		l := mat.Dot(c, c)
		move := mat.Dot(c, m.left) / l
		u := math.Sqrt(math.Max(1, (left-move*move*l)/dof) / l)
		if l > 0 && math.Abs(move) >= meantMM {
			p = math.Min(p, 2*float64(n)*t.Survival(math.Abs(move)/u))
		}
	}
	return p, p < 1
}

// recognise looks for the simplest layout that explains uneven holes. They
// are tried in the order of how many numbers they need; one is accepted when
// the holes agree with it (p ≥ 0.05) and chance alone would hardly have made
// them agree.
func (j *judge) recognise() {
	if j.someEmpty() || j.oneShifted() {
		return
	}
	j.interleaved()
}

func (j *judge) direction(i int) float64 {
	return math.Atan2(j.w.at[i].Y, j.w.at[i].X)
}

// directionU is the standard uncertainty (rad) of a hole's direction.
func (j *judge) directionU(i int) float64 {
	v := j.w.at[i]
	l2 := r2.Norm2(v)
	return uncertainty(j.w.sigma, partial{2 * i, -v.Y / l2}, partial{2*i + 1, v.X / l2})
}

// someEmpty looks for the fewest equal spaces, of at most twice as many as
// there are holes, in which all holes lie.
func (j *judge) someEmpty() bool {
	n := len(j.holes)
	for places := n + 1; places <= 2*n; places++ {
		step := 2 * math.Pi / float64(places)
		var sum complex128
		for i := range n {
			sum += cmplx.Rect(1, float64(places)*j.direction(i))
		}
		first := cmplx.Phase(sum) / float64(places)
		chance := float64(places - n) // layouts tried
		taken := map[int]bool{}
		start := 0
		apart := places // all taken places are so many from one another, or a multiple
		directions := make([]float64, n)
		for i := range n {
			k := int(math.Round((j.direction(i) - first) / step))
			k = (k%places + places) % places
			taken[k] = true
			if i == 0 {
				start = k
			}
			directions[i] = first + float64(k)*step
			if i > 0 {
				apart = gcd(apart, k-start)
				chance *= math.Min(1, 4*coverage*j.directionU(i)/step)
			}
		}
		// Where every second place is taken, fewer places say as much: they are
		// even, or were tried.
		if len(taken) < n || apart > 1 || chance > surely {
			continue
		}
		f, ok := j.w.fit(ringColumns(directions, make([]int, n), 1))
		if !ok || f.p < perhaps {
			continue
		}
		j.v.Layout, j.v.Places = SomeEmpty, places
		turn := math.Atan2(f.params[3], f.params[2])
		zero := *j.r.TurnDeg * degree
		for k := range places {
			if !taken[k] {
				j.missing = append(j.missing, fullTurn((first+float64(k)*step+turn-zero)/degree))
			}
		}
		slices.Sort(j.missing)
		return true
	}
	return false
}

// gcd is the greatest common divisor of a and b, of which a is above zero.
func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	if a < 0 {
		return -a
	}
	return a
}

// oneShifted looks for one hole without which the others lie in even places.
func (j *judge) oneShifted() bool {
	n := len(j.holes)
	if n < 4 {
		return false
	}
	type found struct {
		i int
		fittedLayout
	}
	var fits []found
	even := evenColumns(n)
	for i := range n {
		if f, ok := j.w.fit(withColumns(even, j.unit(2*i), j.unit(2*i+1))); ok && f.p >= surely {
			fits = append(fits, found{i, f})
		}
	}
	slices.SortStableFunc(fits, func(a, b found) int { return cmp.Compare(b.p, a.p) })
	if len(fits) == 0 || fits[0].p < perhaps {
		return false
	}
	best := fits[0]
	j.v.Layout, j.shifted = OneShifted, best.i
	for _, f := range fits[1:] {
		j.doubt = append(j.doubt, f.i)
	}
	k := len(best.params) - 2
	move := r2.Vec{X: best.params[k], Y: best.params[k+1]}
	u := r2.Unit(j.w.at[best.i])
	l := r2.Norm(j.w.at[best.i])
	f, _ := j.bareFit(withColumns(even, j.unit(2*best.i), j.unit(2*best.i+1)))
	j.shift = [3]float64{
		r2.Dot(move, r2.Vec{X: -u.Y, Y: u.X}),
		(j.direction(best.i) - math.Atan2(j.w.at[best.i].Y-move.Y, j.w.at[best.i].X-move.X)) / degree,
		coverage * uncertainty(f.cov, partial{k, -u.Y / l}, partial{k + 1, u.X / l}) / degree,
	}
	if j.shift[1] > 180 {
		j.shift[1] -= 360
	} else if j.shift[1] < -180 {
		j.shift[1] += 360
	}
	return true
}

// interleaved looks for the fewest even rings about one centre that together
// make up the holes.
func (j *judge) interleaved() bool {
	n := len(j.holes)
	for rings := 2; rings <= n/2; rings++ {
		if n%rings != 0 {
			continue
		}
		ring := make([]int, n)
		for i := range ring {
			ring[i] = i % rings
		}
		// A ring's holes are n/rings equal spaces apart; its turn is free.
		directions := make([]float64, n)
		for i := range directions {
			directions[i] = 2 * math.Pi * float64(i/rings) / float64(n/rings)
		}
		f, ok := j.w.fit(ringColumns(directions, ring, rings))
		if !ok || f.p < perhaps || f.dof < 2 {
			continue
		}
		j.v.Layout, j.v.Turns = Interleaved, n/rings
		if rings == 2 {
			a, b := math.Atan2(f.params[3], f.params[2]), math.Atan2(f.params[5], f.params[4])
			j.odd = math.Mod(fullTurn((b-a)/degree), 720/float64(n))
			j.odd = math.Min(j.odd, 720/float64(n)-j.odd)
			j.radii = [2]float64{math.Hypot(f.params[2], f.params[3]), math.Hypot(f.params[4], f.params[5])}
		}
		return true
	}
	return false
}
