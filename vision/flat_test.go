package vision

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Where nothing is to change nothing does, to the pixel.
func TestFlattenNothing(t *testing.T) {
	pic := ellipses(120, 90, []r2.Vec{{X: 50, Y: 40}}, 20, 15, 0.3)
	flat, err := Flatten(pic, 120, 90, [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range flat.Grey.Pix {
		if v != pic.Grey.Pix[i] {
			t.Fatalf("pixel %d is %d, was %d", i, v, pic.Grey.Pix[i])
		}
	}
}

// A circle that is seen as an ellipse is a circle in the flat view, measured
// where it is, and its edge goes back onto the ellipse: half the height on
// the face makes one pixel of the picture, and there is a little perspective.
func TestFlattenEllipse(t *testing.T) {
	toPx := [9]float64{1, 0, 20, 0, 0.6, 30, 0, 0.0004, 1}
	// The picture: what toPx makes of a circle at (90, 110) of radius 40.
	centre, radius := r2.Vec{X: 90, Y: 110}, 40.0
	pic := ellipses(240, 160, nil, 1, 1, 0)
	for y := range 160 {
		for x := range 240 {
			in := 0.0
			for k := range 64 {
				px, py := float64(x)+(float64(k%8)+0.5)/8, float64(y)+(float64(k/8)+0.5)/8
				v := (py - 30) / (0.6 - 0.0004*py)
				u := px*(1+0.0004*v) - 20
				if r2.Norm(r2.Sub(r2.Vec{X: u, Y: v}, centre)) < radius {
					in += 1. / 64
				}
			}
			pic.Grey.Pix[y*240+x] = uint8(200 - 160*in)
		}
	}
	flat, err := Flatten(pic, 200, 200, toPx)
	if err != nil {
		t.Fatal(err)
	}
	m, ok := MeasureAt(flat.Picture, centre, radius)
	if !ok {
		t.Fatal("the circle is not there")
	}
	if off := r2.Norm(r2.Sub(m.Centre, centre)); off > 0.03 || math.Abs(m.Radius-radius) > 0.1 {
		t.Errorf("off by %.3f px, radius %.3f", off, m.Radius)
	}
	back := flat.Back(m)
	for i, e := range back.Edge {
		v := (e.Y - 30) / (0.6 - 0.0004*e.Y)
		u := e.X*(1+0.0004*v) - 20
		if r2.Norm(r2.Sub(r2.Vec{X: u, Y: v}, m.Edge[i])) > 1e-9 {
			t.Fatalf("%v came back as %v", m.Edge[i], e)
		}
	}
	if area := (0.6 - 30*0.0004) / math.Pow(1+0.0004*110, 3); math.Abs(back.Radius/m.Radius/math.Sqrt(area)-1) > 1e-3 {
		t.Errorf("radius %.3f became %.3f", m.Radius, back.Radius)
	}
	if len(m.Edge) > 0 && &m.Edge[0] == &back.Edge[0] {
		t.Error("the flat's mark was changed")
	}
}

func TestFlattenRefuses(t *testing.T) {
	pic := ellipses(20, 20, nil, 1, 1, 0)
	same := [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
	for _, size := range [][2]int{{0, 5}, {5, 0}, {-1, 5}, {1 << 15, 5}, {5, 1 << 15}, {math.MaxInt, math.MaxInt}, {30000, 30000}} {
		if _, err := Flatten(pic, size[0], size[1], same); err == nil {
			t.Errorf("%v was made", size)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		bad := same
		bad[4] = v
		if _, err := Flatten(pic, 5, 5, bad); err == nil {
			t.Errorf("%g was taken", v)
		}
	}
	// Beyond the horizon, or with no plane at all, there is something to see
	// or nothing, but no crash.
	for _, m := range [][9]float64{{}, {1, 0, 0, 0, 1, 0, 1, 1, -5}, {1e300, 0, 0, 0, 1e300, 0, 0, 0, 1e-300}} {
		if _, err := Flatten(pic, 9, 9, m); err != nil {
			t.Log(err)
		}
	}
}
