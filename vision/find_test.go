package vision

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// disc draws a round spot with its edge pixels grey by the share of them that
// it covers, counted on 8 × 8 points.
func disc(w, h int, centre r2.Vec, radius float64, inside, outside uint8) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			g.Pix[y*g.Stride+x] = blend(inside, outside, coverage(x, y, centre, radius))
		}
	}
	return g
}

func blend(inside, outside uint8, share float64) uint8 {
	return uint8(math.Round(float64(outside) + share*(float64(inside)-float64(outside))))
}

func coverage(x, y int, centre r2.Vec, radius float64) float64 {
	switch d := math.Hypot(float64(x)+0.5-centre.X, float64(y)+0.5-centre.Y); {
	case d < radius-1:
		return 1
	case d > radius+1:
		return 0
	}
	const n = 8
	covered := 0
	for j := range n {
		for i := range n {
			if math.Hypot(float64(x)+(float64(i)+0.5)/n-centre.X, float64(y)+(float64(j)+0.5)/n-centre.Y) < radius {
				covered++
			}
		}
	}
	return float64(covered) / (n * n)
}

func find(t rapid.TB, g *image.Gray) []Mark {
	t.Helper()
	marks, err := Find(&Picture{Grey: g})
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range marks {
		if err := sound(m); err != nil {
			t.Fatalf("mark %d of %d × %d px: %v", i, g.Rect.Dx(), g.Rect.Dy(), err)
		}
	}
	return marks
}

// sound finds what no mark may be.
func sound(m Mark) error {
	numbers := []float64{m.Centre.X, m.Centre.Y, m.Radius, m.RimSeen, m.Contrast, m.Scatter, m.Score}
	for _, e := range m.Edge {
		numbers = append(numbers, e.X, e.Y)
	}
	for _, v := range append(numbers, m.Weight...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("at %v of radius %g holds a number that is none", m.Centre, m.Radius)
		}
	}
	for _, w := range m.Weight {
		if w < 0 {
			return fmt.Errorf("has a negative weight: %v", m.Weight)
		}
	}
	switch {
	case m.Radius <= 0, m.Scatter < 0, m.Score < 0:
		return fmt.Errorf("radius %g, scatter %g, score %g", m.Radius, m.Scatter, m.Score)
	case m.RimSeen < 0, m.RimSeen > 1:
		return fmt.Errorf("a share of %g of the rim is seen", m.RimSeen)
	case len(m.Edge) != len(m.Weight), len(m.Edge) < 3:
		return fmt.Errorf("%d edge points with %d weights", len(m.Edge), len(m.Weight))
	case m.Kind == Lighter && m.Contrast < 0, m.Kind == Darker && m.Contrast > 0:
		return fmt.Errorf("%s, but a contrast of %g", m.Kind, m.Contrast)
	}
	return nil
}

// Truth by construction: a disc of known centre and radius. The first mark is
// it, to a fiftieth of a pixel.
func TestFindDisc(t *testing.T) {
	for _, radius := range []float64{6, 7.3, 10, 15, 24, 40.5, 80, 150, 250, 400} {
		for _, shade := range []struct {
			inside, outside uint8
			kind            Kind
		}{{220, 60, Lighter}, {60, 220, Darker}, {150, 130, Lighter}} {
			side := int(2.6*radius) + 60
			centre := r2.Vec{X: float64(side)/2 + 3.37, Y: float64(side)/2 - 2.81}
			marks := find(t, disc(side, side, centre, radius, shade.inside, shade.outside))
			if len(marks) == 0 {
				t.Errorf("radius %g, %v: not found", radius, shade)
				continue
			}
			m := marks[0]
			if off := r2.Norm(r2.Sub(m.Centre, centre)); !(off <= 0.02) {
				t.Errorf("radius %g, %v: the centre is off by %.4f px", radius, shade, off)
			}
			// Smoothing across an edge of radius r moves it by about σ²/2r, here
			// with σ of one to two pixels; and reduced pictures have whole grey
			// levels, of which the faint disc has 20.
			if off := math.Abs(m.Radius - radius); !(off <= 0.05+2/radius) {
				t.Errorf("radius %g, %v: measured as %.3f", radius, shade, m.Radius)
			}
			if m.Kind != shade.kind || m.RimSeen < 0.95 {
				t.Errorf("radius %g, %v: %s, %.2f of its rim seen", radius, shade, m.Kind, m.RimSeen)
			}
		}
	}
}

