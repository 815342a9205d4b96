package pattern

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// rows is a rectangular arrangement: holes in rows and columns square to each
// other, the spacings free. A line is one row.
type rows struct {
	turn         float64 // rad, direction of the rows on the page
	row, column  []int   // of each hole
	nRows, nCols int
}

// inRows looks for rows and columns. tolerance is how far a hole may be off
// its row or column. It needs a direction in which the holes fall into so few
// rows and columns that chance hardly makes them: at most one place in three
// empty, and at least three holes in line, or six in a grid.
func inRows(at []r2.Vec, tolerance func(i int) float64) (rows, bool) {
	n := len(at)
	if n < 3 || n > 60 {
		return rows{}, false
	}
	best, found := rows{}, false
	fill := 0
	for i := range n {
		for k := range i {
			d := r2.Sub(at[i], at[k])
			turn := math.Atan2(d.Y, d.X)
			turn = math.Mod(turn+2*math.Pi, math.Pi/2) // [0°, 90°)
			if turn > math.Pi/4 {
				turn -= math.Pi / 2
			}
			turn = squared(at, turn, tolerance)
			sin, cos := math.Sincos(turn)
			along, across := make([]float64, n), make([]float64, n)
			for m, v := range at {
				along[m], across[m] = v.X*cos+v.Y*sin, v.Y*cos-v.X*sin
			}
			r := rows{turn: turn}
			r.column, r.nCols = clusters(along, tolerance)
			r.row, r.nRows = clusters(across, tolerance)
			if r.nRows > r.nCols {
				r.turn += math.Pi / 2
				r.row, r.column = r.column, r.row
				r.nRows, r.nCols = r.nCols, r.nRows
				// Columns now count down what was up.
				for m := range r.row {
					r.row[m] = r.nRows - 1 - r.row[m]
				}
			}
			places := r.nRows * r.nCols
			enough := r.nRows == 1 && n >= 3 || r.nRows >= 2 && n >= 6 && places <= n+n/3
			if enough && (!found || places < fill) {
				best, fill, found = r, places, true
			}
		}
	}
	return best, found
}

// squared improves a direction: the one that all pairs which lie nearly along
// or across it have on average.
func squared(at []r2.Vec, turn float64, tolerance func(int) float64) float64 {
	for range 3 {
		num, den := 0.0, 0.0
		for i := range at {
			for k := range i {
				d := r2.Sub(at[i], at[k])
				for range 2 {
					sin, cos := math.Sincos(turn)
					along, across := d.X*cos+d.Y*sin, d.Y*cos-d.X*sin
					if math.Abs(across) < tolerance(i)+tolerance(k)+0.02*math.Abs(along) && along != 0 {
						num += across * along
						den += along * along
					}
					d = r2.Vec{X: d.Y, Y: -d.X}
				}
			}
		}
		if den > 0 {
			turn += num / den
		}
	}
	return turn
}

// clusters groups values that differ by no more than their tolerances, in
// ascending order.
func clusters(v []float64, tolerance func(int) float64) (of []int, n int) {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case v[a] < v[b]:
			return -1
		case v[a] > v[b]:
			return 1
		}
		return 0
	})
	of = make([]int, len(v))
	first := order[0]
	for _, i := range order {
		if v[i]-v[first] > tolerance(i)+tolerance(first) {
			first = i
			n++
		}
		of[i] = n
	}
	return of, n + 1
}

// columnsOf are the linear columns of rows about the direction turn: the
// place of each row and column, and the turn itself (to first order).
func (r rows) columnsOf(at []r2.Vec) *mat.Dense {
	sin, cos := math.Sincos(r.turn)
	a := mat.NewDense(2*len(at), r.nRows+r.nCols+1, nil)
	for i, v := range at {
		a.Set(2*i, r.column[i], cos)
		a.Set(2*i+1, r.column[i], sin)
		a.Set(2*i, r.nCols+r.row[i], -sin)
		a.Set(2*i+1, r.nCols+r.row[i], cos)
		a.Set(2*i, r.nCols+r.nRows, -v.Y)
		a.Set(2*i+1, r.nCols+r.nRows, v.X)
	}
	return a
}

// free judges holes without a pitch circle: a line, a grid, or neither.
func (j *judge) free() {
	j.v.Text = "No pitch circle, so nothing is said of its spacing: drill the part to x and y."
	if !j.take(func(Hole) bool { return true }) {
		return
	}
	n := len(j.holes)
	r, ok := inRows(j.w.at, func(i int) float64 {
		return 3 * math.Sqrt(math.Max(j.w.sigma.At(2*i, 2*i), j.w.sigma.At(2*i+1, 2*i+1)))
	})
	if !ok {
		return
	}
	a := r.columnsOf(j.w.at)
	if rows, cols := a.Dims(); rows <= cols {
		return
	}
	f, ok := j.w.fit(a)
	if !ok || f.p < surely {
		return
	}
	spacing := func(first, count int) (gaps []string, even bool) {
		var d []float64
		for k := range count - 1 {
			d = append(d, f.params[first+k+1]-f.params[first+k])
		}
		even = true
		for k := range d {
			gaps = append(gaps, j.mm(d[k]))
			if k > 0 {
				u := uncertainty(f.cov, partial{first + k - 1, 1}, partial{first + k, -2}, partial{first + k + 1, 1})
				even = even && math.Abs(d[k]-d[k-1]) < 3*u
			}
		}
		return gaps, even
	}
	say := func(first, count int) string {
		gaps, even := spacing(first, count)
		if even && len(gaps) > 1 {
			mean := (f.params[first+count-1] - f.params[first]) / float64(count-1)
			return fmt.Sprintf("%s apart, equally spaced", j.mm(mean))
		}
		return strings.Join(gaps, ", ") + " apart"
	}
	turn := fullTurn(r.turn / degree)
	if turn = math.Mod(turn, 180); turn > 179.95 {
		turn = 0
	}
	if r.nRows == 1 {
		j.v.Layout = OnLine
		j.v.Text = fmt.Sprintf("No pitch circle: the %d holes lie on a straight line, %s. Drill the part to x and y.", n, say(0, r.nCols))
		return
	}
	j.v.Layout = OnGrid
	empty := ""
	if k := r.nRows*r.nCols - n; k > 0 {
		empty = fmt.Sprintf(", %s of them empty", count(k, "place"))
	}
	j.v.Text = fmt.Sprintf("No pitch circle: the %d holes lie on a grid of %d by %d%s, turned by %.1f°: %s one way and %s the other. Drill the part to x and y.",
		n, r.nCols, r.nRows, empty, turn, say(0, r.nCols), say(r.nCols, r.nRows))
}
