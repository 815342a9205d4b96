package pattern

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// determined refuses measurements that leave the pattern free to move, and
// says which hole is loose and what to measure.
//
// The unknowns are, in mm, the radius, each hole's place along the circle, and
// the holes' diameter when distances were taken over them. What no measurement
// feels is the null space of the equations (with the turn of the whole taken
// out); one more measurement helps as much as it feels of that.
func (n *network) determined(at wheel) error {
	if n.Holes == 2 {
		return nil // step says so where nothing was measured
	}
	rows := n.circleRows(at)
	loose := n.nullSpace(at, rows)
	if loose == nil {
		return nil
	}
	var more []string
	for space := loose; space != nil && len(more) < 5; {
		name, row := n.mostTelling(at, space)
		if row == nil {
			break
		}
		more = append(more, name)
		rows = append(rows, row)
		space = n.nullSpace(at, rows)
	}
	what := n.looseHoles(at)
	advice := ""
	if len(more) > 0 {
		advice = fmt.Sprintf(". Measure %s more, for example %s", countWord(len(more)), strings.Join(more, " and "))
	}
	return fmt.Errorf("%w: %s%s", ErrUndetermined, what, advice)
}

func countWord(n int) string {
	if n <= 4 {
		return [...]string{"none", "one", "two", "three", "four"}[n]
	}
	return fmt.Sprint(n)
}

// circleRows are the derivatives of the measurements by the unknowns on the
// circle, in units of their uncertainties.
func (n *network) circleRows(at wheel) [][]float64 {
	var rows [][]float64
	for _, d := range n.Between {
		row := n.chordRow(at, d.From, d.To)
		_, row[n.Holes+1] = n.reach(d, at.d)
		rows = append(rows, scaled(row, 1/d.U))
	}
	if n.PCD > 0 {
		rows = append(rows, n.only(0, 2/n.PCDU))
	}
	if !n.freeD {
		rows = append(rows, n.only(n.Holes+1, 1/n.DefaultU))
	} else if n.Diameter > 0 {
		rows = append(rows, n.only(n.Holes+1, 1/n.DiameterU))
	}
	turn := n.only(0, 0) // the turn of the whole is nobody's business
	for i := range n.Holes {
		turn[1+i] = 1 / n.DefaultU
	}
	rows = append(rows, turn)
	if n.Even {
		for i := 1; i < n.Holes; i++ {
			row := n.only(i, -1/n.OnCircleU)
			row[1+i] = 1 / n.OnCircleU
			rows = append(rows, row)
		}
	}
	return rows
}

// only is a row that feels one unknown: 0 is the radius, i hole i's place, and
// the last the diameter.
func (n *network) only(at int, v float64) []float64 {
	row := make([]float64, n.Holes+2)
	row[at] = v
	return row
}

func (n *network) chordRow(at wheel, from, to int) []float64 {
	arc := at.arc(from, to)
	row := n.only(0, 2*math.Sin(arc/2))
	row[from] = -math.Cos(arc / 2)
	row[to] = math.Cos(arc / 2)
	return row
}

func scaled(row []float64, by float64) []float64 {
	for i := range row {
		row[i] *= by
	}
	return row
}

// nullSpace returns, as columns, the directions in which the pattern is not
// held by the rows; nil when there are none.
func (n *network) nullSpace(at wheel, rows [][]float64) *mat.Dense {
	size := n.Holes + 2
	normal := mat.NewSymDense(size, nil)
	for _, r := range rows {
		normal.SymRankOne(normal, 1, mat.NewVecDense(size, r))
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(normal, true) {
		return nil
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	loose := 0
	for _, v := range eigen.Values(nil) { // ascending
		if v > 0 && 1/math.Sqrt(v) <= looseShare*at.radius {
			break
		}
		loose++
	}
	if loose == 0 {
		return nil
	}
	return mat.DenseCopyOf(vectors.Slice(0, size, 0, loose))
}

// mostTelling returns the measurement, not yet made, that feels most of the
// null space.
func (n *network) mostTelling(at wheel, space *mat.Dense) (name string, row []float64) {
	felt := func(r []float64) float64 {
		var along mat.VecDense
		along.MulVec(space.T(), mat.NewVecDense(len(r), r))
		return mat.Norm(&along, 2)
	}
	most := 0.05 // less is no help
	for a := 1; a <= n.Holes; a++ {
		for b := a + 1; b <= n.Holes; b++ {
			if slices.ContainsFunc(n.Between, func(d Distance) bool { return min(d.From, d.To) == a && max(d.From, d.To) == b }) {
				continue
			}
			if r := n.chordRow(at, a, b); felt(r) > 1.01*most {
				name, row, most = fmt.Sprintf("%d-%d", a, b), r, felt(r)
			}
		}
	}
	// A pitch circle is harder to measure than a chord.
	if r := n.only(0, 2); n.PCD == 0 && 0.4*felt(r) > most {
		name, row, most = "the pitch circle's diameter (PCD)", r, 0.4*felt(r)
	}
	if r := n.only(n.Holes+1, 1); n.freeD && n.Diameter == 0 && 1.5*felt(r) > most {
		name, row = "a hole's diameter", r
	}
	if row != nil {
		row = scaled(row, 1/n.DefaultU)
	}
	return name, row
}

// looseHoles says in words what is not held.
func (n *network) looseHoles(at wheel) string {
	rows := append(n.circleRows(at), n.only(0, 1/n.DefaultU), n.only(n.Holes+1, 1/n.DefaultU))
	space := n.nullSpace(at, rows)
	if space == nil {
		if n.freeD && n.Diameter == 0 {
			return "neither the pitch circle nor the diameter of the holes follows from them"
		}
		return "the pitch circle's diameter does not follow from them"
	}
	// Holes that move together in every loose direction are tied to one another.
	group := make([]int, n.Holes+1)
	size := map[int]int{}
	largest := 0
	for a := 1; a <= n.Holes; a++ {
		group[a] = a
		for b := 1; b < a; b++ {
			moves := 0.0
			_, k := space.Dims()
			for c := range k {
				moves = math.Max(moves, math.Abs(space.At(a, c)-space.At(b, c)))
			}
			if moves < 0.05 {
				group[a] = group[b]
				break
			}
		}
		size[group[a]]++
		if largest == 0 || size[group[a]] > size[largest] {
			largest = group[a]
		}
	}
	if size[largest] == 1 && n.Holes > 2 {
		return "they hardly say how the holes lie to one another"
	}
	var names, touching []string
	for a := 1; a <= n.Holes; a++ {
		if group[a] == largest {
			continue
		}
		names = append(names, fmt.Sprint(a))
		for _, d := range n.Between {
			if d.From == a || d.To == a {
				touching = append(touching, d.Name())
			}
		}
	}
	if len(names) > 1 {
		return fmt.Sprintf("holes %s are not tied to the others", strings.Join(names, ", "))
	}
	switch len(touching) {
	case 0:
		return fmt.Sprintf("no distance was measured to hole %s", names[0])
	case 1:
		return fmt.Sprintf("hole %s hangs by one distance, %s, which says too little about where along the circle it is", names[0], touching[0])
	}
	return fmt.Sprintf("the distances to hole %s say too little about where along the circle it is", names[0])
}
