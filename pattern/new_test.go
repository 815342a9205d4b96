package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// keyed is the gearbox's drive end: six holes on 96 mm, one gap wider than
// the others, two with chamfers, a bore a little off and a rim.
func keyed() ([]Ring, Choice) {
	var rings []Ring
	c := Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Circle: true}
	for i, deg := range []float64{80, 140, 200, 260, 320, 25} {
		c.Holes = append(c.Holes, i)
		rings = append(rings, ring(i, r2.Add(r2.Vec{X: 105, Y: 150}, polar(48, deg)), 8.5))
	}
	c.Outer[1] = len(rings)
	rings = append(rings, ring(6, rings[1].Centre, 12))
	c.Bore = len(rings)
	rings = append(rings, ring(7, r2.Vec{X: 105.3, Y: 149.6}, 52))
	c.Rim = len(rings)
	rings = append(rings, ring(8, r2.Vec{X: 105.1, Y: 150}, 120))
	return rings, c
}

func polar(radius, deg float64) r2.Vec {
	return r2.Scale(radius, r2.Vec{X: math.Cos(deg * degree), Y: math.Sin(deg * degree)})
}

// ring is one as a scanner gives it: its own error, and three shared ones
// (scale, difference of the axes, shear).
func ring(id int, c r2.Vec, d float64) Ring {
	const scale, axes, shear = 0.003, 0.001, 0.0005
	return Ring{
		ID: id, Centre: c, Diameter: d,
		CentreCov:      [2][2]float64{{1e-4, 2e-5}, {2e-5, 2e-4}},
		DiameterU:      0.015,
		Shared:         []r2.Vec{r2.Scale(scale, c), {X: axes * c.X, Y: -axes * c.Y}, {X: shear * c.Y, Y: shear * c.X}},
		SharedDiameter: []float64{scale * d, 0, 0},
		CentrePx:       r2.Vec{X: 10 * c.X, Y: 3000 - 10*c.Y},
		RimSeen:        0.9,
	}
}

func TestKeyedPattern(t *testing.T) {
	rings, choice := keyed()
	r := mustNew(t, rings, choice, Options{
		Pixel:    func(mm r2.Vec) r2.Vec { return r2.Vec{X: 10 * mm.X, Y: 3000 - 10*mm.Y} },
		Warnings: []string{"from the source"},
	})
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %.12g, want %.12g", what, got, want)
		}
	}
	near("PCD", r.PitchCircle.Diameter, 96)
	near("PCD's x_px", r.PitchCircle.XPx, 1050)
	near("PCD's y_px", r.PitchCircle.YPx, 1500)
	near("rms", r.PitchCircle.RMS, 0)
	near("turn", *r.TurnDeg, 80)
	for i, want := range []float64{0, 60, 120, 180, 240, 305} {
		near("angle", *r.Holes[i].AngleDeg, want)
		near("x", r.Holes[i].X, 48*math.Cos((80+want)*degree))
		near("y", r.Holes[i].Y, 48*math.Sin((80+want)*degree))
		if r.Holes[i].ID != i+1 {
			t.Errorf("hole %d has the id %d", i+1, r.Holes[i].ID)
		}
	}
	for i, want := range []float64{60, 60, 60, 60, 65, 55} {
		near("gap", *r.Gaps[i].AngleDeg, want)
		near("gap's chord", r.Gaps[i].Chord, 96*math.Sin(want/2*degree))
	}
	near("bore's offset", *r.Bore.Offset, 0.5)
	near("rim's x", r.Rim.X, 0.1)
	near("chamfer", *r.Holes[1].OuterDiameter, 12)
	if r.Holes[0].OuterDiameter != nil {
		t.Error("hole 1 has a chamfer")
	}
	if len(r.Warnings) != 1 {
		t.Errorf("warnings: %q", r.Warnings)
	}
}
