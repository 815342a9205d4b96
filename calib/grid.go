package calib

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Grid finds the columns × rows of equal dots on a square lattice among a
// picture's marks, and returns them as controls whose millimetres are in units
// of the pitch: column i, row j lies at (i, −j). Which corner is the first
// cannot be told from equal dots; columns and rows may be exchanged in the
// picture.
//
// Marks are taken for neighbours where one lies about as far off as the last
// step went. Other marks beside the grid, and up to a tenth of its dots
// hidden, do no harm.
func Grid(marks []vision.Mark, columns, rows int) ([]Control, error) {
	if columns < 3 || rows < 3 || columns*rows > 10_000 {
		return nil, fmt.Errorf("a grid of %d × %d dots cannot be used; it needs 3 × 3 or more", columns, rows)
	}
	var best []gridDot
	for _, alike := range sizes(marks) {
		points := make([]r2.Vec, len(alike))
		for k, i := range alike {
			points[k] = marks[i].Centre
		}
		for _, cells := range lattices(points) {
			if dots := window(cells, columns, rows); len(dots) > len(best) {
				best = dots
				for k := range best {
					best[k].point = alike[best[k].point]
				}
			}
		}
	}
	if 10*len(best) < 9*columns*rows {
		if len(best) == 0 {
			return nil, fmt.Errorf("no grid of %d × %d dots was found", columns, rows)
		}
		return nil, fmt.Errorf("of the grid of %d × %d dots only %d were found", columns, rows, len(best))
	}
	controls := make([]Control, len(best))
	for k, d := range best {
		m := marks[d.point]
		controls[k] = Control{
			Name: fmt.Sprintf("dot %d,%d", d.i+1, d.j+1),
			Px:   m.Centre, MM: r2.Vec{X: float64(d.i), Y: -float64(d.j)}, Mark: &m,
		}
	}
	return controls, nil
}

// gridDot is a point of the picture at a place of the lattice.
type gridDot struct{ point, i, j int }

// sizes groups marks of one kind that are about as large as one another: under
// perspective the nearest dot may be twice as large as the farthest. The
// largest group comes first.
func sizes(marks []vision.Mark) [][]int {
	var groups [][]int
	for _, kind := range []vision.Kind{vision.Darker, vision.Lighter} {
		var of []int
		for i, m := range marks {
			if m.Kind == kind && m.Radius > 0 {
				of = append(of, i)
			}
		}
		slices.SortFunc(of, func(a, b int) int { return cmp.Compare(marks[a].Radius, marks[b].Radius) })
		for from := range of {
			to := from
			for to < len(of) && marks[of[to]].Radius < 2*marks[of[from]].Radius {
				to++
			}
			if from > 0 && to-from < 9 {
				continue
			}
			groups = append(groups, of[from:to])
		}
	}
	slices.SortStableFunc(groups, func(a, b []int) int { return cmp.Compare(len(b), len(a)) })
	return groups[:min(len(groups), 8)]
}

// lattices grows lattices from several points, each in steps to neighbours.
func lattices(points []r2.Vec) [][]gridDot {
	var out [][]gridDot
	done := make([]bool, len(points))
	for seed := range points {
		if done[seed] || len(out) >= 40 {
			continue
		}
		for _, steps := range firstSteps(points, seed) {
			cells := grow(points, seed, steps[0], steps[1])
			if len(cells) < 9 {
				continue
			}
			for _, c := range cells {
				done[c.point] = true
			}
			out = append(out, cells)
			break
		}
	}
	return out
}

