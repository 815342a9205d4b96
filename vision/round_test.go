package vision

import (
	"image"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// The faint edge of a chamfer is found about its hole, which is seen aside of
// its middle, and none where there is none.
func TestFindRound(t *testing.T) {
	hole, chamfer := r2.Vec{X: 121.4, Y: 118.7}, r2.Vec{X: 118, Y: 120.2}
	plain := disc(240, 240, hole, 40, 40, 180)
	g := disc(240, 240, hole, 40, 40, 180)
	for y := range 240 {
		for x := range 240 {
			if share := coverage(x, y, chamfer, 56) * (1 - coverage(x, y, hole, 40)); share > 0 {
				g.Pix[y*g.Stride+x] = blend(160, 180, share)
			}
		}
	}
	m, ok := nearest(find(t, g), hole, 40, Darker)
	if !ok {
		t.Fatal("no hole")
	}
	round, err := FindRound(&Picture{Grey: g}, m, 2)
	if err != nil {
		t.Fatal(err)
	}
	got, ok := nearest(round, chamfer, 56, Darker)
	if !ok || math.Abs(got.Radius-56) > 0.3 || r2.Norm(r2.Sub(got.Centre, chamfer)) > 0.2 {
		t.Errorf("a chamfer of %.2f px at %.2f; %d found", got.Radius, got.Centre, len(round))
	}
	for _, r := range round {
		if r.Radius < 1.05*m.Radius {
			t.Errorf("the hole itself was taken, %.2f px", r.Radius)
		}
	}
	if round, err = FindRound(&Picture{Grey: plain}, m, 2); err != nil || len(round) > 0 {
		t.Errorf("%d circles about a plain hole: %v, %v", len(round), round, err)
	}
}

// shadeBetween gives what lies in one circle and not in another, within it, a tone.
func shadeBetween(g *image.Gray, inner r2.Vec, innerRadius float64, outer r2.Vec, outerRadius float64, tone uint8) {
	for y := range g.Rect.Dy() {
		for x := range g.Rect.Dx() {
			if share := coverage(x, y, outer, outerRadius) * (1 - coverage(x, y, inner, innerRadius)); share > 0 {
				p := &g.Pix[y*g.Stride+x]
				*p = blend(tone, *p, share)
			}
		}
	}
}

// A hole and the edge of its narrow chamfer, so close that one search takes
// partly the one and partly the other, are found apart.
func TestFindApart(t *testing.T) {
	hole, chamfer := r2.Vec{X: 160.4, Y: 158.7}, r2.Vec{X: 158.6, Y: 159.8}
	g := disc(320, 320, hole, 60, 40, 200)
	shadeBetween(g, hole, 60, chamfer, 66, 110)
	mixed := Mark{Centre: r2.Scale(0.5, r2.Add(hole, chamfer)), Radius: 63, Kind: Darker, RimSeen: 1, Score: 20}
	apart, err := FindApart(&Picture{Grey: g}, mixed)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		centre r2.Vec
		radius float64
	}{{hole, 60}, {chamfer, 66}} {
		got, ok := nearest(apart, want.centre, want.radius, Darker)
		if !ok || math.Abs(got.Radius-want.radius) > 1.2 || r2.Norm(r2.Sub(got.Centre, want.centre)) > 0.5 {
			t.Errorf("%.2f px at %.2f, want %g at %.2f; %d found", got.Radius, got.Centre, want.radius, want.centre, len(apart))
		}
	}
}

// Where a chamfer's slope runs into the hole's edge, so that nothing parts the two,
// the size of the others tells the edge of the face.
func TestFindOfSize(t *testing.T) {
	hole, face := r2.Vec{X: 161.8, Y: 158.1}, r2.Vec{X: 160.4, Y: 158.7}
	g := disc(320, 320, face, 66, 220, 90)
	shadeBetween(g, hole, 60, face, 66, 150)
	mixed := Mark{Centre: r2.Scale(0.5, r2.Add(hole, face)), Radius: 63, Kind: Lighter, RimSeen: 1, Score: 20}
	found, err := FindOfSize(&Picture{Grey: g}, mixed, 66)
	if err != nil || len(found) != 1 {
		t.Fatalf("%d found, %v", len(found), err)
	}
	if m := found[0]; math.Abs(m.Radius-66) > 0.3 || r2.Norm(r2.Sub(m.Centre, face)) > 0.4 {
		t.Errorf("%.2f px at %.2f", m.Radius, m.Centre)
	}
}
