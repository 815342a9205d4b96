package read_test

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// pinhole is a camera that looks at the face's origin, moved to the right until its
// axis is tilted.
type pinhole struct{ distance, tilt, focal, width, high float64 }

func (c pinhole) project(p r2.Vec, z float64) r2.Vec {
	s, k := math.Sincos(c.tilt)
	away := c.distance - s*p.X - k*z
	return r2.Vec{X: c.width/2 + c.focal*(k*p.X-s*z)/away, Y: c.high/2 - c.focal*p.Y/away}
}

// at is what is seen at a pixel at the height z over the face.
func (c pinhole) at(px r2.Vec, z float64) r2.Vec {
	s, k := math.Sincos(c.tilt)
	x, y := (px.X-c.width/2)/c.focal, (px.Y-c.high/2)/c.focal
	t := (c.distance*k - z) / (s*x + k)
	return r2.Vec{X: c.distance*s + t*(k*x-s), Y: -t * y}
}

// countersunk draws holes of 8 mm at the bottom of countersinks of 13 mm, 2.5 mm
// deep, lit from the right: the cones are as bright as the face on average, darker
// on the right and lighter on the left.
func countersunk(cam pinhole, at []r2.Vec) *vision.Picture {
	const mouth, bottom, deep, soft = 6.5, 4.0, 2.5, 0.09
	rng := rand.New(rand.NewPCG(7, 8))
	g := image.NewGray(image.Rect(0, 0, int(cam.width), int(cam.high)))
	within := func(radius float64, c, p r2.Vec) float64 { return 0.5 * math.Erfc((r2.Norm(r2.Sub(p, c))-radius)/soft) }
	for i := range g.Pix {
		px := r2.Vec{X: float64(i%g.Stride) + 0.5, Y: float64(i/g.Stride) + 0.5}
		face, below := cam.at(px, 0), cam.at(px, -deep)
		v := 150.0
		for _, c := range at {
			if in := within(mouth, c, face); in > 1e-3 {
				v -= in * 40 * (face.X - c.X) / mouth
				v += in * within(bottom, c, below) * (50 - v)
			}
		}
		g.Pix[i] = uint8(math.Round(min(max(v+2*rng.NormFloat64(), 0), 255)))
	}
	return &vision.Picture{Grey: g}
}

// Countersinks as bright as the face show by their shade alone, which is darker on
// one side and lighter on the other: the holes are put into the face by it. Where
// the holes themselves are the known points, they are where they are said to be.
func TestCountersinksOfEitherShade(t *testing.T) {
	cam := pinhole{distance: 300, tilt: 25 * math.Pi / 180, focal: 1300, width: 1600, high: 1200}
	var at []r2.Vec
	for i := range 5 {
		s, c := math.Sincos(math.Pi * (0.1 + 0.4*float64(i)))
		at = append(at, r2.Vec{X: 40 * c, Y: 40 * s})
	}
	pic := countersunk(cam, at)
	for _, c := range []struct {
		name   string
		points []r2.Vec
		z      float64
	}{
		{"points of the face", []r2.Vec{{X: -70, Y: -50}, {X: 70, Y: -50}, {X: 70, Y: 50}, {X: -70, Y: 50}, {Y: 60}, {Y: -60}}, 0},
		{"the holes", at, -2.5},
	} {
		var ties []calib.Tie
		for _, mm := range c.points {
			ties = append(ties, calib.Tie{Px: cam.project(mm, c.z), MM: mm, U95: 0.02})
		}
		res, err := read.Picture(pic, "countersunk", read.Options{Ties: ties, ScaleU: -1})
		if err != nil {
			t.Fatal(c.name, err)
		}
		r := res.Reading
		if len(r.Holes) != len(at) || r.PitchCircle == nil {
			t.Fatalf("%s: %d holes", c.name, len(r.Holes))
		}
		if off := r.PitchCircle.Diameter - 80; math.Abs(off) > 0.1 {
			t.Errorf("%s: the pitch circle is %.2f mm off", c.name, off)
		}
		for _, h := range r.Holes {
			if h.OuterDiameter == nil || math.Abs(*h.OuterDiameter-13) > 0.2 {
				t.Errorf("%s: hole %d shows no countersink", c.name, h.ID)
			}
		}
	}
}
