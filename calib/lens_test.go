package calib

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// gridViews are shots of a grid from all sides.
func gridViews(s shot, n int, random *rand.Rand, noise float64) []LensView {
	var points []r2.Vec
	for x := range 7 {
		for y := range 5 {
			points = append(points, r2.Vec{X: 30 * float64(x-3), Y: 30 * float64(y-2)})
		}
	}
	var views []LensView
	for i := range n {
		s.tilt = 0.5 * math.Sin(float64(2*i))
		s.turn = 0.5 * math.Cos(float64(3*i))
		s.roll = float64(i)
		s.away = 300 + 20*float64(i%3)
		set := s.set(points)
		for k := range set.Controls {
			c := &set.Controls[k]
			c.Px = r2.Add(c.Px, r2.Vec{X: noise * random.NormFloat64(), Y: noise * random.NormFloat64()})
		}
		views = append(views, LensView{Name: fmt.Sprintf("view %d", i+1), Controls: set.Controls})
	}
	return views
}

func bentLens() shot {
	s := phone()
	s.o = optics{fx: 3100, fy: 3100, cx: 2030, cy: 1480, k1: -0.12, k2: 0.05}
	return s
}

func TestFitLensExact(t *testing.T) {
	s := bentLens()
	l, fit, err := FitLens(gridViews(s, 8, rand.New(rand.NewPCG(1, 1)), 0), s.w, s.h, LensModel{})
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{s.o.fx, s.o.fy, s.o.cx, s.o.cy, s.o.k1, s.o.k2, 0, 0, 0}
	for i, v := range l.params() {
		if math.Abs(v-want[i]) > 1e-4*math.Max(1, math.Abs(want[i]))*0.1 {
			t.Errorf("%s = %g, want %g", lensKeys[i], v, want[i])
		}
	}
	if fit.RMSPx > 1e-3 || len(fit.Views) != 8 {
		t.Errorf("%+v", fit)
	}
}

// The stated covariance is how drawn errors spread the fit, and some wrong
// points do not move it.
func TestFitLensAgainstMonteCarlo(t *testing.T) {
	s := bentLens()
	want := []float64{s.o.fx, s.o.fy, s.o.cx, s.o.cy, s.o.k1, s.o.k2}
	random := rand.New(rand.NewPCG(3, 1))
	const draws = 12
	var z2 float64
	for range draws {
		views := gridViews(s, 6, random, 0.2)
		views[2].Controls[5].Px.X += 8
		l, fit, err := FitLens(views, s.w, s.h, LensModel{})
		if err != nil {
			t.Fatal(err)
		}
		if fit.RMSPx < 0.2 || fit.RMSPx > 0.35 {
			t.Errorf("rms %g px of points that are off by 0.28", fit.RMSPx)
		}
		for i := range want {
			d := l.params()[i] - want[i]
			z2 += d * d / l.Cov.At(i, i) / float64(draws*len(want))
		}
	}
	// Six correlated numbers of twelve draws.
	if z := math.Sqrt(z2); z < 0.6 || z > 1.4 {
		t.Errorf("the lens spreads by %.2f of what is stated", z)
	}
}

func TestFitLensRefuses(t *testing.T) {
	s := bentLens()
	random := rand.New(rand.NewPCG(3, 1))
	views := gridViews(s, 4, random, 0.1)
	flat := gridViews(s, 1, random, 0.1)
	s.tilt, s.turn = 0, 0
	upright := s.set(border(180, 120, 30))
	for _, c := range []struct {
		what, want string
		views      []LensView
	}{
		{"none", "3 pictures or more", nil},
		{"two", "3 pictures or more", views[:2]},
		{"one view thrice, straight on", "the focal length", []LensView{{"a", upright.Controls}, {"b", upright.Controls}, {"c", upright.Controls}}},
		{"a view without points", "b: a photograph needs four", []LensView{views[0], {Name: "b"}, flat[0]}},
	} {
		_, _, err := FitLens(c.views, s.w, s.h, LensModel{})
		if err == nil || !(strings.Contains(err.Error(), c.want) || c.want == "the focal length" && strings.Contains(err.Error(), "determine a lens")) {
			t.Errorf("%s: %v", c.what, err)
		}
	}
}

