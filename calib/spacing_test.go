package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// points lays n points on a line of a scan (px), from start on.
func spaced(start, along r2.Vec, step float64, n int, noise func() float64) Row {
	var row Row
	for i := range n {
		row.Number = append(row.Number, i)
		row.Px = append(row.Px, r2.Add(start, r2.Scale(step*float64(i)+noise(), along)))
	}
	return row
}

// Points 25 px apart at 254 dpi lie 2.5 mm apart, whichever way they run.
func TestSpacing(t *testing.T) {
	plane, err := Scan("test", [2]float64{254, 254}, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	none := func() float64 { return 0 }
	for _, deg := range []float64{0, 17, 90, 200} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		along := r2.Vec{X: cos, Y: sin}
		across := r2.Vec{X: -sin, Y: cos}
		s, err := plane.Spacing(along, spaced(r2.Vec{X: 500, Y: 500}, along, 25, 9, none), spaced(r2.Add(r2.Vec{X: 512, Y: 512}, r2.Scale(80, across)), along, 25, 7, none))
		if err != nil || math.Abs(s.MM-2.5) > 1e-9 || s.Steps != 8 || s.U > 1e-9 {
			t.Errorf("%g°: %+v, %v", deg, s, err)
		}
		// The plane's axes are each known to 0.2 %; aslant, both count.
		if s.UPlane < 2.5*0.0012 || s.UPlane > 2.5*0.0025 {
			t.Errorf("%g°: scale ±%g", deg, s.UPlane)
		}
		if mm, _ := plane.Across(along, r2.Vec{X: 500, Y: 500}, r2.Add(r2.Vec{X: 500, Y: 500}, r2.Add(r2.Scale(80, across), r2.Scale(33, along)))); math.Abs(mm-8) > 1e-9 {
			t.Errorf("%g°: %g mm across", deg, mm)
		}
		if a := plane.Angle(along, r2.Add(along, across), r2.Vec{X: 500, Y: 500}); math.Abs(a-45) > 1e-6 {
			t.Errorf("%g°: an angle of %g°", deg, a)
		}
	}
	for what, row := range map[string]Row{
		"two points": spaced(r2.Vec{}, r2.Vec{X: 1}, 5, 2, none),
		"no numbers": {Px: make([]r2.Vec, 4)},
		"one number": {Number: []int{1, 1, 1}, Px: make([]r2.Vec, 3)},
	} {
		if s, err := plane.Spacing(r2.Vec{X: 1}, row); err == nil {
			t.Errorf("%s: %+v", what, s)
		}
	}
}

// Where the axes' resolutions differ, lengths and angles are those on the face.
func TestSpacingUnequalAxes(t *testing.T) {
	plane, err := Scan("test", [2]float64{300, 600}, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	row := spaced(r2.Vec{X: 10, Y: 10}, r2.Vec{Y: 1}, 600/25.4, 10, func() float64 { return 0 })
	if s, err := plane.Spacing(r2.Vec{Y: 1}, row); err != nil || math.Abs(s.MM-1) > 1e-9 {
		t.Errorf("%+v, %v", s, err)
	}
	if a := plane.Angle(r2.Vec{X: 1}, r2.Vec{X: 1, Y: 2}, r2.Vec{}); math.Abs(a-45) > 1e-6 {
		t.Errorf("%g°", a)
	}
}

// Stray points are left out, and the stated scatter is that of many draws.
func TestSpacingScatter(t *testing.T) {
	plane, err := Scan("test", [2]float64{254, 254}, 0)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	within, draws := 0, 400
	for range draws {
		row := spaced(r2.Vec{X: 300, Y: 300}, r2.Vec{X: 1}, 20, 20, func() float64 { return 0.2 * rng.NormFloat64() })
		row.Px[7].X += 9
		s, err := plane.Spacing(r2.Vec{X: 1}, row)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.MM-2) <= 2*s.U {
			within++
		}
	}
	if share := float64(within) / float64(draws); share < 0.9 || share > 0.999 {
		t.Errorf("%.1f %% lie within their ±", 100*share)
	}
}

// Turned, shifted and with the rows in the other order it is the same spacing.
func TestSpacingMoves(t *testing.T) {
	plane, err := Scan("test", [2]float64{254, 254}, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		angle := rapid.Float64Range(0, 2*math.Pi).Draw(t, "angle")
		step := rapid.Float64Range(4, 80).Draw(t, "step")
		seed := rapid.Uint64().Draw(t, "seed")
		at := func(angle float64, swap bool) float64 {
			rng := rand.New(rand.NewPCG(seed, 1))
			sin, cos := math.Sincos(angle)
			along := r2.Vec{X: cos, Y: sin}
			a := spaced(r2.Vec{X: 900, Y: 700}, along, step, 8, func() float64 { return 0.05 * step * rng.NormFloat64() })
			b := spaced(r2.Vec{X: 950, Y: 760}, along, step, 9, func() float64 { return 0.05 * step * rng.NormFloat64() })
			if swap {
				a, b = b, a
			}
			s, err := plane.Spacing(along, a, b)
			if err != nil {
				t.Fatal(err)
			}
			return s.MM
		}
		want := at(0, false)
		if got := at(angle, false); math.Abs(got-want) > 1e-6*want {
			t.Fatalf("turned by %g: %g, not %g", angle, got, want)
		}
		if got := at(0, true); math.Abs(got-want) > 1e-6*want {
			t.Fatalf("swapped: %g, not %g", got, want)
		}
	})
}
