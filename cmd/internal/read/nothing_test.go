package read_test

import (
	"errors"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"
)

// A picture without holes gives no pattern: rather no reading than a wrong
// one. Two holes give no pitch circle, and are not lost to what the texture
// beside them looks like.
func TestNoPatternFromNothing(t *testing.T) {
	noise := func(sigma float64, level func(x, y int) float64) *image.Gray {
		rng := rand.New(rand.NewPCG(1, uint64(sigma*10)))
		g := image.NewGray(image.Rect(0, 0, 900, 900))
		for y := range 900 {
			for x := range 900 {
				g.Pix[y*g.Stride+x] = uint8(min(max(level(x, y)+sigma*rng.NormFloat64(), 0), 255))
			}
		}
		return g
	}
	flat := func(x, y int) float64 { return 200 }
	ramp := func(x, y int) float64 { return 60 + float64(x)/6 }
	streaks := func(x, y int) float64 { return 150 + 60*math.Sin(float64(x+y)/9) }
	for name, level := range map[string]func(x, y int) float64{"flat": flat, "ramp": ramp, "streaks": streaks} {
		for _, sigma := range []float64{1, 3, 8, 20, 40} {
			t.Run(fmt.Sprintf("%s %g", name, sigma), func(t *testing.T) {
				res, err := read.Picture(pictureOf(noise(sigma, level), 300), "nothing", read.Options{ScaleU: -1})
				if !errors.Is(err, pattern.ErrNoPattern) {
					t.Errorf("%v, %d holes", err, len(res.Reading.Holes))
				}
			})
		}
	}
	t.Run("two holes", func(t *testing.T) {
		two := noise(6, func(x, y int) float64 {
			for _, c := range [][2]float64{{300, 450}, {600, 460}} {
				if math.Hypot(float64(x)+0.5-c[0], float64(y)+0.5-c[1]) < 59 {
					return 240
				}
			}
			return 130
		})
		res, err := read.Picture(pictureOf(two, 300), "two", read.Options{ScaleU: -1})
		if err != nil {
			t.Fatal(err)
		}
		if res.Reading.PitchCircle != nil || len(res.Reading.Holes) != 2 {
			t.Errorf("%d holes, pitch circle %v", len(res.Reading.Holes), res.Reading.PitchCircle)
		}
	})
}
