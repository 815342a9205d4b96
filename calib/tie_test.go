package calib

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// disc is a mark with a perfect edge.
func disc(at r2.Vec, radius float64) vision.Mark {
	m := vision.Mark{Centre: at, Radius: radius, RimSeen: 1, Scatter: 0.1}
	for i := range 36 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 18)
		m.Edge = append(m.Edge, r2.Add(at, r2.Vec{X: radius * cos, Y: radius * sin}))
		m.Weight = append(m.Weight, 1)
	}
	return m
}

// A tie inside marks means the centre of the smallest; beside them, the pixel.
func TestTies(t *testing.T) {
	marks := []vision.Mark{disc(r2.Vec{X: 100, Y: 100}, 30), disc(r2.Vec{X: 102, Y: 100}, 60), disc(r2.Vec{X: 300, Y: 100}, 30)}
	faint := disc(r2.Vec{X: 95, Y: 95}, 20)
	faint.RimSeen = 0.3
	marks = append(marks, faint)
	c, err := Ties([]Tie{{Px: r2.Vec{X: 90, Y: 95}, U95: 0.2}, {Px: r2.Vec{X: 331, Y: 100}, MM: r2.Vec{X: 3, Y: 4}}}, marks)
	if err != nil {
		t.Fatal(err)
	}
	if c[0].Mark != &marks[0] || c[0].Px != marks[0].Centre || c[0].SigmaMM != 0.1 {
		t.Errorf("a tie inside two marks: %+v", c[0])
	}
	if c[1].Mark != nil || c[1].Px != (r2.Vec{X: 331, Y: 100}) || c[1].Name != "331,100=3,4" {
		t.Errorf("a tie beside a mark: %+v", c[1])
	}
	// A mark that holds two is neither's, and a ragged one is texture.
	c, err = Ties([]Tie{{Px: r2.Vec{X: 90, Y: 95}}, {Px: r2.Vec{X: 110, Y: 95}}}, marks)
	if err != nil || c[0].Mark != nil || c[1].Mark != nil || c[1].Px != (r2.Vec{X: 110, Y: 95}) {
		t.Errorf("two ties in one mark: %+v, %v", c, err)
	}
	marks[2].Scatter = 0.1 * marks[2].Radius
	if c, err = Ties([]Tie{{Px: r2.Vec{X: 301, Y: 100}}}, marks); err != nil || c[0].Mark != nil {
		t.Errorf("a tie in a ragged mark: %+v, %v", c, err)
	}
	if _, err = Ties(make([]Tie, MaxTies+1), nil); err == nil {
		t.Error("more ties than can be used")
	}
}

// The adjusted plane has the errors it was given, and its Shared is the
// covariance that it was given: both follow from the parameters by another
// way than that of Adjusted.
func TestAdjustedPlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := Scan("dpi", [2]float64{300, 290}, 0.002)
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "mirrored") {
			p = p.Mirrored()
		}
		var z [4]float64
		for i := range z {
			z[i] = rapid.Float64Range(-2, 2).Draw(t, "error")
		}
		z[3] /= 1000
		zoom := rapid.Float64Range(0.5, 2).Draw(t, "zoom")
		shrink := rapid.Float64Range(0.1, 1).Draw(t, "shrink")
		cov := mat.NewSymDense(4, nil)
		for i := range 3 {
			cov.SetSym(i, i, shrink)
		}
		cov.SetSym(0, 1, -0.5*shrink)
		cov.SetSym(3, 3, 1e-8)
		a, err := p.Adjusted("known", zoom, z[:], cov)
		if err != nil {
			t.Fatal(err)
		}
		px := r2.Vec{X: rapid.Float64Range(0, 3000).Draw(t, "x"), Y: rapid.Float64Range(0, 3000).Draw(t, "y")}
		want := p.MM(px)
		for k, s := range p.Shared(px) {
			want = r2.Add(want, r2.Scale(z[k], s))
		}
		want = r2.Scale(zoom*(1+z[3]), want)
		if d := r2.Norm(r2.Sub(a.MM(px), want)); d > 1e-3 { // errors are linear to that
			t.Fatalf("%v is at %v, want %v", px, a.MM(px), want)
		}
		var got, told mat.Dense
		shared := a.Shared(px)
		m := mat.NewDense(2, len(shared), nil)
		for k, s := range shared {
			m.Set(0, k, s.X)
			m.Set(1, k, s.Y)
		}
		got.Mul(m, m.T())
		by := mat.NewDense(2, 4, nil)
		for k, s := range p.Shared(px) {
			by.Set(0, k, zoom*s.X)
			by.Set(1, k, zoom*s.Y)
		}
		by.Set(0, 3, zoom*p.MM(px).X)
		by.Set(1, 3, zoom*p.MM(px).Y)
		told.Product(by, cov, by.T())
		for i := range 2 {
			for j := range 2 {
				if d := math.Abs(got.At(i, j) - told.At(i, j)); d > 0.01*(told.At(0, 0)+told.At(1, 1)) {
					t.Fatalf("covariance %v, want %v", mat.Formatted(&got), mat.Formatted(&told))
				}
			}
		}
	})
	p, _ := Scan("dpi", [2]float64{300, 300}, 0.002)
	for name, err := range map[string]error{
		"too few errors": second(p.Adjusted("", 1, make([]float64, 3), mat.NewSymDense(3, nil))),
		"no zoom":        second(p.Adjusted("", 0, make([]float64, 4), mat.NewSymDense(4, nil))),
		"NaN":            second(p.Adjusted("", math.NaN(), make([]float64, 4), mat.NewSymDense(4, nil))),
	} {
		if err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
}

