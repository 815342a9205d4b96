package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// match is one way of putting the part's holes over the face's, at its best.
type match struct {
	to []int // the part's hole over each of the face's
	sample
}

// maxSteps bounds the search for assignments, where solving one counts as
// leafSteps. It is far beyond what patterns need that have any likeness;
// unlike ones do not fit anyhow.
const (
	maxSteps  = 300_000
	leafSteps = 50
)

// slack (mm) keeps rounding from parting assignments that are equally good.
const slack = 1e-7

// matching is the search over which of the part's holes goes over which of the
// face's. A hole j of the part over a hole i of the face may be off by
// faceRoom[i] + partRoom[j].
type matching struct {
	face, part         []r2.Vec
	faceRoom, partRoom []float64

	order []int // of the face's holes: each as far as can be from those before
	to    []int // by the face's hole, −1 while open
	taken []bool
	steps int
	turn  turning

	reach float64 // keep matches that are no worse than the best by this
	best  float64
	found []match
	low   float64 // proven lower bound of the best
}

// matchings returns every assignment whose misfit is within reach of the best,
// the best first, each solved to the tolerance, and a proven lower bound of
// the best. whole is false where the search was given up: then not all were
// looked at, but those that keep the order round the middle, and the bound
// proves nothing.
//
// Two pairs of holes whose distances differ by d cannot both be met better
// than d/2 less their room, whatever the turn and shift; that prunes nearly
// all of the n! assignments.
func matchings(face, part []r2.Vec, faceRoom, partRoom []float64, reach, tolerance float64) (found []match, low float64, whole bool) {
	n := len(face)
	m := &matching{
		face: face, part: part, faceRoom: faceRoom, partRoom: partRoom,
		to: make([]int, n), taken: make([]bool, n),
		reach: reach + slack, best: math.Inf(1), low: math.Inf(1),
	}
	m.spread()
	m.round(tolerance)
	inOrder := m.found
	m.found, m.low = nil, math.Inf(1)
	for i := range m.to {
		m.to[i] = -1
	}
	if whole = m.search(0, tolerance); !whole {
		m.found = append(m.found, inOrder...)
	}
	slices.SortStableFunc(m.found, func(a, b match) int { return cmp.Compare(a.f, b.f) })
	last := 0
	for last < len(m.found) && m.found[last].f <= m.best+m.reach {
		last++
	}
	return m.found[:last], m.low, whole
}

// spread orders the face's holes so that the first few say most.
func (m *matching) spread() {
	n := len(m.face)
	near := make([]float64, n)
	for i := range near {
		near[i] = r2.Norm2(r2.Sub(m.face[i], meanPoint(m.face)))
	}
	used := make([]bool, n)
	for k := range n {
		far := -1
		for i := range n {
			if !used[i] && (far < 0 || near[i] > near[far]*(1+1e-9)) {
				far = i
			}
		}
		used[far] = true
		m.order = append(m.order, far)
		for i := range n {
			if d := r2.Norm2(r2.Sub(m.face[i], m.face[far])); k == 0 || d < near[i] {
				near[i] = d
			}
		}
	}
}

func meanPoint(points []r2.Vec) r2.Vec {
	var sum r2.Vec
	for _, p := range points {
		sum = r2.Add(sum, p)
	}
	return r2.Scale(1/float64(len(points)), sum)
}

// round tries the assignments that keep the order round the middle.
func (m *matching) round(tolerance float64) {
	byAngle := func(points []r2.Vec) []int {
		c := meanPoint(points)
		order := make([]int, len(points))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int {
			u, v := r2.Sub(points[a], c), r2.Sub(points[b], c)
			return cmp.Compare(math.Atan2(u.Y, u.X), math.Atan2(v.Y, v.X))
		})
		return order
	}
	a, b := byAngle(m.face), byAngle(m.part)
	for shift := range b {
		for k, i := range a {
			m.to[i] = b[(k+shift)%len(b)]
		}
		m.solve(tolerance)
	}
}

// search assigns the part's holes to the face's from the k-th on. It returns
// false when it has taken too many steps.
func (m *matching) search(k int, tolerance float64) bool {
	if k == len(m.order) {
		m.steps += leafSteps
		m.solve(tolerance)
		return true
	}
	i := m.order[k]
	for j := range m.part {
		if m.taken[j] {
			continue
		}
		if m.steps++; m.steps > maxSteps {
			return false
		}
		if m.hopeless(k, i, j) {
			continue
		}
		m.to[i], m.taken[j] = j, true
		ok := m.search(k+1, tolerance)
		m.to[i], m.taken[j] = -1, false
		if !ok {
			return false
		}
	}
	return true
}

// hopeless says whether hole j over hole i cannot come within reach of the
// best together with what is assigned already.
func (m *matching) hopeless(k, i, j int) bool {
	room := m.faceRoom[i] + m.partRoom[j]
	for _, o := range m.order[:k] {
		p := m.to[o]
		d := math.Abs(r2.Norm(r2.Sub(m.face[i], m.face[o])) - r2.Norm(r2.Sub(m.part[j], m.part[p])))
		if (d-room-m.faceRoom[o]-m.partRoom[p])/2 > m.best+m.reach {
			return true
		}
	}
	return false
}

func (m *matching) solve(tolerance float64) {
	m.turn.set(m.to, m.face, m.part, m.faceRoom, m.partRoom)
	s, low := m.turn.best(m.turn.start(), tolerance, m.best+m.reach)
	m.low = math.Min(m.low, low)
	m.best = math.Min(m.best, s.f)
	if s.f <= m.best+m.reach {
		m.found = append(m.found, match{slices.Clone(m.to), s})
	}
}