// firstSteps are pairs of steps to neighbours of a point that may span the
// lattice: about as long as one another and about square.
func firstSteps(points []r2.Vec, seed int) [][2]r2.Vec {
	near := make([]int, 0, len(points))
	for i := range points {
		if i != seed {
			near = append(near, i)
		}
	}
	away := func(i int) r2.Vec { return r2.Sub(points[i], points[seed]) }
	slices.SortFunc(near, func(a, b int) int { return cmp.Compare(r2.Norm2(away(a)), r2.Norm2(away(b))) })
	near = near[:min(len(near), 8)]
	var out [][2]r2.Vec
	for _, a := range near {
		for _, b := range near {
			u, v := away(a), away(b)
			// Seen in the picture, v is a quarter turn clockwise from u: a row
			// goes right, a column goes down.
			long := math.Max(r2.Norm(u), r2.Norm(v))
			if r2.Cross(u, v) > 0.35*long*long {
				out = append(out, [2]r2.Vec{u, v})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b [2]r2.Vec) int {
		return cmp.Compare(r2.Norm2(a[0])+r2.Norm2(a[1]), r2.Norm2(b[0])+r2.Norm2(b[1]))
	})
	return out[:min(len(out), 6)]
}

// grow walks the lattice from the seed. A step is expected to be as the one
// before it in the same direction was, or else as its parallel neighbour.
func grow(points []r2.Vec, seed int, u, v r2.Vec) []gridDot {
	type place struct{ i, j int }
	type node struct {
		point int
		u, v  r2.Vec // what steps are from here
	}
	at := map[place]node{{}: {seed, u, v}}
	taken := map[int]bool{seed: true}
	queue := []place{{}}
	for len(queue) > 0 {
		p := queue[0]
		queue = queue[1:]
		n := at[p]
		for _, d := range []place{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			q := place{p.i + d.i, p.j + d.j}
			if _, ok := at[q]; ok {
				continue
			}
			step := r2.Add(r2.Scale(float64(d.i), n.u), r2.Scale(float64(d.j), n.v))
			want := r2.Add(points[n.point], step)
			best, off := -1, 0.3*math.Min(r2.Norm(n.u), r2.Norm(n.v))
			for k, c := range points {
				if m := r2.Norm(r2.Sub(c, want)); m < off && !taken[k] {
					best, off = k, m
				}
			}
			if best < 0 {
				continue
			}
			// Steps change slowly: half of what this one showed.
			to := node{best, n.u, n.v}
			went := r2.Sub(points[best], points[n.point])
			if d.i != 0 {
				to.u = r2.Scale(0.5, r2.Add(n.u, r2.Scale(float64(d.i), went)))
			} else {
				to.v = r2.Scale(0.5, r2.Add(n.v, r2.Scale(float64(d.j), went)))
			}
			at[q] = to
			taken[best] = true
			queue = append(queue, q)
		}
	}
	out := make([]gridDot, 0, len(at))
	for p, n := range at {
		out = append(out, gridDot{n.point, p.i, p.j})
	}
	slices.SortFunc(out, func(a, b gridDot) int { return cmp.Or(cmp.Compare(a.j, b.j), cmp.Compare(a.i, b.i)) })
	return out
}

// window is the part of a lattice, columns × rows or the other way round, that
// holds the most points; nil where two are as full, so that it cannot be told
// which is the grid. Its first place is 0, 0.
func window(cells []gridDot, columns, rows int) []gridDot {
	var best []gridDot
	tie := false
	try := func(w, h int, turned bool) {
		lowI, highI, lowJ, highJ := cells[0].i, cells[0].i, cells[0].j, cells[0].j
		for _, c := range cells {
			lowI, highI = min(lowI, c.i), max(highI, c.i)
			lowJ, highJ = min(lowJ, c.j), max(highJ, c.j)
		}
		for i0 := min(lowI, highI-w+1); i0 <= max(lowI, highI-w+1); i0++ {
			for j0 := min(lowJ, highJ-h+1); j0 <= max(lowJ, highJ-h+1); j0++ {
				var in []gridDot
				for _, c := range cells {
					i, j := c.i-i0, c.j-j0
					if i < 0 || j < 0 || i >= w || j >= h {
						continue
					}
					if turned { // a quarter turn, which keeps the hand
						i, j = j, w-1-i
					}
					in = append(in, gridDot{c.point, i, j})
				}
				switch {
				case len(in) > len(best):
					best, tie = in, false
				case len(in) == len(best):
					tie = true
				}
			}
		}
	}
	try(columns, rows, false)
	if columns != rows {
		try(rows, columns, true)
	}
	if tie {
		return nil
	}
	return best
}