func second(_ *Plane, err error) error { return err }

// LengthU of a scan is that of an axis; of a plane without errors, none.
func TestLengthU(t *testing.T) {
	p, _ := Scan("dpi", [2]float64{300, 300}, 0.002)
	if u := p.LengthU(r2.Vec{X: 1000, Y: 800}); math.Abs(u-0.002) > 1e-5 {
		t.Errorf("±%g, want 0.002", u)
	}
	exact, _ := Scan("dpi", [2]float64{300, 300}, 0)
	if u := exact.LengthU(r2.Vec{X: 1000, Y: 800}); u != 0 {
		t.Errorf("±%g of an exact scale", u)
	}
	// Known badly in one direction only, wherever that points.
	for i := range 8 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 8)
		d := r2.Vec{X: cos, Y: sin}
		p, err := newPlane("", []string{"stretch"}, []float64{0}, mat.NewSymDense(1, []float64{0.01 * 0.01}), func(e []float64, px r2.Vec) r2.Vec {
			return r2.Add(px, r2.Scale(e[0]*r2.Dot(px, d), d))
		})
		if err != nil {
			t.Fatal(err)
		}
		if u := p.LengthU(r2.Vec{}); math.Abs(u-0.01) > 1e-4 {
			t.Errorf("stretched along %g°: ±%g, want 0.01", 22.5*float64(i), u)
		}
	}
}

// A photograph held 5° askew, seen by a real camera: the freehand
// plane's stated errors of lengths, relative to one that is known, hold about
// 95 % of what tilts drawn for it do.
func TestFreehandAgainstTiltedCameras(t *testing.T) {
	const w, h = 4000, 3000
	p, err := Freehand("", w, h, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	focal := freehandFocal * w
	random := rand.New(rand.NewPCG(4, 2))
	within, n := 0, 0
	for range 400 {
		// A camera 1 high that looks down, turned about x by a and about y by b.
		const held = 5 * math.Pi / 180
		a, b := held*random.NormFloat64(), held*random.NormFloat64()
		face := func(px r2.Vec) r2.Vec {
			x, y, z := (px.X-w/2)/focal, (px.Y-h/2)/focal, 1.0
			y, z = y*math.Cos(a)-z*math.Sin(a), y*math.Sin(a)+z*math.Cos(a)
			x, z = x*math.Cos(b)+z*math.Sin(b), -x*math.Sin(b)+z*math.Cos(b)
			return r2.Vec{X: x / z, Y: -y / z}
		}
		at := func() r2.Vec {
			return r2.Vec{X: w/2 + 1400*(random.Float64()-0.5), Y: h/2 + 1400*(random.Float64()-0.5)}
		}
		one, two, three, four := at(), at(), at(), at()
		truth := func(f func(r2.Vec) r2.Vec) float64 {
			return r2.Norm(r2.Sub(f(one), f(two))) / r2.Norm(r2.Sub(f(three), f(four)))
		}
		got := truth(p.MM)
		u := 0.0
		for k := range p.Params {
			sigma := math.Sqrt(p.Cov.At(k, k))
			moved := append([]float64(nil), p.Params...)
			moved[k] += sigma
			d := truth(func(px r2.Vec) r2.Vec { return p.model(moved, px) }) - got
			u += d * d
		}
		n++
		if math.Abs(got-truth(face)) <= 2*math.Sqrt(u) {
			within++
		}
	}
	t.Logf("%d of %d ratios of lengths within their ±", within, n)
	if share := float64(within) / float64(n); share < 0.93 {
		t.Errorf("%.1f %% of lengths within their ±", 100*share)
	}
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Freehand("", w, h, bad); err == nil {
			t.Errorf("%g mm per px: not refused", bad)
		}
	}
}

