package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Lines drawn along some holes' edges, or along all of them where the bore's is
// plain, are told of and make the centres known the less. The dark edge that a rub
// leaves along all of them is none.
func TestChooseWarnsOfPen(t *testing.T) {
	for _, c := range []struct {
		some, others, bore float64 // steepness of the other edge
		drawn              int
	}{
		{0.2, 0.2, 0.2, 0},
		{0.7, 0.15, 0.15, 2},
		{0.7, 0.65, 0.15, 6},
		{0.7, 0.65, 0.6, 0},
		{0.42, 0.28, 0.1, 0},
		{0.35, 0.05, 0.05, 0}, // of lead that lies thicker here
	} {
		f := rub(71)
		f.add("bore", middle, 40).InkSteep = c.bore
		for i := range 6 {
			r := f.add("hole", r2.Add(middle, polar(48, 60*float64(i))), 9)
			r.Ink, r.InkSteep = 0.4, c.others
			if i%3 == 1 {
				r.InkSteep = c.some
			}
		}
		choice := f.choose(t, ChooseOptions{})
		if warned(choice, "drawn along the edge") != (c.drawn > 0) || len(choice.Doubt) != c.drawn {
			t.Errorf("%+v: %d in doubt, warnings %q", c, len(choice.Doubt), choice.Warnings)
		}
		for h, d := range choice.Doubt {
			if f.rings[h].InkSteep < 0.6 || math.Abs(d[0][0]-0.04) > 1e-9 || math.Abs(d[1][1]-0.04) > 1e-9 {
				t.Errorf("%+v: the centre of hole %d is in doubt by %v mm²", c, h, d)
			}
		}
	}
}

// A hole that is filled has edges of its own, and no pen's.
func TestChooseNoPenOfFilledHole(t *testing.T) {
	f := rub(72)
	f.holes(96, 9, 0, 60, 120, 180, 240)
	r := f.add("filled", r2.Add(middle, polar(48, 300)), 9)
	r.Contrast, r.Ink, r.InkSteep = -30, 0.4, 0.8
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 5, "filled")
	if len(c.Warnings)+len(c.Doubt) > 0 {
		t.Errorf("%v, warnings %q", c.Doubt, c.Warnings)
	}
}
