package samples

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// A pinhole without tilt: similar triangles.
func TestStraightCamera(t *testing.T) {
	c := NewCamera(400)
	for _, v := range []struct {
		at   r3.Vec
		want r2.Vec
	}{
		{r3.Vec{}, r2.Vec{X: 2000, Y: 1500}},
		{r3.Vec{X: 100}, r2.Vec{X: 2000 + 3050*100/400.0, Y: 1500}},
		{r3.Vec{Y: 40}, r2.Vec{X: 2000, Y: 1500 - 305}},
		{r3.Vec{X: 100, Z: 200}, r2.Vec{X: 2000 + 3050*100/200.0, Y: 1500}},
	} {
		got, ok := c.Project(v.at)
		if !ok || r2.Norm(r2.Sub(got, v.want)) > 1e-9 {
			t.Errorf("%v is seen at %v, want %v", v.at, got, v.want)
		}
	}
	c.Turn = 90 // the face's right goes up
	if got, _ := c.Project(r3.Vec{X: 40}); r2.Norm(r2.Sub(got, r2.Vec{X: 2000, Y: 1500 - 305})) > 1e-9 {
		t.Errorf("turned: %v", got)
	}
	c.Turn = 0
	c.K1, c.K2 = -0.2, 0.05
	// x = 0.25: r² = 0.0625, factor 1 − 0.0125 + 0.05 × 0.00390625.
	if got, _ := c.Project(r3.Vec{X: 100}); math.Abs(got.X-(2000+3050*0.25*0.9876953125)) > 1e-9 {
		t.Errorf("through the lens: %v", got)
	}
}

// Tilted by 30° towards the right, the near side looks larger.
func TestTiltedCamera(t *testing.T) {
	c := NewCamera(400)
	c.Tilt, c.Toward = 30, 0
	near, _ := c.Project(r3.Vec{X: 50})
	far, _ := c.Project(r3.Vec{X: -50})
	// Depths 400 ∓ 50 sin 30°, sideways 50 cos 30°.
	if want := 2000 + 3050*50*math.Cos(math.Pi/6)/375; math.Abs(near.X-want) > 1e-9 {
		t.Errorf("near %v, want %.3f", near, want)
	}
	if want := 2000 - 3050*50*math.Cos(math.Pi/6)/425; math.Abs(far.X-want) > 1e-9 {
		t.Errorf("far %v, want %.3f", far, want)
	}
}

func TestProjectAndUnprojectAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		c := NewCamera(f("distance", 250, 700))
		c.K1 = f("k1", -0.25, 0.1)
		c.K2 = f("k2", 0.05, 0.15)
		c.Tilt, c.Toward, c.Turn = f("tilt", 0, 45), f("toward", 0, 360), f("turn", 0, 360)
		c.Aim = r2.Vec{X: f("aim x", -30, 30), Y: f("aim y", -30, 30)}
		c.Principal = r2.Add(c.Principal, r2.Vec{X: f("px", -60, 60), Y: f("py", -60, 60)})
		p := r3.Vec{X: f("x", -80, 80), Y: f("y", -80, 80), Z: f("z", -20, 20)}
		px, ok := c.Project(p)
		if !ok {
			t.Fatal("not seen")
		}
		if !c.inside(px) {
			return
		}
		back, ok := c.Unproject(px, p.Z)
		if !ok || math.Hypot(back.X-p.X, back.Y-p.Y) > 1e-5 {
			t.Fatalf("%v back at %v", p, back)
		}
	})
}

func TestNoImage(t *testing.T) {
	c := NewCamera(400)
	if _, ok := c.Project(r3.Vec{Z: 500}); ok {
		t.Error("behind the camera")
	}
	c.K1 = -0.6 // folds over at r = 0.745
	if _, ok := c.Project(r3.Vec{X: 400}); ok {
		t.Error("beyond the fold")
	}
	if _, ok := c.Unproject(r2.Vec{X: 1, Y: 1}, 0); ok {
		t.Error("no ray goes there")
	}
}
