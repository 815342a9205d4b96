package pattern

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// keyed is the gearbox's drive end: six holes on 96 mm, one gap wider than
// the others, two with chamfers, a bore a little off and a rim.
func keyed() ([]Ring, Choice) {
	var rings []Ring
	c := Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Mouth: -1, Circle: true}
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

func TestFreePattern(t *testing.T) {
	rings, choice := keyed()
	r := mustNew(t, rings, Choice{Holes: choice.Holes, Bore: choice.Bore, Rim: choice.Rim}, Options{KnownPCD: 96, Zero: 2})
	var sum r2.Vec
	for _, h := range r.Holes {
		sum = r2.Add(sum, r2.Vec{X: h.X, Y: h.Y})
		if h.AngleDeg != nil || h.OnCircle {
			t.Errorf("hole %d has an angle", h.ID)
		}
	}
	if r2.Norm(sum) > 1e-9 {
		t.Errorf("the centroid is at %v", sum)
	}
	if r.Pattern != Free || r.PitchCircle != nil || r.TurnDeg != nil || len(r.Gaps) != 0 || len(r.Chords) != 15 || r.Bore.Offset != nil {
		t.Errorf("free pattern: %+v", r)
	}
	if len(r.Warnings) != 2 {
		t.Errorf("neither the known pitch circle nor the hole at 0° was warned of: %q", r.Warnings)
	}
	one := mustNew(t, rings, Choice{Holes: []int{3}, Bore: -1, Rim: -1}, Options{})
	if one.Holes[0].X != 0 || one.Holes[0].XU95 != 0 || len(one.Chords) != 0 {
		t.Errorf("one hole: %+v", one.Holes[0])
	}
}

// A hole off the circle is reported with the rest, and moves neither the
// circle nor the gaps.
func TestHoleOffTheCircle(t *testing.T) {
	rings, choice := keyed()
	without := mustNew(t, rings, choice, Options{})
	rings = append(rings, ring(9, r2.Add(r2.Vec{X: 105, Y: 150}, polar(30, 100)), 6))
	choice.Holes = append(choice.Holes, 9)
	choice.OffCircle = []int{9}
	with := mustNew(t, rings, choice, Options{})
	a, b := with.PitchCircle, without.PitchCircle
	if math.Abs(a.Diameter-b.Diameter)+math.Abs(a.DiameterU95-b.DiameterU95) > 1e-9 {
		t.Errorf("pitch circle %+v became %+v", b, a)
	}
	h := with.Holes[1]
	if h.OnCircle || math.Abs(*h.AngleDeg-20) > 1e-9 || math.Abs(math.Hypot(h.X, h.Y)-30) > 1e-9 {
		t.Errorf("the dowel is %+v", h)
	}
	if len(with.Gaps) != 6 || with.Gaps[0].To != 3 || len(with.Chords) != 21 {
		t.Errorf("gaps %+v", with.Gaps)
	}

	// In line with hole 1, inside or outside, it follows after it.
	for _, radius := range []float64{30, 70} {
		rings[9].Centre = r2.Add(r2.Vec{X: 105, Y: 150}, polar(radius, 80))
		with = mustNew(t, rings, choice, Options{})
		if !with.Holes[0].OnCircle || with.Holes[1].OnCircle {
			t.Errorf("a hole at the radius %v in line with hole 1 comes before it", radius)
		}
	}

	// At the very centre it has no direction.
	rings[9].Centre = r2.Vec{X: 105.005, Y: 150}
	with = mustNew(t, rings, choice, Options{})
	for _, h := range with.Holes {
		if (h.AngleDeg == nil) == h.OnCircle {
			t.Errorf("hole %d: angle %v", h.ID, h.AngleDeg)
		}
		if h.AngleDeg == nil {
			if _, err := New(rings, choice, Options{Zero: h.ID}); err == nil {
				t.Error("the hole at the centre was made 0°")
			}
		}
	}
}

// Two holes equally near to twelve o'clock: the one to the right is hole 1,
// whatever rounding says.
func TestTieAtTwelve(t *testing.T) {
	for _, shift := range []float64{-1e-12, 0, 1e-12} {
		var rings []Ring
		for i, deg := range []float64{45, 135, 225, 315} {
			rings = append(rings, ring(i, r2.Add(r2.Vec{X: 50 + shift, Y: 70}, polar(40, deg+shift)), 8))
		}
		r := mustNew(t, rings, Choice{Holes: []int{2, 1, 0, 3}, Bore: -1, Rim: -1, Circle: true}, Options{})
		if r.Holes[0].X < 0 || r.Holes[0].Y < 0 {
			t.Errorf("hole 1 is at %v, %v", r.Holes[0].X, r.Holes[0].Y)
		}
	}
}

