package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// markSeen is the edge of a circle on the sheet, as the camera sees it.
func (s shot) markSeen(centre r2.Vec, radius, noise float64, random *rand.Rand) vision.Mark {
	var m vision.Mark
	const n = 64
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
		px := s.px(r2.Add(centre, r2.Vec{X: radius * cos, Y: radius * sin}), 0)
		px = r2.Add(px, r2.Vec{X: noise * random.NormFloat64(), Y: noise * random.NormFloat64()})
		m.Edge, m.Weight = append(m.Edge, px), append(m.Weight, 1)
		m.Centre = r2.Add(m.Centre, r2.Scale(1.0/n, px))
	}
	for _, e := range m.Edge {
		m.Radius += r2.Norm(r2.Sub(e, m.Centre)) / n
	}
	m.RimSeen, m.Kind = 1, vision.Darker
	return m
}

// The centre of a circle's image is not the image of its centre (Heikkilä
// 2000): with marks the points are right, with their middles they are not.
func TestControlsOfMarks(t *testing.T) {
	s := phone()
	s.away, s.tilt = 300, 0.6
	random := rand.New(rand.NewPCG(2, 2))
	corners := []r2.Vec{{X: -80, Y: -80}, {X: 80, Y: -80}, {X: 80, Y: 80}, {X: -80, Y: 80}}
	radius := []float64{4, 20, 10, 30} // of different sizes, so that their errors differ
	set := s.set(corners)
	for i := range set.Controls {
		m := s.markSeen(corners[i], radius[i], 0, random)
		set.Controls[i].Mark = &m
		set.Controls[i].Px = m.Centre
	}
	at := r2.Vec{X: 70, Y: -60}
	refined, fit := mustControls(t, set)
	if off := r2.Norm(r2.Sub(refined.MM(s.px(at, 0)), at)); off > 1e-3 {
		t.Errorf("off by %.5f mm with marks", off)
	}
	for i, r := range fit.Residuals {
		if off := r2.Norm(r2.Sub(r.At, s.px(corners[i], 0))); off > 0.01 {
			t.Errorf("the centre of %s is %.4f px off", r.Name, off)
		}
		set.Controls[i].Mark = nil
	}
	plain, _ := mustControls(t, set)
	if off := r2.Norm(r2.Sub(plain.MM(s.px(at, 0)), at)); off < 0.05 {
		t.Errorf("off by only %.5f mm with middles: this shows nothing", off)
	}
}

// A mark's own scatter says how well its centre is known.
func TestControlsOfNoisyMarks(t *testing.T) {
	s := phone()
	random := rand.New(rand.NewPCG(2, 2))
	points := border(160, 200, 40)
	var z2 float64
	const draws = 40
	at := r2.Vec{X: 30, Y: -20}
	for range draws {
		set := s.set(points)
		for i := range set.Controls {
			m := s.markSeen(points[i], 5, 0.4, random)
			set.Controls[i].Mark, set.Controls[i].SigmaPx = &m, 0
		}
		p, _ := mustControls(t, set)
		d := r2.Sub(p.MM(s.px(at, 0)), at)
		var v float64
		for _, e := range p.Shared(s.px(at, 0)) {
			v += r2.Norm2(e)
		}
		z2 += r2.Norm2(d) / v / draws
	}
	if z := math.Sqrt(z2); z < 0.5 || z > 1.3 {
		t.Errorf("spreads by %.2f of what is stated", z)
	}
}

