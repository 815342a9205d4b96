package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Where the paper is torn in a hole the scanner's lid shows, darker than lead, to a
// ragged edge that lies within the hole's. On the pitch circle it is a hole, whose
// place is known the less; off the circle, no darker than lead or larger than the
// holes it is a blot.
func TestChooseTornHole(t *testing.T) {
	for _, c := range []struct {
		name     string
		pcd      float64
		diameter float64
		contrast float64
		hole     bool
	}{
		{"torn", 96, 8.2, -60, true},
		{"off the circle", 88, 8.2, -60, false},
		{"no darker than lead", 96, 8.2, -20, false},
		{"larger than the holes", 96, 10.2, -60, false},
		{"much smaller than the holes", 96, 6.5, -60, false},
	} {
		f := rub(71)
		f.holes(96, 9, 0, 60, 120, 180, 240)
		r := f.add("hole 5", r2.Add(middle, polar(c.pcd/2, 300)), c.diameter)
		r.Contrast, r.Scatter, r.RimSeen = c.contrast, 0.2, 0.85
		n := 5
		if c.hole {
			n = 6
		}
		choice := f.choose(t, ChooseOptions{})
		f.wantHoles(t, choice, n)
		if warned(choice, "torn in 1 hole") != c.hole {
			t.Errorf("%s: warnings %q", c.name, choice.Warnings)
		}
		if !c.hole {
			continue
		}
		reading := mustNew(t, f.rings, choice, Options{})
		for _, h := range reading.Holes {
			if torn := h.Diameter < 8.5; torn != (math.Hypot(h.XU95, h.YU95) > 0.4) {
				t.Errorf("%s: hole %d of %.1f mm is known to ±%.2f, ±%.2f mm", c.name, h.ID, h.Diameter, h.XU95, h.YU95)
			}
		}
	}
}

// Half of a torn hole and the texture beside it look like a faint hole; the torn edge
// is the clearer, and the hole.
func TestChooseTornHoleBesideFaint(t *testing.T) {
	f := rub(73)
	f.holes(96, 9, 0, 60, 120, 180, 240)
	torn := f.add("hole 5", r2.Add(middle, polar(48, 300)), 8.4)
	torn.Contrast, torn.Scatter, torn.RimSeen = -60, 0.12, 0.85
	faint := f.add("faint", r2.Add(middle, polar(48, 309)), 9)
	faint.Contrast, faint.Scatter, faint.RimSeen, faint.Score = 8, 0.19, 0.8, 12
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 6)
}

// Where most holes are torn out, the paler one that is left is one of them, though
// paper is less far from lead in shade than what is behind it.
func TestChooseWholeHoleBesideTorn(t *testing.T) {
	f := rub(72)
	f.holes(96, 9, 0, 90, 180, 270)
	for i := range 3 {
		f.rings[i].Contrast = -45
	}
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 4)
}
