package vision

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// deepBore draws a bore lit from the right: its wall is darker than the face on
// the right and lighter on the left, a chamfer's lower edge runs close within the
// mouth, and a dark far end is seen aside.
func deepBore(mouth, chamfer, end circle.Circle) *Picture {
	rng := rand.New(rand.NewPCG(5, 6))
	g := image.NewGray(image.Rect(0, 0, 900, 800))
	in := func(c circle.Circle, p r2.Vec) float64 { return 0.5 * math.Erfc(c.Distance(p)/math.Sqrt2/0.9) }
	for y := range 800 {
		for x := range 900 {
			p := r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}
			lit := -(p.X - mouth.Centre.X) / mouth.Radius
			v := 140.0
			v += in(mouth, p) * (140 + 60*lit - v)
			v += in(chamfer, p) * (140 + 25*lit - v)
			v += in(end, p) * (40 - v)
			g.Pix[y*g.Stride+x] = uint8(math.Round(min(max(v+3*rng.NormFloat64(), 0), 255)))
		}
	}
	return &Picture{Grey: g}
}

// A mouth that is lighter on one side and darker on the other is found about a
// place aside of what lies deep in it, and not mixed with a chamfer's lower edge
// close within.
func TestFindMouth(t *testing.T) {
	mouth := circle.Circle{Centre: r2.Vec{X: 452.3, Y: 401.6}, Radius: 260}
	chamfer := circle.Circle{Centre: r2.Vec{X: 454.1, Y: 402.2}, Radius: 250}
	end := circle.Circle{Centre: r2.Vec{X: 485, Y: 412}, Radius: 170}
	pic := deepBore(mouth, chamfer, end)
	way := [2]r2.Vec{end.Centre, {X: end.Centre.X - 80*0.95, Y: end.Centre.Y - 80*0.3}}
	marks, err := FindMouth(pic, way, 0, 0.98*end.Radius, 380)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]circle.Circle{"mouth": mouth, "far end": end} {
		found := false
		for _, m := range marks {
			if r2.Norm(r2.Sub(m.Centre, want.Centre)) < 0.4 && math.Abs(m.Radius-want.Radius) < 0.6 && m.Kind == Either && m.RimSeen > 0.7 {
				found = true
			}
		}
		if !found {
			t.Errorf("its %s is not among %d marks", name, len(marks))
		}
	}
	for _, m := range marks {
		t.Logf("%.1f, %.1f radius %.1f seen %.2f scatter %.2f score %.1f", m.Centre.X, m.Centre.Y, m.Radius, m.RimSeen, m.Scatter, m.Score)
	}
	// Where nothing is known its centre may be anywhere about a place.
	at := r2.Vec{X: 448, Y: 405}
	marks, err = FindMouth(pic, [2]r2.Vec{at, at}, 10, 60, 380)
	if err != nil || !slices.ContainsFunc(marks, func(m Mark) bool {
		return r2.Norm(r2.Sub(m.Centre, mouth.Centre)) < 0.4 && math.Abs(m.Radius-mouth.Radius) < 0.6
	}) {
		t.Errorf("about a place beside it, it is not among %d marks, %v", len(marks), err)
	}
	for _, c := range []struct{ x, from, to float64 }{{450, 20, 10}, {450, 0, 10}, {450, 20, 20.1}, {-500, 10, 60}} {
		if marks, err := FindMouth(pic, [2]r2.Vec{{X: c.x, Y: 400}, {X: c.x, Y: 400}}, 0, c.from, c.to); err != nil || len(marks) > 0 {
			t.Errorf("%+v: %d marks, %v", c, len(marks), err)
		}
	}
}
