package pattern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// support is a dual certificate of the smallest enclosing circle: weights
// that sum to 1 and unit vectors whose weighted sum is zero, for at most three
// points.
type support struct {
	n      int
	at     [3]int
	weight [3]float64
	unit   [3]r2.Vec
}

// enclose returns the t that makes f = max |v_i − t| − room_i smallest, that f,
// and the support that proves it: for any t and with these weights λ and unit
// vectors u, max |v_i − t| − room_i ≥ Σ λ_i (u_i·(v_i − t) − room_i), where t
// drops out because Σ λ_i u_i = 0.
//
// It is the smallest circle around discs of unequal radii, for which Welzl's
// algorithm fails (Fischer, Gärtner, "The smallest enclosing ball of balls",
// 2003); like any LP-type problem of combinatorial dimension 3 it is solved by
// exchanging the most violated disc into the support (Sharir, Welzl 1992). At
// each exchange the best of all subsets is taken by its value at the point
// itself, so that no tolerance decides.
func enclose(v []r2.Vec, room []float64) (t r2.Vec, f float64, s support) {
	worst := func(t r2.Vec) (int, float64) {
		at, f := 0, math.Inf(-1)
		for i, p := range v {
			if d := math.Sqrt(r2.Norm2(r2.Sub(p, t))) - room[i]; d > f {
				at, f = i, d
			}
		}
		return at, f
	}
	first, _ := worst(v[0])
	now := basis{1, [3]int{first}}
	t = v[first]
	best, bestAt, bestBasis := math.Inf(1), t, now
	for range 20 + 2*len(v) {
		i, value := worst(t)
		if value < best {
			best, bestAt, bestBasis = value, t, now
		}
		if now.has(i) {
			break
		}
		now, t = exchange(v, room, now, i)
	}
	return bestAt, best, certify(v, room, bestBasis, bestAt)
}

// basis is a set of at most three discs.
type basis struct {
	n  int
	at [3]int
}

func (b basis) has(i int) bool {
	for _, k := range b.at[:b.n] {
		if k == i {
			return true
		}
	}
	return false
}

// exchange solves the problem for a basis and the disc that was violated most
// and is therefore in the new basis.
func exchange(v []r2.Vec, room []float64, old basis, last int) (next basis, at r2.Vec) {
	best := math.Inf(1)
	try := func(t r2.Vec, b basis) {
		value := math.Sqrt(r2.Norm2(r2.Sub(v[last], t))) - room[last]
		for _, i := range old.at[:old.n] {
			value = math.Max(value, math.Sqrt(r2.Norm2(r2.Sub(v[i], t)))-room[i])
		}
		if value < best {
			best, at, next = value, t, b
		}
	}
	try(v[last], basis{1, [3]int{last}})
	for k, a := range old.at[:old.n] {
		if t, ok := midway(v[last], v[a], room[last], room[a]); ok {
			try(t, basis{2, [3]int{last, a}})
		}
		for _, b := range old.at[:k] {
			both, n := touching(v[last], v[a], v[b], room[last], room[a], room[b])
			for _, t := range both[:n] {
				try(t, basis{3, [3]int{last, a, b}})
			}
		}
	}
	return next, at
}

// midway is the best point for two discs, if neither holds the other.
func midway(p, q r2.Vec, roomP, roomQ float64) (r2.Vec, bool) {
	d := r2.Sub(q, p)
	l := r2.Norm(d)
	if l <= math.Abs(roomP-roomQ) {
		return r2.Vec{}, false
	}
	return r2.Add(p, r2.Scale((l+roomP-roomQ)/(2*l), d)), true
}

// touching are the points t for which |p − t| − roomP and its like for q and r
// are all the same (the problem of Apollonius). With g = |p − t| the squares'
// differences are linear in t, hence t = p + a − g·b, and |t − p| = g is
// quadratic in g.
func touching(p, q, r r2.Vec, roomP, roomQ, roomR float64) (out [2]r2.Vec, n int) {
	q, r = r2.Sub(q, p), r2.Sub(r, p)
	dq, dr := roomQ-roomP, roomR-roomP
	det := r2.Cross(q, r)
	if math.Abs(det) <= 1e-14*(r2.Norm2(q)+r2.Norm2(r)) {
		return out, 0
	}
	solve := func(x, y float64) r2.Vec {
		return r2.Vec{X: (x*r.Y - y*q.Y) / det, Y: (q.X*y - r.X*x) / det}
	}
	a := solve((r2.Norm2(q)-dq*dq)/2, (r2.Norm2(r)-dr*dr)/2)
	b := solve(dq, dr)
	// (b² − 1) g² − 2 (a·b) g + a² = 0
	k, m, a2 := r2.Norm2(b)-1, r2.Dot(a, b), r2.Norm2(a)
	disc := m*m - k*a2
	if disc < 0 {
		return out, 0
	}
	h := m + math.Copysign(math.Sqrt(disc), m)
	for _, g := range [2]float64{h / k, a2 / h} {
		if g >= 0 && !math.IsInf(g, 1) {
			out[n] = r2.Add(p, r2.Sub(a, r2.Scale(g, b)))
			n++
		}
	}
	return out, n
}

// certify makes the support of a basis at its point.
func certify(v []r2.Vec, room []float64, b basis, t r2.Vec) support {
	switch b.n {
	case 3:
		s := support{n: 3}
		sum := 0.0
		for k, i := range b.at {
			s.at[k] = i
			s.unit[k] = direction(r2.Sub(v[i], t))
		}
		least := 0
		for k := range 3 {
			s.weight[k] = r2.Cross(s.unit[(k+1)%3], s.unit[(k+2)%3])
			sum += s.weight[k]
		}
		for k := range 3 {
			s.weight[k] /= sum
			if s.weight[k] < s.weight[least] {
				least = k
			}
		}
		if s.weight[least] >= 0 {
			return s
		}
		return certify(v, room, basis{2, [3]int{b.at[(least+1)%3], b.at[(least+2)%3]}}, t)
	case 2:
		u := direction(r2.Sub(v[b.at[0]], v[b.at[1]]))
		return support{n: 2, at: [3]int{b.at[0], b.at[1]}, weight: [3]float64{0.5, 0.5}, unit: [3]r2.Vec{u, r2.Scale(-1, u)}}
	}
	return support{n: 1, at: [3]int{b.at[0]}, weight: [3]float64{1}}
}

// direction is the unit vector along v, or zero, which proves as much as any
// vector that is no longer than 1.
func direction(v r2.Vec) r2.Vec {
	l := r2.Norm(v)
	if l == 0 {
		return r2.Vec{}
	}
	return r2.Scale(1/l, v)
}
