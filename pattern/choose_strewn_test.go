package pattern

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// strewn puts n holes anywhere on a face of 140 × 140 mm.
func (f *rubbed) strewn(n int, diameter float64) {
	for i := 0; i < n; {
		at := r2.Add(middle, r2.Vec{X: 140 * (f.random.Float64() - 0.5), Y: 140 * (f.random.Float64() - 0.5)})
		clear := true
		for _, r := range f.rings {
			clear = clear && r2.Norm(r2.Sub(r.Centre, at)) > 1.5*diameter
		}
		if clear {
			f.add(fmt.Sprintf("strewn %d", i), at, diameter)
			i++
		}
	}
}

// Holes of one drill round an uneven outline, or the letters of a page: some of
// them always share some circle, which nobody set them out on.
func TestStrewnMarksAreNoCircle(t *testing.T) {
	circles := 0
	for seed := range uint64(40) {
		f := rub(seed)
		n := 10 + int(seed)
		f.strewn(n, 3)
		c := f.choose(t, ChooseOptions{})
		if c.Circle {
			circles++
			continue
		}
		if len(c.Holes) != n || c.Bore >= 0 || c.Rim >= 0 {
			t.Errorf("seed %d: %d of %d holes", seed, len(c.Holes), n)
		}
		if !strings.Contains(strings.Join(c.Warnings, "\n"), "share no pitch circle") {
			t.Errorf("seed %d: %q", seed, c.Warnings)
		}
	}
	if circles > 4 {
		t.Errorf("%d of 40 strewn faces were given a pitch circle", circles)
	}
}

// A pattern among as many strewn holes of its size stands.
func TestCircleAmongStrewnMarks(t *testing.T) {
	for seed := range uint64(20) {
		f := rub(seed)
		f.holes(100, 9, 10, 70, 130, 190, 250, 310)
		f.strewn(5, 9)
		c := f.choose(t, ChooseOptions{})
		if !c.Circle {
			t.Errorf("seed %d: %s", seed, f.explain(c))
		}
	}
	// With its bore, so does one that few of them lie on.
	for seed := range uint64(20) {
		f := rub(seed)
		f.holes(60, 6, 10, 70, 190, 310)
		f.add("bore", middle, 30)
		f.strewn(0, 6)
		for k := range 10 {
			f.add("strewn", r2.Add(middle, polar(52+float64(k%3)*6, 36*float64(k))), 6)
		}
		if c := f.choose(t, ChooseOptions{}); !c.Circle || c.Bore < 0 {
			t.Errorf("seed %d: %s", seed, f.explain(c))
		}
	}
	// What a person says of the pattern stands.
	f := rub(1)
	f.holes(100, 9, 10, 70, 190, 310)
	f.strewn(12, 9)
	if c := f.choose(t, ChooseOptions{PCD: 100}); !c.Circle {
		t.Error("a known pitch circle was not taken")
	}
}

// byChance against the count of such circles among marks that are strewn.
func TestByChance(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	const n, side, radius, off, draws = 12, 200.0, 40.0, 1.0, 200_000
	// A fixed circle's share of the place is what the expectation is made of.
	within := 0
	for range draws {
		d := math.Hypot(side*(random.Float64()-0.5), side*(random.Float64()-0.5))
		if math.Abs(d-radius) < off {
			within++
		}
	}
	near := float64(within) / draws
	f := rub(1)
	for _, corner := range []r2.Vec{{X: 0, Y: 0}, {X: side, Y: 0}, {X: 0, Y: side}, {X: side, Y: side}} {
		f.add("corner", corner, 4)
	}
	s := supposed{members: []int{4, 5, 6, 7, 8}}
	s.Centre, s.Radius = r2.Vec{X: side / 2, Y: side / 2}, radius
	for k := range 8 {
		out := radius
		if k == 0 {
			out += off
		}
		f.add("mark", r2.Add(s.Centre, polar(out, float64(45*k))), 4)
	}
	c := &chooser{rings: f.rings}
	var all []int
	for i := range f.rings {
		all = append(all, i)
	}
	// 220 threes, of the other nine 36 pairs.
	want := 220 * 36 * near * near
	if got := c.byChance(s, all); math.Abs(got-want) > 0.03*want {
		t.Errorf("%d marks: %g circles, want %g", n, got, want)
	}
}