func TestDiameters(t *testing.T) {
	rings, choice := keyed()
	plain := mustNew(t, rings, choice, Options{})
	biased := mustNew(t, rings, choice, Options{DiameterBiasU: 0.2})
	for i, h := range biased.Holes {
		if want := math.Hypot(plain.Holes[i].DiameterU95, 0.4); math.Abs(h.DiameterU95-want) > 1e-12 {
			t.Errorf("hole %d's diameter ± %v, want %v", h.ID, h.DiameterU95, want)
		}
		if h.XU95 != plain.Holes[i].XU95 {
			t.Errorf("hole %d's centre feels the diameter's bias", h.ID)
		}
	}
	// Own and shared part by hand: 0.015 and 0.3 % of 8.5.
	if want := 2 * math.Hypot(0.015, 0.003*8.5); math.Abs(plain.Holes[0].DiameterU95-want) > 1e-12 {
		t.Errorf("diameter ± %v, want %v", plain.Holes[0].DiameterU95, want)
	}
}

func TestKnownPCD(t *testing.T) {
	rings, choice := keyed()
	opts := Options{KnownPCD: 97, KnownPCDU: 0.1, Scale: Scale{Method: "dpi", MMPerPxX: 0.1, MMPerPxY: 0.2, URel: 0.003}}
	r := mustNew(t, rings, choice, opts)
	if math.Abs(r.PitchCircle.Diameter-97) > 1e-4 || math.Abs(r.PitchCircle.DiameterU95-0.2) > 1e-4 {
		t.Errorf("pitch circle %+v", r.PitchCircle)
	}
	if got, want := r.Holes[0].Diameter, 8.5*97/96; math.Abs(got-want) > 1e-9 {
		t.Errorf("diameter %v, want %v", got, want)
	}
	if r.Scale.Method != "known pitch circle" {
		t.Errorf("scale %+v: that of the source is contradicted", r.Scale)
	}
	if len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "97.000 mm measures 96.000 mm") {
		t.Errorf("97 mm for 96 ± 0.6 mm: %q", r.Warnings)
	}
	// What agrees is joined: the weighted mean of 96 ± 0.3 and 96.3 ± 0.1
	// (standard), as of any two independent measurements.
	opts.KnownPCD = 96.3
	r = mustNew(t, rings, choice, opts)
	plain := mustNew(t, rings, choice, Options{})
	u := plain.PitchCircle.DiameterU95 / 2
	mean := (96/(u*u) + 96.3/0.01) / (1/(u*u) + 1/0.01)
	if len(r.Warnings) != 0 || math.Abs(r.PitchCircle.Diameter-mean) > 1e-6 || math.Abs(r.PitchCircle.DiameterU95-2/math.Sqrt(1/(u*u)+100)) > 1e-6 {
		t.Errorf("96.3 ± 0.2 mm for 96 ± %.2f mm: %+v, %q", 2*u, r.PitchCircle, r.Warnings)
	}
	if r.Scale.Method != "known pitch circle, and dpi" {
		t.Errorf("scale %+v", r.Scale)
	}
}

