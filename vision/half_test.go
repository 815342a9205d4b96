package vision

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Of a hole rubbed by half the edge is as steep as that of one rubbed all round, and
// the step across it as high: what is not seen says nothing of either.
func TestHalfARim(t *testing.T) {
	centre := r2.Vec{X: 100.4, Y: 99.7}
	rubbed := func(share float64) *image.Gray {
		rng := rand.New(rand.NewPCG(5, 6))
		g := disc(200, 200, centre, 40, 220, 130)
		for y := range 200 {
			for x := range 200 {
				p := &g.Pix[y*g.Stride+x]
				if math.Abs(math.Atan2(float64(y)-centre.Y, float64(x)-centre.X)) > share*math.Pi {
					*p = 220
				}
				*p = uint8(min(max(float64(*p)+6*rng.NormFloat64(), 0), 255))
			}
		}
		return g
	}
	whole, ok := MeasureAt(&Picture{Grey: rubbed(1)}, centre, 40)
	if !ok {
		t.Fatal("no whole hole")
	}
	for _, share := range []float64{0.8, 0.6, 0.45} {
		m, ok := MeasureAt(&Picture{Grey: rubbed(share)}, centre, 40)
		if !ok || math.Abs(m.RimSeen-share) > 0.12 || m.Contrast < 0.85*whole.Contrast || m.Step < 0.85*whole.Step {
			t.Errorf("%g of the rim: found %v, %.2f of it, contrast %.1f of %.1f, step %.0f of %.0f", share, ok, m.RimSeen, m.Contrast, whole.Contrast, m.Step, whole.Step)
		}
	}
}