// face is a picture with five discs of both shades and different sizes on an
// uneven ground, from a seed.
func face(seed uint64) (g *image.Gray, centres []r2.Vec, radii []float64) {
	random := rand.New(rand.NewPCG(seed, 1))
	const w, h = 360, 300
	g = image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			g.Pix[y*g.Stride+x] = uint8(120 + 12*math.Sin(float64(x)/37) + 10*math.Cos(float64(y)/29) + 3*random.NormFloat64())
		}
	}
	for i := range 5 {
		c := r2.Vec{X: 60 + 120*float64(i%3) + 10*random.Float64(), Y: 70 + 150*float64(i/3) + 10*random.Float64()}
		r := 12 + 30*random.Float64()
		inside := uint8(190)
		if i%2 == 1 {
			inside = 50
		}
		for y := range h {
			for x := range w {
				k := y*g.Stride + x
				g.Pix[k] = blend(inside, g.Pix[k], coverage(x, y, c, r))
			}
		}
		centres, radii = append(centres, c), append(radii, r)
	}
	return g, centres, radii
}

// changed returns the picture with each pixel from another place and of
// another grey.
func changed(g *image.Gray, w, h int, from func(x, y int) (int, int), tone func(uint8) float64) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			fx, fy := from(x, y)
			out.Pix[y*out.Stride+x] = uint8(min(max(math.Round(tone(g.Pix[fy*g.Stride+fx])), 0), 255))
		}
	}
	return out
}

// The marks of the five discs move with the picture, whatever is done to it.
func TestFindMovesWithThePicture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, centres, radii := face(rapid.Uint64().Draw(t, "seed"))
		w, h := g.Rect.Dx(), g.Rect.Dy()
		turns := rapid.IntRange(0, 3).Draw(t, "quarter turns")
		mirror := rapid.Bool().Draw(t, "mirror")
		invert := rapid.Bool().Draw(t, "invert")
		gain := rapid.Float64Range(0.4, 1.2).Draw(t, "gain")
		add := rapid.Float64Range(0, 25).Draw(t, "add")

		tone := func(v uint8) float64 { return add + gain*float64(v) }
		if invert {
			tone = func(v uint8) float64 { return 255 - add - gain*float64(v) }
		}
		same := func(x, y int) (int, int) { return x, y }
		g = changed(g, w, h, same, tone)
		if mirror {
			g = changed(g, w, h, func(x, y int) (int, int) { return w - 1 - x, y }, func(v uint8) float64 { return float64(v) })
			for i := range centres {
				centres[i].X = float64(w) - centres[i].X
			}
		}
		for range turns { // clockwise: (x, y) goes to (h − y, x)
			ww, hh := g.Rect.Dx(), g.Rect.Dy()
			g = changed(g, hh, ww, func(x, y int) (int, int) { return y, hh - 1 - x }, func(v uint8) float64 { return float64(v) })
			for i, c := range centres {
				centres[i] = r2.Vec{X: float64(hh) - c.Y, Y: c.X}
			}
		}
		marks := find(t, g)
		for i, c := range centres {
			kind := Lighter
			if (i%2 == 1) != invert {
				kind = Darker
			}
			m, ok := nearest(marks, c, radii[i], kind)
			if !ok {
				t.Fatalf("the disc at %.1f, %.1f of radius %.1f (%s) is not among the %d marks", c.X, c.Y, radii[i], kind, len(marks))
			}
			if off := r2.Norm(r2.Sub(m.Centre, c)); off > 0.15 || math.Abs(m.Radius-radii[i]) > 0.4 {
				t.Fatalf("the disc at %.2f, %.2f of radius %.2f was measured at %.2f, %.2f with %.2f", c.X, c.Y, radii[i], m.Centre.X, m.Centre.Y, m.Radius)
			}
		}
	})
}

func nearest(marks []Mark, c r2.Vec, radius float64, kind Kind) (best Mark, ok bool) {
	off := 0.2 * radius
	for _, m := range marks {
		if d := r2.Norm(r2.Sub(m.Centre, c)) + math.Abs(m.Radius-radius); m.Kind == kind && d < off {
			best, off, ok = m, d, true
		}
	}
	return best, ok
}