// Points that are wrong are named, each time; few others are; and the plane is
// off by no more than it says. Over draws of the noise, because what one draw
// may do has no limit.
func TestControlsOutliers(t *testing.T) {
	const draws = 100
	points := border(180, 240, 30)
	at := r2.Vec{X: 30, Y: -20}
	blamed, good, z2 := 0, 0, 0.0
	for seed := range uint64(draws) {
		s := phone()
		s.o.k1 = []float64{0, -0.05}[seed%2]
		random := rand.New(rand.NewPCG(seed, 1))
		set := s.set(points)
		wrong := map[string]bool{}
		for i := range set.Controls {
			c := &set.Controls[i]
			c.Px = r2.Add(c.Px, r2.Vec{X: 0.05 * random.NormFloat64(), Y: 0.05 * random.NormFloat64()})
			if i%6 == 0 {
				angle := 2 * math.Pi * random.Float64()
				c.Px = r2.Add(c.Px, r2.Scale(3+30*random.Float64(), r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}))
				wrong[c.Name] = true
			}
		}
		p, fit := mustControls(t, set)
		missed := len(wrong)
		for _, name := range fit.Outliers {
			if wrong[name] {
				missed--
			} else {
				blamed++
			}
		}
		good += len(set.Controls) - len(wrong)
		if missed > 0 {
			t.Errorf("seed %d: left out %v, wrong are %v", seed, fit.Outliers, wrong)
		}
		var v float64
		for _, e := range p.Shared(s.px(at, 0)) {
			v += r2.Norm2(e)
		}
		off := r2.Norm2(r2.Sub(p.MM(s.px(at, 0)), at))
		z2 += off / v / draws
		if off > 25*v {
			t.Errorf("seed %d: off by %.4f mm, %.1f times what is stated", seed, math.Sqrt(off), math.Sqrt(off/v))
		}
	}
	t.Logf("%d of %d good points left out; spreads by %.2f of what is stated", blamed, good, math.Sqrt(z2))
	if float64(blamed) > 0.02*float64(good) {
		t.Errorf("%d of %d good points were left out", blamed, good)
	}
	if z := math.Sqrt(z2); z < 0.4 || z > 1.3 {
		t.Errorf("spreads by %.2f of what is stated", z)
	}
}

// Of six ties the wrong one is told.
func TestControlsOneWrongTie(t *testing.T) {
	s := phone()
	points := []r2.Vec{{X: -90, Y: -120}, {X: 90, Y: -120}, {X: 90, Y: 120}, {X: -90, Y: 120}, {X: 20, Y: 10}, {X: -40, Y: 60}, {X: 30, Y: -70}}
	for n := 6; n <= 7; n++ {
		set := s.set(points[:n])
		set.Controls[4].MM.X += 2
		_, fit := mustControls(t, set)
		if len(fit.Outliers) != 1 || fit.Outliers[0] != "dot 5" {
			t.Errorf("of %d left out %v", n, fit.Outliers)
		}
	}
	set := s.set(points[:5])
	set.Controls[4].MM.X += 2
	p, fit := mustControls(t, set)
	if len(fit.Warnings) == 0 || p.URel < 0.003 {
		t.Errorf("five that contradict one another: %v, scale to %g", fit.Warnings, p.URel)
	}
}

// The camera is where it was, and a sheet above the face is allowed for.
func TestControlsHeight(t *testing.T) {
	s := phone()
	s.o.k1 = -0.05
	set := s.set(border(180, 240, 15))
	set.FocalPx = 3000
	flat, fit := mustControls(t, set)
	if fit.FocalFrom != FocalEXIF || math.Abs(fit.FocalPx-3000) > 100 || fit.FocalURel > 0.03 {
		t.Errorf("focal length %.0f px ± %.1f %% by %s", fit.FocalPx, 200*fit.FocalURel, fit.FocalFrom)
	}
	far := math.Sqrt(fit.Camera[0]*fit.Camera[0] + fit.Camera[1]*fit.Camera[1] + fit.Camera[2]*fit.Camera[2])
	if math.Abs(far-400) > 12 {
		t.Errorf("the camera is %.0f mm away, want 400", far)
	}
	if tilt := math.Acos(math.Cos(s.tilt)*math.Cos(s.turn)) * 180 / math.Pi; math.Abs(fit.TiltDeg-tilt) > 2 {
		t.Errorf("tilt %.1f°, want %.1f°", fit.TiltDeg, tilt)
	}
	for _, above := range []float64{-8, 5} {
		set.AboveMM = above
		p, _ := mustControls(t, set)
		a, b := r2.Vec{X: -35, Y: -20}, r2.Vec{X: 30, Y: 40}
		length := func(p *Plane) float64 { return r2.Norm(r2.Sub(p.MM(s.px(b, -above)), p.MM(s.px(a, -above)))) }
		want := r2.Norm(r2.Sub(b, a))
		if off := length(p) - want; math.Abs(off) > 0.1 {
			t.Errorf("%g mm above: a length is off by %.3f mm", above, off)
		}
		if rel := (want - length(flat)) / want / above; math.Abs(rel/fit.MMPerMMHeight-1) > 0.25 {
			t.Errorf("a millimetre costs %.5f, stated %.5f", rel, fit.MMPerMMHeight)
		}
	}
}