// A photograph measured with the profile is right where without it, from four
// corners, it is not; and the stated uncertainty says which is which.
func TestControlsWithLens(t *testing.T) {
	s := bentLens()
	l, _, err := FitLens(gridViews(s, 8, rand.New(rand.NewPCG(1, 1)), 0.05), s.w, s.h, LensModel{})
	if err != nil {
		t.Fatal(err)
	}
	set := s.set([]r2.Vec{{X: -90, Y: -100}, {X: 90, Y: -100}, {X: 90, Y: 100}, {X: -90, Y: 100}})
	miss := func(set ControlSet) (float64, *Plane) {
		p, _ := mustControls(t, set)
		return r2.Norm(r2.Sub(p.MM(s.px(r2.Vec{X: 10, Y: 20}, 0)), r2.Vec{X: 10, Y: 20})), p
	}
	without, _ := miss(set)
	set.Lens = l
	with, p := miss(set)
	if without < 0.1 || with > 0.02 {
		t.Errorf("off by %.3f mm without the profile, %.3f mm with it", without, with)
	}
	if p.URel > 0.001 {
		t.Errorf("scale known to %g with a good profile", p.URel)
	}

	// The same photograph at half its size, and turned upright by its EXIF.
	half := set
	half.WidthPx, half.HighPx = s.w/2, s.h/2
	half.Controls = append([]Control(nil), set.Controls...)
	turned := half
	turned.WidthPx, turned.HighPx = half.HighPx, half.WidthPx
	turned.Controls = append([]Control(nil), set.Controls...)
	turn := func(px r2.Vec) r2.Vec { return r2.Vec{X: float64(s.h)/2 - px.Y/2, Y: px.X / 2} }
	for i := range half.Controls {
		px := set.Controls[i].Px
		half.Controls[i].Px = r2.Scale(0.5, px)
		turned.Controls[i].Px = turn(px)
	}
	at := r2.Vec{X: 10, Y: 20}
	p, _ = mustControls(t, half)
	if off := r2.Norm(r2.Sub(p.MM(r2.Scale(0.5, s.px(at, 0))), at)); off > 0.02 {
		t.Errorf("at half size off by %.3f mm", off)
	}
	p, _ = mustControls(t, turned)
	if off := r2.Norm(r2.Sub(p.MM(turn(s.px(at, 0))), at)); off > 0.12 {
		t.Errorf("upright off by %.3f mm", off)
	}
}

func someLens(t *testing.T) *Lens {
	s := bentLens()
	l, _, err := FitLens(gridViews(s, 5, rand.New(rand.NewPCG(1, 1)), 0.1), s.w, s.h, LensModel{})
	if err != nil {
		t.Fatal(err)
	}
	l.Make, l.Model, l.FocalLengthMM, l.MadeFrom = "Maker", "One", 4.2, "5 photographs of a grid"
	return l
}

func TestLensFile(t *testing.T) {
	l := someLens(t)
	var b bytes.Buffer
	if err := l.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "\n"); n > 50 {
		t.Errorf("%d lines are no small file:\n%s", n, b.String())
	}
	text := b.String()
	back, err := ReadLens(&b)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(l, back) {
		t.Errorf("read back as %+v, want %+v", back, l)
	}
	for _, c := range [][2]string{
		{"", ""}, {lensKind, "another"}, {`"fx_px": 3`, `"fx_px": -3`}, {`"k1": -0.1`, `"kk": -0.1`},
		{`"width_px": 4000`, `"width_px": 0`}, {`"fitted": [`, `"fitted": ["k3",`}, {`"covariance": [`, `"covariance": [[1],`},
		{`"pictures": 5`, `"pictures": "five"`}, {`"pictures": 5`, `"photos": 5, "pictures": 5`}, {"}\n", "}{"},
	} {
		spoiled := strings.Replace(text, c[0], c[1], 1)
		if c[0] == "" {
			spoiled = ""
		} else if spoiled == text {
			t.Fatalf("%q is not in the file", c[0])
		}
		if _, err := ReadLens(strings.NewReader(spoiled)); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q for %q was taken: %v", c[1], c[0], err)
		}
	}
}

