package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Of a hole in torn paper a part of the rim is paler than the lead round it, and the
// rest darker. Found along a path are both such a hole and whole ones, and nothing
// in the texture between them.
func TestFindAlongTorn(t *testing.T) {
	const radius = 30.0
	whole, torn := r2.Vec{X: 90.3, Y: 100.6}, r2.Vec{X: 290.8, Y: 99.5}
	for _, deg := range []float64{0, 100, 215} {
		rng := rand.New(rand.NewPCG(uint64(deg), 3))
		g := disc(400, 200, whole, radius, 225, 130)
		sin, cos := math.Sincos(deg * math.Pi / 180)
		for y := range 200 {
			for x := range 400 {
				p := &g.Pix[y*g.Stride+x]
				if share := coverage(x, y, torn, radius); share > 0 {
					dx, dy := float64(x)+0.5-torn.X, float64(y)+0.5-torn.Y
					inside := uint8(225)
					if dx*cos+dy*sin > 0 {
						inside = 30
					}
					*p = blend(inside, 130, share)
				}
				*p = uint8(min(max(float64(*p)+12*rng.NormFloat64(), 0), 255))
			}
		}
		pic := &Picture{Grey: g}
		like, ok := nearest(find(t, g), whole, radius, Lighter)
		if !ok {
			t.Fatal("no whole hole")
		}
		var path []r2.Vec
		for x := 60.0; x < 340; x += 4 {
			path = append(path, r2.Vec{X: x, Y: 100})
		}
		marks, err := FindAlong(pic, path, like)
		if err != nil {
			t.Fatal(err)
		}
		m, ok := nearest(marks, torn, radius, Lighter)
		if !ok || r2.Norm(r2.Sub(m.Centre, torn)) > 0.5 || m.RimSeen > 0.65 || m.Score < 0.7*like.Score {
			t.Errorf("torn at %g°: %+.2f, radius %.2f, %.2f of the rim, score %.1f of %.1f", deg, r2.Sub(m.Centre, torn), m.Radius, m.RimSeen, m.Score, like.Score)
		}
		for _, m := range marks {
			if r2.Norm(r2.Sub(m.Centre, torn)) > radius && r2.Norm(r2.Sub(m.Centre, whole)) > radius {
				t.Errorf("torn at %g°: a circle of radius %.1f at %.1f", deg, m.Radius, m.Centre)
			}
		}
	}
}

// The arc of the largest sum may lie across the cut of the ring.
func TestTwoArcs(t *testing.T) {
	for _, c := range []struct {
		ring          []float64
		largest, rest float64
	}{
		{nil, 0, 0},
		{[]float64{2, 3, 1}, 6, 0},
		{[]float64{-2, -3}, 0, -5},
		{[]float64{-1, 4, 5, -2, -3}, 9, -6},
		{[]float64{4, -2, -3, 5}, 9, -5},
		{[]float64{1, -9, 2, -1, 6, -9, 3}, 7, -14},
	} {
		if largest, rest := twoArcs(c.ring); largest != c.largest || rest != c.rest {
			t.Errorf("%v: %g and %g, want %g and %g", c.ring, largest, rest, c.largest, c.rest)
		}
	}
}