// A sheet that is bent is told, and one that is flat is not; a bend that is
// expected enters the uncertainty.
func TestControlsNotFlat(t *testing.T) {
	s := phone()
	random := rand.New(rand.NewPCG(9, 9))
	points := border(180, 240, 15)
	bent := func(mm float64) (*Plane, ControlFit) {
		set := s.set(points)
		for i := range set.Controls {
			c := &set.Controls[i]
			u := c.MM.X / 90
			c.Px = r2.Add(s.px(c.MM, mm*u*u), r2.Vec{X: 0.05 * random.NormFloat64(), Y: 0.05 * random.NormFloat64()})
		}
		return mustControls(t, set)
	}
	told := 0
	for range 40 {
		if _, fit := bent(0); fit.NotFlat {
			told++
		}
	}
	if told > 1 {
		t.Errorf("a flat sheet is said to be bent in %d of 40", told)
	}
	p, fit := bent(3)
	if !fit.NotFlat || len(fit.Warnings) == 0 || fit.BendMM < 0.3 || fit.BendMM > 3 {
		t.Errorf("bent by 3 mm: %v, %.2f mm rms, %v", fit.NotFlat, fit.BendMM, fit.Warnings)
	}
	at := r2.Vec{X: 30, Y: -20}
	off := r2.Norm(r2.Sub(p.MM(s.px(at, 0)), at))
	var v float64
	for _, e := range p.Shared(s.px(at, 0)) {
		v += r2.Norm2(e)
	}
	if off > 3*math.Sqrt(v) {
		t.Errorf("off by %.3f mm, stated %.3f", off, math.Sqrt(v))
	}
	set := s.set(points)
	exact, _ := mustControls(t, set)
	set.FlatU = 1
	curly, _ := mustControls(t, set)
	if !(curly.URel > 2*exact.URel) {
		t.Errorf("a sheet that may be bent gives the scale to %g, a flat one to %g", curly.URel, exact.URel)
	}
}

// From straight above a bend hardly shows. What a lens leaves there, whose
// middle is not the picture's, is not taken for a bend of centimetres.
func TestControlsFlatFromAbove(t *testing.T) {
	s := phone()
	s.tilt, s.turn = 0, 0
	s.o.cx, s.o.cy, s.o.k1 = s.o.cx+40, s.o.cy-30, -0.04
	random := rand.New(rand.NewPCG(6, 6))
	for range 20 {
		set := s.set(border(180, 240, 15))
		for i := range set.Controls {
			c := &set.Controls[i]
			c.Px = r2.Add(c.Px, r2.Vec{X: 0.03 * random.NormFloat64(), Y: 0.03 * random.NormFloat64()})
		}
		p, fit := mustControls(t, set)
		if p.URel > 0.01 || fit.BendMM > 4 {
			t.Errorf("lengths are known to %.1f %%, bent by %.1f mm", 200*p.URel, fit.BendMM)
		}
	}
}

// Beyond the horizon there is no place on the sheet.
func TestControlsHorizon(t *testing.T) {
	s := phone()
	s.tilt = 0.9
	p, _ := mustControls(t, s.set([]r2.Vec{{X: -40, Y: -40}, {X: 40, Y: -40}, {X: 40, Y: 40}, {X: -40, Y: 40}}))
	// Where the plane is seen from its side is tan(90° − 0.9) focal lengths up.
	if p.Sees(r2.Vec{X: 2000, Y: 1500 - 4500}) && p.Sees(r2.Vec{X: 2000, Y: 1500 + 4500}) {
		t.Error("the sky has millimetres")
	}
	if !p.Sees(r2.Vec{X: 2000, Y: 1500}) {
		t.Error("the middle has none")
	}
	if _, err := p.Measure(markOf(r2.Vec{X: 2000, Y: -6000}, 50, 48, exactly)); err == nil {
		if _, err := p.Measure(markOf(r2.Vec{X: 2000, Y: 9000}, 50, 48, exactly)); err == nil {
			t.Error("a mark in the sky is measured")
		}
	}
}