func FuzzReadLens(f *testing.F) {
	f.Add([]byte(`{"kind":"boltrose lens profile","pictures":3,"rms_px":0.2,"width_px":640,"height_px":480,"lens":{"fx_px":500,"fy_px":500,"cx_px":320,"cy_px":240,"k1":-0.2},"fitted":["fx_px","k1"],"covariance":[[1,0.001],[0.001,0.0001]]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := ReadLens(bytes.NewReader(b))
		if err != nil {
			return
		}
		// Whatever was taken can be used and written.
		var out bytes.Buffer
		if err := l.WriteJSON(&out); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadLens(&out); err != nil {
			t.Fatalf("%v\n%s", err, b)
		}
		w, h := l.WidthPx, l.HighPx
		set := ControlSet{WidthPx: w, HighPx: h, Lens: l}
		for i, at := range []r2.Vec{{X: 0.2, Y: 0.2}, {X: 0.8, Y: 0.25}, {X: 0.75, Y: 0.8}, {X: 0.2, Y: 0.7}} {
			set.Controls = append(set.Controls, Control{Name: fmt.Sprint(i), Px: r2.Vec{X: at.X * float64(w), Y: at.Y * float64(h)}, MM: r2.Vec{X: 100 * at.X, Y: -100 * at.Y}})
		}
		p, _, err := FromControls("fuzz", set)
		if err == nil && !(p.URel >= 0) {
			t.Fatalf("scale known to %g", p.URel)
		}
	})
}

func TestLensMatches(t *testing.T) {
	l := someLens(t)
	pic := func(w, h int, c *vision.Camera) *vision.Picture {
		return &vision.Picture{Grey: &image.Gray{Rect: image.Rect(0, 0, w, h)}, Camera: c}
	}
	own := &vision.Camera{Make: "MAKER ", Model: "one", FocalLengthMM: 4.21}
	for _, c := range []struct {
		what string
		pic  *vision.Picture
		ok   bool
	}{
		{"its own", pic(4000, 3000, own), true},
		{"smaller", pic(2000, 1500, own), true},
		{"upright", pic(3000, 4000, own), true},
		{"cut", pic(4000, 2250, own), false},
		{"no EXIF", pic(4000, 3000, nil), false},
		{"another camera", pic(4000, 3000, &vision.Camera{Make: "Maker", Model: "Two", FocalLengthMM: 4.2}), false},
		{"another focal length", pic(4000, 3000, &vision.Camera{Make: "Maker", Model: "One", FocalLengthMM: 6}), false},
	} {
		if err := l.Matches(c.pic); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.what, err)
		}
	}
}

// direction undoes px wherever it says that it can.
func TestDirectionIsTheInverseOfPx(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := optics{fx: 1000, fy: 1010, cx: 800, cy: 600}
		o.k1 = rapid.Float64Range(-0.4, 0.4).Draw(t, "k1")
		o.k2 = rapid.Float64Range(-0.2, 0.2).Draw(t, "k2")
		o.p1 = rapid.Float64Range(-0.01, 0.01).Draw(t, "p1")
		n := r2.Vec{X: rapid.Float64Range(-0.5, 0.5).Draw(t, "x"), Y: rapid.Float64Range(-0.5, 0.5).Draw(t, "y")}
		back, ok := o.direction(o.px(n))
		if ok && r2.Norm(r2.Sub(o.px(back), o.px(n))) > 1e-6 {
			t.Fatalf("%v came back as %v", n, back)
		}
		if r2.Norm(n) < 0.4 && (!ok || r2.Norm(r2.Sub(back, n)) > 1e-9) {
			t.Fatalf("%v came back as %v (%v)", n, back, ok)
		}
	})
}

// A lattice is found among strays, with dots missing, at any turn.
func TestGridAmongStrays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := phone()
		s.tilt = rapid.Float64Range(-0.6, 0.6).Draw(t, "tilt")
		s.turn = rapid.Float64Range(-0.5, 0.5).Draw(t, "turn")
		s.roll = rapid.Float64Range(-3.2, 3.2).Draw(t, "roll")
		s.o.k1 = rapid.Float64Range(-0.15, 0.05).Draw(t, "k1")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var marks []vision.Mark
		truth := map[r2.Vec]r2.Vec{}
		hidden := rapid.SliceOfNDistinct(rapid.IntRange(0, 29), 0, 3, rapid.ID[int]).Draw(t, "hidden")
		for k := range 30 {
			if len(hidden) > 0 && k == hidden[0] || len(hidden) > 1 && k == hidden[1] || len(hidden) > 2 && k == hidden[2] {
				continue
			}
			at := r2.Vec{X: float64(k%5) - 2, Y: 2.5 - float64(k/5)}
			px := s.px(r2.Scale(25, at), 0)
			truth[px] = at
			marks = append(marks, vision.Mark{Centre: px, Radius: 40 + 5*random.Float64(), Kind: vision.Darker})
		}
		for range rapid.IntRange(0, 12).Draw(t, "strays") {
			marks = append(marks, vision.Mark{Centre: r2.Vec{X: 4000 * random.Float64(), Y: 300 * random.Float64()}, Radius: 10 + 60*random.Float64(), Kind: vision.Darker})
		}
		random.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
		got, err := Grid(marks, 5, 6)
		if err != nil {
			if len(hidden) > 0 {
				t.Skip(err) // a whole row may be told from its neighbour no more
			}
			t.Fatal(err)
		}
		// The same grid, or turned by half a turn; never mirrored or moved.
		same, turned := true, true
		for _, c := range got {
			at, ok := truth[c.Px]
			if !ok {
				t.Fatalf("%s at %v is a stray", c.Name, c.Px)
			}
			if r2.Norm(r2.Sub(c.MM, r2.Vec{X: at.X + 2, Y: at.Y - 2.5})) > 1e-9 {
				same = false
			}
			if r2.Norm(r2.Sub(c.MM, r2.Vec{X: 2 - at.X, Y: -at.Y - 2.5})) > 1e-9 {
				turned = false
			}
		}
		if !same && !turned {
			t.Fatalf("%d dots of a grid at wrong places", len(got))
		}
	})
}
