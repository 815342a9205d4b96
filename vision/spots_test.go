package vision

import (
	"image"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// ellipses paints dark ellipses on a light ground that grows darker to the
// right.
func ellipses(w, h int, centres []r2.Vec, long, short, turn float64) *Picture {
	g := image.NewGray(image.Rect(0, 0, w, h))
	sin, cos := math.Sincos(turn)
	for y := range h {
		for x := range w {
			paper := 220 - 120*float64(x)/float64(w)
			v := 0.0
			for k := range 9 {
				p := r2.Vec{X: float64(x) + (float64(k%3)+0.5)/3, Y: float64(y) + (float64(k/3)+0.5)/3}
				grey := paper
				for _, c := range centres {
					d := r2.Sub(p, c)
					if a, b := (d.X*cos+d.Y*sin)/long, (d.Y*cos-d.X*sin)/short; a*a+b*b < 1 {
						grey = 0.2 * paper
					}
				}
				v += grey / 9
			}
			g.Pix[y*g.Stride+x] = uint8(v)
		}
	}
	return &Picture{Grey: g}
}

// Ellipses of any turn and shape are found where they are and as large, in
// light that falls to less than half: to half a pixel and, since a spot is whole
// pixels, the better the larger it is.
func TestSpots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		long := rapid.Float64Range(5, 9).Draw(t, "long")
		short := long * rapid.Float64Range(0.55, 1).Draw(t, "ratio")
		turn := rapid.Float64Range(0, math.Pi).Draw(t, "turn")
		var centres []r2.Vec
		for i := range 3 {
			for j := range 2 {
				centres = append(centres, r2.Vec{X: 40 + 50*float64(i) + rapid.Float64Range(0, 8).Draw(t, "x"), Y: 35 + 50*float64(j) + rapid.Float64Range(0, 8).Draw(t, "y")})
			}
		}
		spots, err := Spots(ellipses(200, 130, centres, long, short, turn))
		if err != nil {
			t.Fatal(err)
		}
		if len(spots) != len(centres) {
			t.Fatalf("%d spots of %d", len(spots), len(centres))
		}
		for _, s := range spots {
			near := math.Inf(1)
			for _, c := range centres {
				near = min(near, r2.Norm(r2.Sub(c, s.Centre)))
			}
			area := math.Pi * long * short
			if near > 0.5 || math.Abs(s.Area/area-1) > 0.2 || math.Abs(s.Ratio-short/long) > 0.75/short {
				t.Fatalf("%+v is %.2f px off; the area is %.1f, the ratio %.2f", s, near, area, short/long)
			}
		}
	})
}

// Bars, letters' corners and what the picture's border cuts are no spots.
func TestNoSpots(t *testing.T) {
	g := image.NewGray(image.Rect(0, 0, 300, 200))
	for i := range g.Pix {
		g.Pix[i] = 200
	}
	for y := range 200 {
		for x := range 300 {
			bar := x > 50 && x < 150 && y > 40 && y < 46
			corner := x > 180 && x < 200 && y > 50 && y < 90 || x > 180 && x < 230 && y > 80 && y < 90
			cut := math.Hypot(float64(x)-299, float64(y)-150) < 12
			if bar || corner || cut {
				g.Pix[y*300+x] = 20
			}
		}
	}
	if spots, err := Spots(&Picture{Grey: g}); err != nil || len(spots) > 0 {
		t.Errorf("%+v, %v", spots, err)
	}
}

// Spots takes any picture.
func FuzzSpots(f *testing.F) {
	f.Add(20, []byte{200, 10, 200, 200, 0})
	f.Add(1, []byte{})
	f.Fuzz(func(t *testing.T, w int, b []byte) {
		w = min(max(w, 1), 200)
		h := min(len(b)/w, 200)
		g := &image.Gray{Pix: b[:w*h], Stride: w, Rect: image.Rect(0, 0, w, h)}
		spots, err := Spots(&Picture{Grey: g})
		if err != nil {
			return
		}
		for _, s := range spots {
			if !(s.Area > 0) || !(s.Ratio > 0 && s.Ratio <= 1) || !(s.Centre.X >= 0 && s.Centre.X <= float64(w) && s.Centre.Y >= 0 && s.Centre.Y <= float64(h)) {
				t.Errorf("%+v", s)
			}
		}
	})
}