// A picture that is a reflection or a turn of another one has the reflected or
// turned marks: not the true ones only, all of them.
func TestFindWithoutAPreferredDirection(t *testing.T) {
	g, _, _ := face(4)
	w, h := g.Rect.Dx(), g.Rect.Dy()
	plain := func(v uint8) float64 { return float64(v) }
	for name, c := range map[string]struct {
		w, h int
		from func(x, y int) (int, int)
		to   func(r2.Vec) r2.Vec
	}{
		"half turn": {w, h, func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
			func(v r2.Vec) r2.Vec { return r2.Vec{X: float64(w) - v.X, Y: float64(h) - v.Y} }},
		"mirror": {w, h, func(x, y int) (int, int) { return w - 1 - x, y },
			func(v r2.Vec) r2.Vec { return r2.Vec{X: float64(w) - v.X, Y: v.Y} }},
		"transpose": {h, w, func(x, y int) (int, int) { return y, x },
			func(v r2.Vec) r2.Vec { return r2.Vec{X: v.Y, Y: v.X} }},
	} {
		marks, other := find(t, g), find(t, changed(g, c.w, c.h, c.from, plain))
		for _, m := range marks[:5] {
			want := c.to(m.Centre)
			o, ok := nearest(other, want, m.Radius, m.Kind)
			if !ok || r2.Norm(r2.Sub(o.Centre, want)) > 0.02 || math.Abs(o.Radius-m.Radius) > 0.02 {
				t.Errorf("%s: the mark at %.3f, %.3f of radius %.3f should be at %.3f, %.3f and is at %.3f, %.3f of %.3f",
					name, m.Centre.X, m.Centre.Y, m.Radius, want.X, want.Y, o.Centre.X, o.Centre.Y, o.Radius)
			}
		}
	}
}

// The picture and what lies beside it in memory: a part of a larger picture
// has rows with gaps between them.
func TestFindInAPartOfAPicture(t *testing.T) {
	g, _, _ := face(9)
	part := g.SubImage(image.Rect(0, 0, 300, 250)).(*image.Gray)
	whole := changed(g, 300, 250, func(x, y int) (int, int) { return x, y }, func(v uint8) float64 { return float64(v) })
	a, b := find(t, part), find(t, whole)
	if fmt.Sprint(a) != fmt.Sprint(b) {
		t.Errorf("%d marks in the part of a picture, %d in its copy", len(a), len(b))
	}
}

// Every run gives the same marks, in whatever order the processors work.
func TestFindIsDeterminate(t *testing.T) {
	g, _, _ := face(2)
	first := fmt.Sprint(find(t, g))
	for range 3 {
		if again := fmt.Sprint(find(t, g)); again != first {
			t.Fatal("the same picture gave other marks")
		}
	}
}

func TestFindNothing(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {2, 2}, {3, 1}, {1, 300}, {300, 1}, {2, 500}, {7, 7}, {24, 24}, {64, 64}, {65, 63}, {900, 1100}} {
		for _, grey := range []uint8{0, 128, 255} {
			g := image.NewGray(image.Rect(0, 0, size[0], size[1]))
			for i := range g.Pix {
				g.Pix[i] = grey
			}
			if marks := find(t, g); len(marks) != 0 {
				t.Errorf("%v px of grey %d: %d marks", size, grey, len(marks))
			}
		}
	}
}

// Straight edges close on no circle: where grey rises in one direction, only
// half of any circle has its lighter side outside.
func TestFindNoCircleInStraightEdges(t *testing.T) {
	for name, grey := range map[string]func(x, y int) uint8{
		"step": func(x, _ int) uint8 { return uint8(60 + 140*min(x/150, 1)) },
		"ramp": func(x, y int) uint8 { return uint8((x + y) / 3) },
	} {
		g := image.NewGray(image.Rect(0, 0, 300, 260))
		for y := range 260 {
			for x := range 300 {
				g.Pix[y*g.Stride+x] = grey(x, y)
			}
		}
		for _, m := range find(t, g) {
			if m.RimSeen > 0.55 {
				t.Errorf("%s: a mark at %.1f, %.1f of radius %.1f with %.2f of its rim seen", name, m.Centre.X, m.Centre.Y, m.Radius, m.RimSeen)
			}
		}
	}
}