// Turning the picture or exchanging the points' order changes nothing.
func TestControlsMoveWithTheInput(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := phone()
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		set := s.set(border(180, 240, 60))
		for i := range set.Controls {
			c := &set.Controls[i]
			c.Px = r2.Add(c.Px, r2.Vec{X: 0.05 * random.NormFloat64(), Y: 0.05 * random.NormFloat64()})
		}
		at := s.px(r2.Vec{X: 20, Y: 30}, 0)
		p, _ := mustControls(t, set)
		want := p.MM(at)

		moved := set
		moved.Controls = append([]Control(nil), set.Controls...)
		random.Shuffle(len(moved.Controls), func(i, j int) { moved.Controls[i], moved.Controls[j] = moved.Controls[j], moved.Controls[i] })
		moved.WidthPx, moved.HighPx = set.HighPx, set.WidthPx
		turn := func(px r2.Vec) r2.Vec { return r2.Vec{X: float64(set.HighPx) - px.Y, Y: px.X} }
		for i := range moved.Controls {
			moved.Controls[i].Px = turn(moved.Controls[i].Px)
			moved.Controls[i].MM = r2.Add(moved.Controls[i].MM, r2.Vec{X: 1000, Y: -500})
		}
		q, _ := mustControls(t, moved)
		got := r2.Sub(q.MM(turn(at)), r2.Vec{X: 1000, Y: -500})
		if r2.Norm(r2.Sub(got, want)) > 0.005 || math.Abs(p.URel-q.URel) > 0.2*p.URel {
			t.Fatalf("%v and %v, scale to %g and %g", want, got, p.URel, q.URel)
		}
	})
}

// Whatever the points, it ends in a plane of numbers or in one error.
func TestControlsAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		wild := rapid.OneOf(rapid.Float64Range(-2000, 2000), rapid.Float64Range(-3, 3), rapid.SampledFrom([]float64{0, 1, 1e9, -1e200, math.NaN(), math.Inf(1)}))
		if rapid.Bool().Draw(t, "tame") {
			wild = rapid.Float64Range(0, 3000)
		}
		set := ControlSet{WidthPx: rapid.IntRange(0, 4000).Draw(t, "w"), HighPx: rapid.IntRange(0, 4000).Draw(t, "h"), Scan: rapid.Bool().Draw(t, "scan")}
		if set.Scan && rapid.IntRange(0, 3).Draw(t, "high") > 0 {
			set.Scan = false
		}
		set.AboveMM, set.FlatU = rapid.SampledFrom([]float64{0, 5, -500}).Draw(t, "above"), rapid.SampledFrom([]float64{0, 1}).Draw(t, "flat")
		for i := range rapid.IntRange(0, 14).Draw(t, "n") {
			c := Control{Name: fmt.Sprint("tie ", i), Px: r2.Vec{X: wild.Draw(t, "px"), Y: wild.Draw(t, "py")}, MM: r2.Vec{X: wild.Draw(t, "mx"), Y: wild.Draw(t, "my")}}
			if rapid.IntRange(0, 4).Draw(t, "mark") == 0 {
				m := markOf(c.Px, rapid.Float64Range(-1, 50).Draw(t, "radius"), rapid.IntRange(0, 20).Draw(t, "edge"), exactly)
				c.Mark = &m
			}
			set.Controls = append(set.Controls, c)
		}
		p, fit, err := FromControls("any", set)
		if err != nil {
			return
		}
		for _, c := range set.Controls {
			if mm := p.MM(c.Px); p.Sees(c.Px) && math.IsInf(mm.X+mm.Y, 0) {
				t.Fatalf("%v is at %v", c.Px, mm)
			}
		}
		for _, v := range []float64{p.URel, fit.RMSPx, fit.RMSMM, fit.TiltDeg, fit.Factor, fit.K1} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", fit)
			}
		}
	})
}

