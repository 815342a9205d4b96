package vision

import (
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// quadPicture draws a convex quadrilateral (corners clockwise from the top
// left) with edges a pixel wide.
func quadPicture(w, h int, corner [4]r2.Vec, inside, noise float64, outside func(x, y int) float64) *Picture {
	rng := rand.New(rand.NewPCG(2, 3))
	g := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			p := r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}
			in := math.Inf(1)
			for i := range corner {
				a, b := corner[i], corner[(i+1)%4]
				in = min(in, r2.Cross(r2.Unit(r2.Sub(b, a)), r2.Sub(p, a)))
			}
			c := 0.5 * math.Erfc(-in/math.Sqrt2/0.8)
			v := outside(x, y)*(1-c) + inside*c + noise*rng.NormFloat64()
			g.Pix[y*g.Stride+x] = uint8(math.Round(min(max(v, 0), 255)))
		}
	}
	return &Picture{Grey: g}
}

var someQuad = [4]r2.Vec{{X: 121.3, Y: 80.7}, {X: 560.2, Y: 110.4}, {X: 520.9, Y: 430.6}, {X: 90.1, Y: 401.8}}

func plain(v float64) func(int, int) float64 { return func(int, int) float64 { return v } }

// An outline's corners are found to a tenth of a pixel, be the sheet lighter
// than its ground, darker, or lighter on one side and darker on the other.
func TestFindQuads(t *testing.T) {
	half := func(x, y int) float64 {
		if x < 318 {
			return 60
		}
		return 240
	}
	for name, c := range map[string]struct {
		pic     *Picture
		lighter bool
	}{
		"lighter":           {quadPicture(640, 500, someQuad, 200, 3, plain(90)), true},
		"darker":            {quadPicture(640, 500, someQuad, 60, 3, plain(150)), false},
		"low contrast":      {quadPicture(640, 500, someQuad, 200, 2, plain(190)), true},
		"noisy":             {quadPicture(640, 500, someQuad, 200, 15, plain(90)), true},
		"light grows":       {quadPicture(640, 500, someQuad, 210, 3, func(x, y int) float64 { return 60 + float64(x)/8 }), true},
		"larger than level": {quadPicture(1900, 1500, [4]r2.Vec{r2.Scale(3, someQuad[0]), r2.Scale(3, someQuad[1]), r2.Scale(3, someQuad[2]), r2.Scale(3, someQuad[3])}, 200, 3, plain(90)), true},
	} {
		quads, err := FindQuads(c.pic)
		if err != nil || len(quads) != 1 {
			t.Errorf("%s: %d outlines, %v", name, len(quads), err)
			continue
		}
		scale := 1.0
		if c.pic.Grey.Rect.Dx() > 1000 {
			scale = 3
		}
		for i, want := range someQuad {
			if off := r2.Norm(r2.Sub(quads[0].Corner[i], r2.Scale(scale, want))); off > 0.15 {
				t.Errorf("%s: corner %d at %.2f is off by %.2f px", name, i, quads[0].Corner[i], off)
			}
		}
		for i, s := range quads[0].Sides {
			if s.Contrast > 0 != c.lighter || s.Seen < 0.9 || math.Abs(s.Bow) > 0.3 || len(s.Edge) != len(s.Weight) {
				t.Errorf("%s: its %s side: %d points, seen %.2f, contrast %.1f, bow %.2f", name, SideNames[i], len(s.Edge), s.Seen, s.Contrast, s.Bow)
			}
		}
	}
	// Darker than what lies to its right, lighter than the rest.
	left := [4]r2.Vec{{X: 100, Y: 90}, {X: 320, Y: 90}, {X: 320, Y: 400}, {X: 100, Y: 400}}
	quads, err := FindQuads(quadPicture(640, 500, left, 150, 3, half))
	if err != nil || len(quads) == 0 || quads[0].Sides[1].Contrast > 0 || quads[0].Sides[3].Contrast < 0 {
		t.Errorf("on a ground of two tones: %v, %d outlines", err, len(quads))
	}
}