// Whatever the picture: an answer, and one of numbers.
func TestFindInNoise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 120).Draw(t, "w"), rapid.IntRange(1, 120).Draw(t, "h")
		spread := rapid.Float64Range(0, 200).Draw(t, "spread")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		g := image.NewGray(image.Rect(0, 0, w, h))
		for i := range g.Pix {
			g.Pix[i] = uint8(min(max(128+spread*random.NormFloat64(), 0), 255))
		}
		find(t, g)
	})
}

// MeasureAt finds the disc from a circle near it, and nothing where nothing
// is.
func TestMeasureAt(t *testing.T) {
	g, centres, radii := face(3)
	pic := &Picture{Grey: g}
	for i, c := range centres {
		m, ok := MeasureAt(pic, r2.Vec{X: c.X + 0.1*radii[i], Y: c.Y - 0.08*radii[i]}, 1.1*radii[i])
		if !ok {
			t.Errorf("nothing found beside the disc at %v of radius %.1f", c, radii[i])
			continue
		}
		if off := r2.Norm(r2.Sub(m.Centre, c)); off > 0.15 || math.Abs(m.Radius-radii[i]) > 0.4 {
			t.Errorf("the disc at %v of radius %.2f was measured at %v with %.2f", c, radii[i], m.Centre, m.Radius)
		}
	}
	blank := &Picture{Grey: disc(200, 200, r2.Vec{}, 0, 0, 180)}
	for _, c := range []r2.Vec{{X: 100, Y: 100}, {}, {X: -50, Y: 1e7}, {X: math.NaN()}, {X: math.Inf(1), Y: math.Inf(-1)}, {X: 1e300, Y: 1e300}} {
		for _, radius := range []float64{0, -1, 0.5, 2, 20, 300, 1e9, math.NaN(), math.Inf(1)} {
			if m, ok := MeasureAt(blank, c, radius); ok {
				t.Errorf("blank paper at %v, radius %g: a mark of contrast %g", c, radius, m.Contrast)
			}
			if m, ok := MeasureAt(pic, c, radius); ok {
				if err := sound(m); err != nil {
					t.Errorf("at %v, radius %g: %v", c, radius, err)
				}
			}
		}
	}
}

// A circle far larger than the picture is not on it, and does not take for ever
// to look for.
// A hand that points half a radius beside a hole means it.
func TestMeasureNear(t *testing.T) {
	centre := r2.Vec{X: 150.3, Y: 140.8}
	g := disc(300, 300, centre, 40, 40, 200)
	for deg := range 12 {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 6)
		at := r2.Add(centre, r2.Vec{X: 20 * cos, Y: 20 * sin})
		m, ok := MeasureNear(&Picture{Grey: g}, at, 37)
		if !ok || r2.Norm(r2.Sub(m.Centre, centre)) > 0.05 || math.Abs(m.Radius-40) > 0.1 {
			t.Errorf("pointed at %v: %v, %.2f px at %v", at, ok, m.Radius, m.Centre)
		}
	}
}

func TestMeasureAtFarTooLarge(t *testing.T) {
	g, _, _ := face(3)
	if m, ok := MeasureAt(&Picture{Grey: g}, r2.Vec{X: 100, Y: 100}, 1e5); ok {
		t.Errorf("found a circle of radius %g", m.Radius)
	}
}

// FuzzFind reads any bytes as the rows of a small picture.
func FuzzFind(f *testing.F) {
	spot := disc(40, 40, r2.Vec{X: 20.2, Y: 19.7}, 11, 220, 40)
	f.Add(uint8(40), spot.Pix)
	f.Add(uint8(1), []byte{7})
	f.Add(uint8(3), []byte("no picture at all"))
	f.Fuzz(func(t *testing.T, width uint8, pix []byte) {
		w := max(1, int(width))
		h := min(len(pix)/w, 256)
		if h == 0 {
			return
		}
		g := &image.Gray{Pix: pix[:w*h], Stride: w, Rect: image.Rect(0, 0, w, h)}
		marks := find(t, g)
		if m, ok := MeasureAt(&Picture{Grey: g}, r2.Vec{X: float64(w) / 2, Y: float64(h) / 2}, float64(min(w, h))/3); ok {
			if err := sound(m); err != nil {
				t.Error(err)
			}
		}
		if len(marks) > mostMeasured*2 {
			t.Errorf("%d marks", len(marks))
		}
	})
}
