package vision_test

import (
	"errors"
	"image"
	"image/color"
	"math"
	"testing"

	"boltrose/samples"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// sawtooth draws a rod with a sharp 60° thread of one start, seen exactly from
// the side: both outlines are straight-sided, and half a pitch apart. It is
// drawn by distances, without the scan renderer.
func sawtooth(period, radius, turn float64, dark bool) *vision.Picture {
	const w, h = 700, 400
	img := image.NewGray(image.Rect(0, 0, w, h))
	sin, cos := math.Sincos(turn * math.Pi / 180)
	depth := period * 0.6
	reach := func(u float64) float64 {
		t := math.Abs(u/period - math.Round(u/period)) // 0 at the crest
		return radius - math.Min(depth, math.Max(0, t-1./16)*period*math.Sqrt(3))
	}
	for y := range h {
		for x := range w {
			covered := 0
			for k := range 16 {
				px, py := float64(x)+(float64(k%4)+0.5)/4-w/2., float64(y)+(float64(k/4)+0.5)/4-h/2.
				u, v := px*cos+py*sin, -px*sin+py*cos
				r := reach(u)
				if v < 0 {
					r = reach(u + period/2)
				}
				if math.Abs(u) < 230 && math.Abs(v) < r {
					covered++
				}
			}
			v := 230 - 180*float64(covered)/16
			if dark {
				v = 20 + 150*float64(covered)/16
			}
			img.SetGray(x, y, color.Gray{Y: uint8(v)})
		}
	}
	return &vision.Picture{Grey: img}
}

// Pitch, diameter, axis and flanks of a thread that is known by construction.
func TestFindThread(t *testing.T) {
	for _, c := range []struct {
		period, radius, turn float64
		dark                 bool
	}{
		{23.4567, 75, 0, false}, {23.4567, 75, 7, true}, {40.1, 90, 90, false}, {11.3, 50, -30, false}, {6.1, 24, 3, true},
	} {
		o, err := vision.FindThread(sawtooth(c.period, c.radius, c.turn, c.dark))
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		if math.Abs(o.Period/c.period-1) > 0.0005 {
			t.Errorf("%+v: crests %.4f px apart", c, o.Period)
		}
		sin, cos := math.Sincos(c.turn * math.Pi / 180)
		if lean := math.Abs(r2.Cross(o.Along, r2.Vec{X: cos, Y: sin})); lean > 0.003 {
			t.Errorf("%+v: the axis leans by %.4f", c, lean)
		}
		across := math.Abs(r2.Cross(r2.Sub(o.Crests[0], o.Crests[1]), o.Along))
		if off := across - 2*c.radius; math.Abs(off) > math.Max(0.6, 3*math.Sqrt2*o.UCrest) {
			t.Errorf("%+v: %.2f px over the crests, not %.2f (±%.2f)", c, across, 2*c.radius, 2*math.Sqrt2*o.UCrest)
		}
		long := 460.0
		if c.turn == 90 { // it runs out of the picture
			long = 400
		}
		if want := int(long/c.period) - 2; o.Turns < want {
			t.Errorf("%+v: %d turns, at least %d wanted", c, o.Turns, want)
		}
		if c.period > 20 {
			angle := math.Acos(r2.Dot(o.Flanks[0], o.Flanks[1])) * 180 / math.Pi
			if o.UFlank == 0 || math.Abs(angle-60) > 1.5 {
				t.Errorf("%+v: %.2f° between the flanks (u %.4f)", c, angle, o.UFlank)
			}
		}
		if c.period < 10 && o.UFlank != 0 {
			t.Errorf("%+v: flanks of %.1f px are told", c, c.period)
		}
	}
}

// A picture that is turned or mirrored shows the same thread.
func TestFindThreadMoves(t *testing.T) {
	s := samples.CiderPressBolt()
	img, _ := s.Render()
	first, err := vision.FindThread(&vision.Picture{Grey: img})
	if err != nil {
		t.Fatal(err)
	}
	w, h := img.Rect.Dx(), img.Rect.Dy()
	for name, move := range map[string]func(x, y int) (int, int){
		"mirrored":     func(x, y int) (int, int) { return w - 1 - x, y },
		"upside down":  func(x, y int) (int, int) { return x, h - 1 - y },
		"on its side":  func(x, y int) (int, int) { return y, x },
		"turned round": func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
	} {
		size := image.Rect(0, 0, w, h)
		if name == "on its side" {
			size = image.Rect(0, 0, h, w)
		}
		moved := image.NewGray(size)
		for y := range h {
			for x := range w {
				u, v := move(x, y)
				moved.SetGray(u, v, img.GrayAt(x, y))
			}
		}
		o, err := vision.FindThread(&vision.Picture{Grey: moved})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if math.Abs(o.Period/first.Period-1) > 3e-4 || o.Turns < first.Turns-1 {
			t.Errorf("%s: %.4f px over %d turns, not %.4f over %d", name, o.Period, o.Turns, first.Period, first.Turns)
		}
	}
}

// Pictures without a thread are told, and nothing stops the program.
func TestFindThreadInNothing(t *testing.T) {
	plain := image.NewGray(image.Rect(0, 0, 300, 200))
	for i := range plain.Pix {
		plain.Pix[i] = 220
	}
	rod := image.NewGray(plain.Rect)
	copy(rod.Pix, plain.Pix)
	for y := 80; y < 120; y++ {
		for x := 40; x < 260; x++ {
			rod.SetGray(x, y, color.Gray{Y: 60})
		}
	}
	noise := image.NewGray(plain.Rect)
	for i := range noise.Pix {
		noise.Pix[i] = uint8(i * i * 7919 >> 5)
	}
	for name, img := range map[string]*image.Gray{
		"plain paper": plain, "a plain rod": rod, "noise": noise,
		"one pixel": image.NewGray(image.Rect(0, 0, 1, 1)), "a line": image.NewGray(image.Rect(0, 0, 500, 1)),
	} {
		if o, err := vision.FindThread(&vision.Picture{Grey: img}); !errors.Is(err, vision.ErrNoThread) {
			t.Errorf("%s: %+v, %v", name, o, err)
		}
	}
}