// The view from straight above is the picture through one homography: a disc
// drawn as it is seen askew is round in it, and goes back to where it was.
func TestFlatView(t *testing.T) {
	const w, h = 800, 600
	set := ControlSet{WidthPx: w, HighPx: h}
	// A square of 100 mm, its far side shorter.
	for i, px := range []r2.Vec{{X: 150, Y: 500}, {X: 650, Y: 500}, {X: 560, Y: 120}, {X: 240, Y: 120}} {
		set.Controls = append(set.Controls, Control{Px: px, MM: []r2.Vec{{X: -50, Y: -50}, {X: 50, Y: -50}, {X: 50, Y: 50}, {X: -50, Y: 50}}[i]})
	}
	p, _, err := FromControls("test", set)
	if err != nil {
		t.Fatal(err)
	}
	pic := &vision.Picture{Grey: image.NewGray(image.Rect(0, 0, w, h))}
	const radius = 12.0
	centre := r2.Vec{X: 10, Y: 5}
	near, _ := p.Px(centre, r2.Vec{X: w / 2, Y: h / 2})
	for y := range h {
		for x := range w {
			dark := 0
			if r2.Norm(r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, near)) > 90 {
				pic.Grey.Pix[y*pic.Grey.Stride+x] = 200
				continue
			}
			for s := range 16 { // of the pixel
				mm := p.MM(r2.Vec{X: float64(x) + (float64(s%4)+0.5)/4, Y: float64(y) + (float64(s/4)+0.5)/4})
				if r2.Norm(r2.Sub(mm, centre)) < radius {
					dark++
				}
			}
			pic.Grey.Pix[y*pic.Grey.Stride+x] = uint8(200 - 10*dark)
		}
	}
	flat, err := p.Flat(pic, r2.Box{Min: r2.Vec{X: -30, Y: -30}, Max: r2.Vec{X: 40, Y: 40}})
	if err != nil {
		t.Fatal(err)
	}
	seen, _ := p.Px(centre, r2.Vec{X: w / 2, Y: h / 2})
	at, larger := flat.From(seen)
	if back := flat.Point(at); r2.Norm(r2.Sub(back, seen)) > 1e-6 {
		t.Errorf("%v came back as %v", seen, back)
	}
	x, y := p.MMPerPx(seen)
	m, ok := vision.MeasureAt(flat.Picture, at, radius/math.Sqrt(x*y)*larger)
	if !ok {
		t.Fatal("the disc is not round from above")
	}
	c, err := p.Measure(flat.Back(m))
	if err != nil {
		t.Fatal(err)
	}
	if d := r2.Norm(r2.Sub(c.Centre, centre)); d > 0.02 || math.Abs(c.Diameter-2*radius) > 0.05 {
		t.Errorf("the disc is %.4f mm off and %.3f mm wide, want %g", d, c.Diameter, 2*radius)
	}
	if m.Scatter > 0.2 {
		t.Errorf("it scatters by %.2f px", m.Scatter)
	}
	if _, err := p.Flat(pic, r2.Box{Min: r2.Vec{X: 900, Y: 900}, Max: r2.Vec{X: 950, Y: 950}}); err == nil {
		t.Error("a view of what is not in the picture")
	}
}
