package calib

import (
	"cmp"
	"math"
	"slices"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// row is a row of spots that lie as dots along one side of a frame do: spot
// at[k] has the place index[k], from some origin on, with gaps where spots are
// missing.
type row struct {
	at    []int
	index []int
	from  r2.Vec // a point on the line through them
	along r2.Vec // its direction, of length one
	// The place t along the line, from that point on, of index i is
	// (a i + b)/(c i + 1): a projection keeps cross ratios.
	a, b, c float64
}

const (
	leastRow   = 4  // spots
	mostRows   = 16 // that are looked at further
	mostSpots  = 1500
	mostGap    = 4 // places from one spot of a row to the next
	rowStray   = 0.22
	neighbours = 10
)

// What the distance to the next dot may be, in units of the root of a dot's
// area: 1.7 and 2.5 for large and small dots seen from above.
const leastStep, mostStep = 1.05, 3.6

// rowsOf finds rows of spots, the longest first.
func rowsOf(spots []vision.Spot) []row {
	n := newNearby(spots)
	used := map[[2]int]bool{} // pairs that are neighbours in a row
	var rows []row
	for i := range spots {
		for _, j := range n.around(i) {
			if used[[2]int{i, j}] || !n.aStep(i, j, 1) {
				continue
			}
			r := n.extend(i, j)
			if len(r.at) < leastRow || !r.line(spots) {
				continue
			}
			for k := 1; k < len(r.at); k++ {
				used[[2]int{r.at[k-1], r.at[k]}] = true
				used[[2]int{r.at[k], r.at[k-1]}] = true
			}
			rows = append(rows, r)
		}
	}
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(len(b.at), len(a.at)) })
	return rows[:min(len(rows), mostRows)]
}

// nearby finds spots by their place.
type nearby struct {
	spots []vision.Spot
	root  []float64 // of each spot's area
	size  float64   // of a square
	in    map[[2]int][]int
}

func newNearby(spots []vision.Spot) *nearby {
	n := &nearby{spots: spots, in: map[[2]int][]int{}}
	for _, s := range spots {
		n.root = append(n.root, math.Sqrt(s.Area))
	}
	sorted := slices.Clone(n.root)
	slices.Sort(sorted)
	n.size = 3
	if len(sorted) > 0 {
		n.size = 3 * sorted[len(sorted)/2]
	}
	for i, s := range spots {
		k := n.square(s.Centre)
		n.in[k] = append(n.in[k], i)
	}
	return n
}

func (n *nearby) square(p r2.Vec) [2]int {
	return [2]int{int(math.Floor(p.X / n.size)), int(math.Floor(p.Y / n.size))}
}

// within calls f for each spot in the squares that reach touches around p.
func (n *nearby) within(p r2.Vec, reach float64, f func(i int, distance float64)) {
	lo, hi := n.square(r2.Vec{X: p.X - reach, Y: p.Y - reach}), n.square(r2.Vec{X: p.X + reach, Y: p.Y + reach})
	if (hi[0]-lo[0])*(hi[1]-lo[1]) > 400 {
		return
	}
	for x := lo[0]; x <= hi[0]; x++ {
		for y := lo[1]; y <= hi[1]; y++ {
			for _, i := range n.in[[2]int{x, y}] {
				if d := r2.Norm(r2.Sub(n.spots[i].Centre, p)); d <= reach {
					f(i, d)
				}
			}
		}
	}
}

// around returns the nearest spots, the nearest first.
func (n *nearby) around(i int) []int {
	type near struct {
		i int
		d float64
	}
	var all []near
	n.within(n.spots[i].Centre, mostStep*n.root[i], func(j int, d float64) {
		if j != i {
			all = append(all, near{j, d})
		}
	})
	slices.SortFunc(all, func(a, b near) int { return cmp.Or(cmp.Compare(a.d, b.d), cmp.Compare(a.i, b.i)) })
	var out []int
	for _, a := range all[:min(len(all), neighbours)] {
		out = append(out, a.i)
	}
	return out
}

// aStep tells whether spots i and j may be dots of a frame so many places
// from each other.
func (n *nearby) aStep(i, j, places int) bool {
	d := r2.Norm(r2.Sub(n.spots[i].Centre, n.spots[j].Centre)) / float64(places)
	for _, k := range [2]int{i, j} {
		if d < leastStep*n.root[k] || d > mostStep*n.root[k] {
			return false
		}
	}
	return true
}

