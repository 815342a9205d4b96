package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// rigid is a turn and then a shift, after turning over where it mirrors.
type rigid struct {
	mirror   bool
	sin, cos float64
	shift    r2.Vec
}

func (m rigid) apply(v r2.Vec) r2.Vec {
	if m.mirror {
		v.X = -v.X
	}
	return r2.Vec{X: m.cos*v.X - m.sin*v.Y + m.shift.X, Y: m.sin*v.X + m.cos*v.Y + m.shift.Y}
}

// pairing says which hole of one set of points is which of another.
type pairing struct {
	rigid
	to    []int   // for each point, the index of its partner, −1 without one
	count int     // how many have one
	sum   float64 // of squared distances to the partners
}

// pairings lists the ways in which the points can be laid on others by a turn
// and a shift, each point within reach of its partner, that pair the most of
// them. A pattern that looks alike after a turn has one for each.
//
// Two points far apart are laid on every two others as far apart; of every
// rigid motion found so, the nearest partners are taken and the motion fitted
// once more to all of them.
func pairings(points, onto []r2.Vec, mirror bool, reach float64) []pairing {
	var found []pairing
	most := 0
	for _, base := range bases(points) {
		a, b := points[base[0]], points[base[1]]
		length := r2.Norm(r2.Sub(b, a))
		for i, p := range onto {
			for j, q := range onto {
				if i == j || math.Abs(r2.Norm(r2.Sub(q, p))-length) > 2*reach {
					continue
				}
				m := pair(rigidFit([]r2.Vec{a, b}, []r2.Vec{p, q}, mirror), points, onto, reach)
				if m.count < 2 || m.count < most {
					continue
				}
				var from, to []r2.Vec
				for k, partner := range m.to {
					if partner >= 0 {
						from, to = append(from, points[k]), append(to, onto[partner])
					}
				}
				m = pair(rigidFit(from, to, mirror), points, onto, reach)
				same := func(o pairing) bool { return slices.Equal(o.to, m.to) }
				if m.count >= max(2, most) && !slices.ContainsFunc(found, same) {
					most = m.count
					found = append(found, m)
				}
			}
		}
		if most == len(points) {
			break // no other base pairs more
		}
	}
	found = slices.DeleteFunc(found, func(m pairing) bool { return m.count < most })
	slices.SortStableFunc(found, func(a, b pairing) int { return cmp.Compare(a.sum, b.sum) })
	return found
}

// bases are pairs of points far apart, of which at least one has both its
// points on the other side too unless many are missing there.
func bases(points []r2.Vec) [][2]int {
	var out [][2]int
	for i := range points {
		far, at := 0.0, -1
		for j := range points {
			if d := r2.Norm(r2.Sub(points[i], points[j])); d > far {
				far, at = d, j
			}
		}
		if at >= 0 {
			out = append(out, [2]int{i, at})
		}
		if len(out) == 8 {
			break
		}
	}
	return out
}

// pair gives each point, moved by m, its nearest free partner within reach.
func pair(m rigid, points, onto []r2.Vec, reach float64) pairing {
	p := pairing{rigid: m, to: make([]int, len(points))}
	taken := make([]bool, len(onto))
	for i, v := range points {
		p.to[i] = -1
		v = m.apply(v)
		near := reach
		for j, w := range onto {
			if d := r2.Norm(r2.Sub(v, w)); d <= near && !taken[j] {
				near, p.to[i] = d, j
			}
		}
		if j := p.to[i]; j >= 0 {
			taken[j] = true
			p.count++
			p.sum += near * near
		}
	}
	return p
}

// rigidFit is the least-squares turn and shift of points onto others, after
// turning over when mirror says so (Kabsch 1976, in the plane).
func rigidFit(from, to []r2.Vec, mirror bool) rigid {
	flip := func(v r2.Vec) r2.Vec {
		if mirror {
			v.X = -v.X
		}
		return v
	}
	var a, b r2.Vec
	for i := range from {
		a = r2.Add(a, r2.Scale(1/float64(len(from)), flip(from[i])))
		b = r2.Add(b, r2.Scale(1/float64(len(from)), to[i]))
	}
	dot, cross := 0.0, 0.0
	for i := range from {
		v, w := r2.Sub(flip(from[i]), a), r2.Sub(to[i], b)
		dot += v.X*w.X + v.Y*w.Y
		cross += v.X*w.Y - v.Y*w.X
	}
	m := rigid{mirror: mirror, cos: 1}
	if h := math.Hypot(dot, cross); h > 0 {
		m.sin, m.cos = cross/h, dot/h
	}
	m.shift = r2.Sub(b, r2.Vec{X: m.cos*a.X - m.sin*a.Y, Y: m.sin*a.X + m.cos*a.Y})
	return m
}