// The bends that a sheet may have are together as large as FlatU says: drawn
// so, lengths spread as stated (JCGM 101), where the points show them clearly
// and where they are hardly to be told from the points' own errors.
func TestControlsFlatness(t *testing.T) {
	s := phone()
	random := rand.New(rand.NewPCG(4, 4))
	points := border(180, 240, 20)
	a, b := r2.Vec{X: -35, Y: -20}, r2.Vec{X: 30, Y: 40}
	along := r2.Unit(r2.Sub(b, a))
	length := func(p *Plane) float64 { return r2.Norm(r2.Sub(p.MM(s.px(b, 0)), p.MM(s.px(a, 0)))) }
	statedBy := func(p *Plane) (v float64) { // by the bends, and by the points' errors
		sa, sb := p.Shared(s.px(a, 0)), p.Shared(s.px(b, 0))
		others := []string{PrintScale, UnequalAxes, HeightOffset, FocalLength}
		for k, name := range p.Names {
			if !slices.Contains(others, name) {
				v += math.Pow(r2.Dot(along, r2.Sub(sb[k], sa[k])), 2)
			}
		}
		return v
	}

	// The same shapes, written here again; the border's middle is at the origin.
	_, size := extent(points)
	shapes := []func(r2.Vec) float64{
		func(q r2.Vec) float64 { return q.X*q.X/size/size - 1 },
		func(q r2.Vec) float64 { return q.Y*q.Y/size/size - 1 },
		func(q r2.Vec) float64 { return q.X * q.Y },
	}
	for _, c := range []struct{ flatU, noisePx float64 }{{0.5, 0}, {0.25, 0.5}} {
		const draws = 200
		real, stated, height := 0.0, 0.0, 0.0
		for range draws {
			z := make([]float64, len(points))
			for _, shape := range shapes {
				rms := 0.0
				for _, q := range points {
					rms += shape(q) * shape(q) / float64(len(points))
				}
				amount := c.flatU / math.Sqrt(3) * random.NormFloat64() / math.Sqrt(rms)
				for i, q := range points {
					z[i] += amount * shape(q)
				}
			}
			bent := s.set(points)
			bent.FlatU = c.flatU
			for i := range bent.Controls {
				bent.Controls[i].Px = r2.Add(s.px(points[i], z[i]), r2.Vec{X: c.noisePx * random.NormFloat64(), Y: c.noisePx * random.NormFloat64()})
				height += z[i] * z[i] / float64(draws*len(points))
			}
			q, _ := mustControls(t, bent)
			d := length(q) - r2.Norm(r2.Sub(b, a))
			real += d * d / draws
			stated += statedBy(q) / draws // each sheet's own: its points tell of its bend
		}
		t.Logf("off flat by %.3f mm rms, points by %.1f px; a length spreads by %.4f mm, stated %.4f", math.Sqrt(height), c.noisePx, math.Sqrt(real), math.Sqrt(stated))
		// A fit may take a part of some bends for the lens.
		if ratio := math.Sqrt(real / stated); ratio < 0.8 || ratio > 1.3 {
			t.Errorf("a length spreads by %.4f mm, stated %.4f", math.Sqrt(real), math.Sqrt(stated))
		}
	}
}

// What lies below the face is seen aside by about the slant, by the camera's own
// geometry.
func TestAside(t *testing.T) {
	for _, tilt := range []float64{0.1, 0.3, 0.6, 0.8} {
		s := phone()
		s.tilt, s.turn = tilt, 0.1
		p, _ := mustControls(t, s.set(border(180, 240, 30)))
		for _, at := range []r2.Vec{{}, {X: 40, Y: -30}, {X: -40, Y: 50}} {
			const below = 0.1
			want := r2.Scale(1/below, r2.Sub(p.MM(s.px(at, -below)), at))
			got := p.Aside(s.px(at, 0))
			if r2.Norm(r2.Sub(got, want)) > 0.01 {
				t.Errorf("tilt %.1f, at %v: %.3f, want %.3f", tilt, at, got, want)
			}
			// Along a body's axis and across it the slant is shared out.
			for _, axis := range []r2.Vec{{X: 1}, {X: 0.6, Y: 0.8}} {
				px := s.px(at, 0)
				on := r2.Unit(r2.Sub(p.MM(r2.Add(px, axis)), p.MM(px)))
				along, across := p.Leans(axis, px)
				if math.Abs(math.Hypot(along, across)-r2.Norm(got)) > 1e-9 || math.Abs(along-math.Abs(r2.Dot(on, got))) > 2e-3 {
					t.Errorf("tilt %.1f, at %v, axis %v: leans by %.3f along and %.3f across", tilt, at, axis, along, across)
				}
			}
			// From behind, left is right.
			if m := p.Mirrored().Aside(s.px(at, 0)); math.Abs(m.X+got.X) > 1e-9 || math.Abs(m.Y-got.Y) > 1e-9 {
				t.Errorf("tilt %.1f, at %v: mirrored %.3f of %.3f", tilt, at, m, got)
			}
		}
	}
}