// extend grows a row from two neighbours, both ways.
func (n *nearby) extend(i, j int) row {
	r := row{at: []int{i, j}, index: []int{0, 1}}
	for n.grow(&r) {
	}
	slices.Reverse(r.at)
	slices.Reverse(r.index)
	last := r.index[0]
	for k := range r.index {
		r.index[k] = last - r.index[k]
	}
	for n.grow(&r) {
	}
	return r
}

// grow adds the next spot to a row, if there is one.
func (n *nearby) grow(r *row) bool {
	k := len(r.at)
	place := func(i int) r2.Vec { return n.spots[r.at[i]].Centre }
	step := func(i int) r2.Vec { // from spot i−1 to i, for one place
		return r2.Scale(1/float64(r.index[i]-r.index[i-1]), r2.Sub(place(i), place(i-1)))
	}
	next := step(k - 1)
	ratio := 1.0
	if k > 2 {
		ratio = min(max(r2.Norm(next)/r2.Norm(step(k-2)), 0.9), 1.1)
	}
	size := r2.Norm(next)
	at := place(k - 1)
	for places := 1; places <= mostGap; places++ {
		next = r2.Scale(ratio, next)
		at = r2.Add(at, next)
		best, distance := -1, math.Inf(1)
		n.within(at, rowStray*size*math.Sqrt(float64(places)), func(i int, d float64) {
			if d < distance && n.aStep(r.at[k-1], i, places) && !slices.Contains(r.at, i) {
				best, distance = i, d
			}
		})
		if best >= 0 {
			r.at = append(r.at, best)
			r.index = append(r.index, r.index[k-1]+places)
			return len(r.at) < mostAlong
		}
	}
	return false
}

// mostAlong is more dots than any frame has along a side.
const mostAlong = 40

// line fits the line through the row and the places along it.
func (r *row) line(spots []vision.Spot) bool {
	n := float64(len(r.at))
	var middle r2.Vec
	for _, i := range r.at {
		middle = r2.Add(middle, r2.Scale(1/n, spots[i].Centre))
	}
	var xx, xy, yy float64
	for _, i := range r.at {
		d := r2.Sub(spots[i].Centre, middle)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	r.from, r.along = middle, r2.Vec{X: cos, Y: sin}
	// a i + b − c i t = t, by least squares; of few spots c would be noise.
	var m [3][4]float64
	for k, i := range r.at {
		t := r2.Dot(r2.Sub(spots[i].Centre, middle), r.along)
		f := [3]float64{float64(r.index[k]), 1, -float64(r.index[k]) * t}
		for p := range 3 {
			for q := range 3 {
				m[p][q] += f[p] * f[q]
			}
			m[p][3] += f[p] * t
		}
	}
	if len(r.at) < 5 {
		m[2] = [4]float64{0, 0, 1, 0}
	}
	x, ok := solve3(m)
	r.a, r.b, r.c = x[0], x[1], x[2]
	return ok
}

// forward returns the direction in which the places count up.
func (r *row) forward() r2.Vec {
	if r.a < r.b*r.c { // the derivative of the place along the line, at 0
		return r2.Scale(-1, r.along)
	}
	return r.along
}

// indexAt returns which index the point of the line nearest to p has.
func (r *row) indexAt(p r2.Vec) float64 {
	t := r2.Dot(r2.Sub(p, r.from), r.along)
	return (t - r.b) / (r.a - r.c*t)
}

// crossing returns where the lines of two rows meet.
func (r *row) crossing(o *row) (r2.Vec, bool) {
	sin := r2.Cross(r.along, o.along)
	if math.Abs(sin) < 0.2 { // 12°: sides of a frame that is tilted too much
		return r2.Vec{}, false
	}
	t := r2.Cross(r2.Sub(o.from, r.from), o.along) / sin
	return r2.Add(r.from, r2.Scale(t, r.along)), true
}

// solve3 solves three equations, the right side in the last column, by
// elimination.
func solve3(m [3][4]float64) (x [3]float64, ok bool) {
	for c := range 3 {
		p := c
		for r := c + 1; r < 3; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[p][c]) {
				p = r
			}
		}
		m[c], m[p] = m[p], m[c]
		if m[c][c] == 0 {
			return x, false
		}
		for r := range 3 {
			if r != c {
				f := m[r][c] / m[c][c]
				for k := c; k < 4; k++ {
					m[r][k] -= f * m[c][k]
				}
			}
		}
	}
	for i := range x {
		x[i] = m[i][3] / m[i][i]
		if math.IsNaN(x[i]) || math.IsInf(x[i], 0) {
			return x, false
		}
	}
	return x, true
}
