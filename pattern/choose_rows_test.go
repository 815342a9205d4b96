package pattern

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Lines and grids get no pitch circle, though some of their holes share one;
// circles keep theirs, though some of their holes stand in line.
func TestRowsAreNoCircles(t *testing.T) {
	grid := func(cols, rows int, dx, dy float64, leave ...int) (p []r2.Vec) {
		for k := range cols * rows {
			empty := false
			for _, l := range leave {
				empty = empty || l == k
			}
			if !empty {
				p = append(p, r2.Vec{X: dx * float64(k%cols), Y: dy * float64(k/cols)})
			}
		}
		return p
	}
	ringOf := func(pcd float64, directions ...float64) (p []r2.Vec) {
		for _, d := range directions {
			p = append(p, polar(pcd/2, d))
		}
		return p
	}
	bent := grid(5, 1, 20, 0)
	for i := range bent {
		bent[i].Y = 0.1 * float64((i-2)*(i-2))
	}
	for _, c := range []struct {
		name   string
		holes  []r2.Vec
		circle bool
		layout Layout
	}{
		{"grid of 3 by 2", grid(3, 2, 30, 40), false, OnGrid},
		{"grid of 3 by 3", grid(3, 3, 30, 30), false, OnGrid},
		{"grid of 4 by 2", grid(4, 2, 25, 40), false, OnGrid},
		{"frame of 3 by 3 without its middle", grid(3, 3, 30, 40, 4), false, OnGrid},
		{"line of 4", grid(4, 1, 25, 0), false, OnLine},
		{"line of 7", grid(7, 1, 15, 0), false, OnLine},
		{"line, a little bent", bent, false, NoLayout},
		{"four corners", grid(2, 2, 40, 30), true, Interleaved},
		{"five", ringOf(96, 90, 162, 234, 306, 18), true, EvenSpaces},
		{"six", ringOf(96, 90, 150, 210, 270, 330, 30), true, EvenSpaces},
		{"eight", ringOf(96, 0, 45, 90, 135, 180, 225, 270, 315), true, EvenSpaces},
		{"twelve", ringOf(120, 0, 30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330), true, EvenSpaces},
		{"six, and one in the middle", append(ringOf(96, 90, 150, 210, 270, 330, 30), r2.Vec{X: 8, Y: 11}), true, EvenSpaces},
		{"two rings", append(ringOf(96, 90, 150, 210, 270, 330, 30), ringOf(60, 0, 90, 180, 270)...), true, EvenSpaces},
	} {
		for seed := range uint64(5) {
			f := rub(seed)
			f.noise(6)
			turn := 37 * float64(seed)
			for i, p := range c.holes {
				jitter := r2.Vec{X: 0.02 * f.random.NormFloat64(), Y: 0.02 * f.random.NormFloat64()}
				f.add(fmt.Sprintf("hole %d", i), r2.Add(r2.Add(middle, r2.Rotate(p, turn*degree, r2.Vec{})), jitter), 8)
			}
			choice := f.choose(t, ChooseOptions{})
			if choice.Circle != c.circle || len(choice.Holes) != len(c.holes) {
				t.Errorf("%s, turned by %g°: circle is %v, %d holes of %d: %v", c.name, turn, choice.Circle, len(choice.Holes), len(c.holes), f.namesOf(choice.Holes))
				continue
			}
			r := mustNew(t, f.rings, choice, Options{})
			if r.Verdict.Layout != c.layout {
				t.Errorf("%s, turned by %g°: %s: %s", c.name, turn, r.Verdict.Layout, r.Verdict.Text)
			}
		}
	}
}