// One sheet in another, apart by less than a hundredth of its size, is one
// outline; a border well inside is a second.
func TestNestedQuads(t *testing.T) {
	inner := someQuad
	middle := r2.Vec{X: 320, Y: 255}
	for i := range inner {
		inner[i] = r2.Add(middle, r2.Scale(0.8, r2.Sub(inner[i], middle)))
	}
	pic := quadPicture(640, 500, someQuad, 200, 2, plain(90))
	printed := quadPicture(640, 500, inner, 120, 2, plain(200))
	for i, v := range printed.Grey.Pix {
		pic.Grey.Pix[i] = min(pic.Grey.Pix[i], v)
	}
	quads, err := FindQuads(pic)
	if err != nil || len(quads) != 2 {
		t.Fatalf("%d outlines, %v", len(quads), err)
	}
	a, b := quads[0], quads[1]
	if a.Contains(b) == b.Contains(a) {
		t.Errorf("neither lies in the other: %.0f, %.0f", a.Corner, b.Corner)
	}
}

// A stripe along a card's edge makes an outline of what it leaves, which may be the
// clearer one: the card's own is not lost, but its rival.
func TestRivalQuads(t *testing.T) {
	at := func(x float64) (top, bottom r2.Vec) {
		return r2.Add(someQuad[0], r2.Scale(x, r2.Sub(someQuad[1], someQuad[0]))), r2.Add(someQuad[3], r2.Scale(x, r2.Sub(someQuad[2], someQuad[3])))
	}
	a, d := at(0.1)
	b, c := at(0.3)
	pic := quadPicture(640, 500, someQuad, 170, 2, plain(150))
	stripe := quadPicture(640, 500, [4]r2.Vec{a, b, c, d}, 50, 2, plain(255))
	for i, v := range stripe.Grey.Pix {
		if v < 200 {
			pic.Grey.Pix[i] = v
		}
	}
	quads, err := FindQuads(pic)
	if err != nil {
		t.Fatal(err)
	}
	whole := func(q Quad) bool {
		for i, c := range q.Corner {
			if r2.Norm(r2.Sub(c, someQuad[i])) > 1 {
				return false
			}
		}
		return true
	}
	if whole(quads[0]) {
		t.Fatal("the whole card is the clearest outline: this shows nothing")
	}
	if !slices.ContainsFunc(quads, func(q Quad) bool { return whole(q) || slices.ContainsFunc(q.Rivals, whole) }) {
		t.Errorf("the card is not among %d outlines and their rivals", len(quads))
	}
}

func TestNoQuad(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	open := someQuad
	open[1].X, open[2].X = 900, 900 // out of the picture
	for name, pic := range map[string]*Picture{
		"constant":   {Grey: image.NewGray(image.Rect(0, 0, 400, 300))},
		"1 × 1":      {Grey: image.NewGray(image.Rect(0, 0, 1, 1))},
		"1 × 400":    {Grey: image.NewGray(image.Rect(0, 0, 1, 400))},
		"400 × 3":    {Grey: image.NewGray(image.Rect(0, 0, 400, 3))},
		"nothing":    {Grey: image.NewGray(image.Rectangle{})},
		"three side": quadPicture(640, 500, open, 200, 3, plain(90)),
		"noise":      quadPicture(400, 300, [4]r2.Vec{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}}, 0, 40, func(int, int) float64 { return 60 + 120*rng.Float64() }),
	} {
		if quads, err := FindQuads(pic); !errors.Is(err, ErrNoQuad) {
			t.Errorf("%s: %d outlines, %v", name, len(quads), err)
		}
	}
}

func BenchmarkFindQuads(b *testing.B) {
	pic := quadPicture(1900, 1500, [4]r2.Vec{{X: 300, Y: 250}, {X: 1600, Y: 300}, {X: 1550, Y: 1300}, {X: 250, Y: 1200}}, 200, 3, plain(90))
	if _, err := pic.pyramid(); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FindQuads(pic); err != nil {
			b.Fatal(err)
		}
	}
}
