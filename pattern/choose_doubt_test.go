package pattern

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

func warned(c Choice, word string) bool {
	return slices.ContainsFunc(c.Warnings, func(w string) bool { return strings.Contains(w, word) })
}

// A hole pressed full of lead is darker than the metal. Of the others' size
// and on their circle it is one of them; off it, it is a blot.
func TestChooseFilledHole(t *testing.T) {
	for _, radius := range []float64{48, 43} {
		f := rub(21)
		f.holes(96, 9, 0, 60, 120, 180, 240)
		f.add("filled", r2.Add(middle, polar(radius, 300)), 9).Contrast = -30
		c := f.choose(t, ChooseOptions{})
		if radius == 48 {
			f.wantHoles(t, c, 5, "filled")
		} else {
			f.wantHoles(t, c, 5)
		}
	}
}

// Clear holes on no circle are not given up for faint rings that happen to
// share one.
func TestChooseClearBesideFaint(t *testing.T) {
	f := rub(22)
	for i := range 4 {
		r := f.add("clear", r2.Add(middle, r2.Vec{X: 30 * float64(i)}), 9)
		r.Score, r.Contrast = 69, 20
	}
	for _, deg := range []float64{10, 80, 150, 220, 290} {
		f.add("faint", r2.Add(middle, polar(60, deg)), 9).Contrast = 0.3
	}
	c := f.choose(t, ChooseOptions{})
	if got := f.namesOf(c.Holes); c.Circle || !slices.Equal(got, []string{"clear", "clear", "clear", "clear"}) {
		t.Errorf("circle %v, holes %v\n%s", c.Circle, got, f.explain(c))
	}
}

// However many rings of mere texture share a circle, it is none: neither
// ragged pieces of rim, however strong, nor round ones as weak as chance, which
// are of any size.
func TestChooseNotFromTexture(t *testing.T) {
	for name, spoil := range map[string]func(*Ring, float64){
		"ragged": func(r *Ring, _ float64) { r.Score, r.RimSeen, r.Scatter = 12, 0.6, 0.15 },
		"weak":   func(r *Ring, k float64) { r.Score, r.RimSeen, r.Scatter = 6.5, 1, 0.05; r.Diameter *= k },
	} {
		f := rub(23)
		for i := range 24 {
			spoil(f.add("chance", r2.Add(middle, polar(48, 15*float64(i))), 8), 0.85+0.3*math.Mod(0.618*float64(i), 1))
		}
		if c, err := Choose(f.rings, ChooseOptions{}); !errors.Is(err, ErrNoPattern) {
			t.Errorf("%s: %v, holes %v", name, err, f.namesOf(c.Holes))
		}
	}
}

// Rings as weak as chance are holes where five are of one size on one circle,
// and no holes where four are.
func TestChooseWeakOfOneSize(t *testing.T) {
	for n := 3; n < 8; n++ {
		f := rub(29)
		for i := range n {
			r := f.add("weak", r2.Add(middle, polar(48, 50*float64(i))), 8)
			r.Score, r.RimSeen, r.Scatter = 6.5, 0.8, 0.05
		}
		c, err := Choose(f.rings, ChooseOptions{})
		if n < 5 {
			if !errors.Is(err, ErrNoPattern) {
				t.Errorf("%d: %v, holes %v", n, err, f.namesOf(c.Holes))
			}
		} else if err != nil || len(c.Holes) != n || !c.Circle {
			t.Errorf("%d: %v, holes %v", n, err, f.namesOf(c.Holes))
		}
	}
}

// Holes that leave a little metal between them are all holes.
func TestChooseHolesCloseTogether(t *testing.T) {
	f := rub(24)
	f.holes(96, 9, 0, 12, 90, 102, 180, 192, 270, 282) // 10.03 mm apart
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 8)
}

// What cannot be told from the marks is said.
func TestChooseWarnsOfDoubt(t *testing.T) {
	f := rub(25)
	f.holes(96, 9, 0, 90, 180)
	f.add("off", r2.Add(middle, polar(44, 270)), 9)
	if c := f.choose(t, ChooseOptions{}); !warned(c, "which") {
		t.Errorf("three on a circle and one off: warnings %q", c.Warnings)
	}
	g := rub(26)
	g.holes(96, 9, even6...)
	if c := g.choose(t, ChooseOptions{}); len(c.Warnings) > 0 {
		t.Errorf("six round holes: warnings %q", c.Warnings)
	}
	for i := range g.rings {
		g.rings[i].Scatter = 0.22
	}
	if c := g.choose(t, ChooseOptions{}); !warned(c, "round") {
		t.Errorf("ragged marks: warnings %q", c.Warnings)
	}
	if _, err := Choose(g.rings, ChooseOptions{PCD: 960}); !errors.Is(err, ErrNoPattern) {
		t.Errorf("a pitch circle of 960 mm that is not there: %v", err)
	}
}

// A hole of the right size in the right place is taken though strokes may look like
// it, and the person is told to look; one that is merely pale is not told of.
func TestChooseWarnsOfFaintHole(t *testing.T) {
	for _, ragged := range []bool{true, false} {
		f := rub(30)
		f.holes(96, 9, even6...)
		r := &f.rings[5]
		r.Contrast, r.Score = 20, 8
		if ragged {
			r.RimSeen, r.Scatter = 0.6, 0.19
		}
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6)
		if warned(c, "strokes") != ragged {
			t.Errorf("ragged %v: warnings %q", ragged, c.Warnings)
		}
	}
}

// Two holes of one size side by side, each seen by half, may be a slot; where the
// others are seen no better they are as good as these.
func TestChooseWarnsOfSlot(t *testing.T) {
	for _, seen := range []struct{ pair, others float64 }{{0.65, 0.95}, {0.95, 0.95}, {0.65, 0.7}} {
		f := rub(31)
		f.holes(96, 9, 0, 90, 180, 270, 40, 52)
		for i := range f.rings {
			f.rings[i].RimSeen = seen.others
		}
		f.rings[4].RimSeen, f.rings[5].RimSeen = seen.pair, seen.pair
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6)
		if slot := seen.pair < 0.7 && seen.others > 0.9; warned(c, "slot") != slot {
			t.Errorf("%+v: warnings %q", seen, c.Warnings)
		}
	}
}