func TestBadRings(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, spoil := range map[string]func(rings []Ring, c *Choice, o *Options){
		"no holes":               func(_ []Ring, c *Choice, _ *Options) { c.Holes = nil },
		"no such ring":           func(_ []Ring, c *Choice, _ *Options) { c.Holes[2] = 99 },
		"negative ring":          func(_ []Ring, c *Choice, _ *Options) { c.Holes[0] = -1 },
		"ring twice":             func(_ []Ring, c *Choice, _ *Options) { c.Holes[1] = c.Holes[0] },
		"bore is a hole":         func(_ []Ring, c *Choice, _ *Options) { c.Bore = 2 },
		"no such bore":           func(_ []Ring, c *Choice, _ *Options) { c.Bore = 99 },
		"no such chamfer":        func(_ []Ring, c *Choice, _ *Options) { c.Outer[0] = 99 },
		"all off the circle":     func(_ []Ring, c *Choice, _ *Options) { c.OffCircle = c.Holes },
		"NaN centre":             func(r []Ring, _ *Choice, _ *Options) { r[1].Centre.X = nan },
		"infinite centre":        func(r []Ring, _ *Choice, _ *Options) { r[1].Centre.Y = inf },
		"NaN covariance":         func(r []Ring, _ *Choice, _ *Options) { r[1].CentreCov[0][1] = nan },
		"negative variance":      func(r []Ring, _ *Choice, _ *Options) { r[1].CentreCov[0][0] = -1 },
		"impossible correlation": func(r []Ring, _ *Choice, _ *Options) { r[1].CentreCov = [2][2]float64{{1, 2}, {2, 1}} },
		"covariance not symmetric": func(r []Ring, _ *Choice, _ *Options) {
			r[1].CentreCov = [2][2]float64{{1, 0.1}, {0.2, 1}}
		},
		"no diameter":         func(r []Ring, _ *Choice, _ *Options) { r[1].Diameter = 0 },
		"NaN diameter":        func(r []Ring, _ *Choice, _ *Options) { r[1].Diameter = nan },
		"NaN ± of a diameter": func(r []Ring, _ *Choice, _ *Options) { r[1].DiameterU = nan },
		"more than the rim":   func(r []Ring, _ *Choice, _ *Options) { r[1].RimSeen = 1.1 },
		"a term less":         func(r []Ring, _ *Choice, _ *Options) { r[1].Shared = r[1].Shared[:2] },
		"a term less for the diameter": func(r []Ring, _ *Choice, _ *Options) {
			r[0].SharedDiameter = r[0].SharedDiameter[:2]
		},
		"NaN term":              func(r []Ring, _ *Choice, _ *Options) { r[1].Shared[0].X = nan },
		"hole 7 of 6 at 0°":     func(_ []Ring, _ *Choice, o *Options) { o.Zero = 7 },
		"hole -1 at 0°":         func(_ []Ring, _ *Choice, o *Options) { o.Zero = -1 },
		"negative PCD":          func(_ []Ring, _ *Choice, o *Options) { o.KnownPCD = -5 },
		"NaN PCD":               func(_ []Ring, _ *Choice, o *Options) { o.KnownPCD = nan },
		"negative ± of the PCD": func(_ []Ring, _ *Choice, o *Options) { o.KnownPCD, o.KnownPCDU = 96, -1 },
		"infinite bias":         func(_ []Ring, _ *Choice, o *Options) { o.DiameterBiasU = inf },
		"view":                  func(_ []Ring, _ *Choice, o *Options) { o.View = "above" },
		"pixel":                 func(_ []Ring, _ *Choice, o *Options) { o.Pixel = func(r2.Vec) r2.Vec { return r2.Vec{X: nan} } },
	} {
		rings, choice := keyed()
		var opts Options
		spoil(rings, &choice, &opts)
		r, err := New(rings, choice, opts)
		switch {
		case err == nil:
			t.Errorf("%s: a reading with %d holes", name, len(r.Holes))
		case strings.Contains(err.Error(), "\n"):
			t.Errorf("%s: %q", name, err)
		}
	}
	if _, err := New(nil, Choice{Holes: make([]int, MaxHoles+1)}, Options{}); err == nil {
		t.Error("more holes than a reading holds")
	}
}

// No rings and no choice make New panic; what it makes can be written.
func FuzzNew(f *testing.F) {
	f.Add([]byte{0, 0, 0, 0, 0, 0, 89, 64, 0, 0, 0, 0, 0, 0, 89, 192}, uint8(0), uint8(3), true, 0.0)
	f.Add(make([]byte, 300), uint8(6), uint8(0xff), true, 96.0)
	f.Add([]byte("a rubbing of six holes and one bore, measured with a rule and a steady hand, by the light of a lamp"), uint8(2), uint8(5), false, 1e-300)
	f.Fuzz(func(t *testing.T, data []byte, zero, off uint8, onCircle bool, pcd float64) {
		rings, choice := keyed()
		for i := 0; len(data) >= 8; i++ {
			v := math.Float64frombits(binary.LittleEndian.Uint64(data))
			data = data[8:]
			r := &rings[i%len(rings)]
			*[]*float64{&r.Centre.X, &r.Centre.Y, &r.CentreCov[0][0], &r.Diameter, &r.Shared[0].X, &r.CentreCov[1][1], &r.DiameterU}[i/len(rings)%7] = v
		}
		choice.Circle = onCircle
		for i := range 6 {
			if off>>i&1 == 1 {
				choice.OffCircle = append(choice.OffCircle, i)
			}
		}
		r, err := New(rings, choice, Options{Zero: int(zero % 8), KnownPCD: pcd, KnownPCDU: pcd / 1000})
		if err == nil {
			written(t, r)
		}
	})
}
