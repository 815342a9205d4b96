package samples

import (
	"image"
	"image/color"
	"math"
	"testing"
)

// clean is a rubbing without anything that disturbs its edges: the picture is
// then a sharp drawing, whose moments tell where the circles are.
func clean(f Face) Rubbing {
	r := Rubbing{Face: f, DPI: 300, Tone: 0.9, EdgeSoftness: 0.1}
	r.Fit(6)
	return r
}

// centroid is the middle of the brightness that a window of the picture has
// above its darkest, weighted by it. It knows nothing of the renderer.
func centroid(img image.Image, x0, y0, x1, y1 int) (x, y float64) {
	grey := func(i, j int) float64 { return float64(color.GrayModel.Convert(img.At(i, j)).(color.Gray).Y) }
	dark := math.Inf(1)
	for j := y0; j < y1; j++ {
		for i := x0; i < x1; i++ {
			dark = min(dark, grey(i, j))
		}
	}
	var sum, sx, sy float64
	for j := y0; j < y1; j++ {
		for i := x0; i < x1; i++ {
			v := grey(i, j) - dark
			sum += v
			sx += v * (float64(i) + 0.5)
			sy += v * (float64(j) + 0.5)
		}
	}
	return sx / sum, sy / sum
}

func TestCleanHoleCentresAgreeWithMoments(t *testing.T) {
	for _, dpi := range []float64{100, 150, 300, 600} {
		r := clean(Ring(5, 40, 7))
		r.DPI = dpi
		r.Turn, r.ScaleX, r.ScaleY, r.Shear = 17, 0.01, -0.008, 0.02
		img, truth := r.Render()
		for k, h := range truth.Holes {
			half := int(5.5 / truth.MMPerPxX)
			cx, cy := int(h.CentrePx.X), int(h.CentrePx.Y)
			x, y := centroid(img, cx-half, cy-half, cx+half+1, cy+half+1)
			if d := math.Hypot(x-h.CentrePx.X, y-h.CentrePx.Y); d > 0.01 {
				t.Errorf("%g dpi, hole %d: moments %.4f, %.4f; truth %.4f, %.4f: %.4f px apart", dpi, k, x, y, h.CentrePx.X, h.CentrePx.Y, d)
			}
		}
	}
}
