package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// placement maps the face to the scanner's glass and the glass to pixels.
// Glass coordinates are true millimetres from the picture's top-left corner,
// x right, y down: the frame in which paper, strokes and metal are drawn.
type placement struct {
	origin   r2.Vec // glass, mm, of the face's origin
	sin, cos float64
	mmX, mmY float64 // true millimetres per pixel
	shear    float64
	dpi      float64 // nominal
	w, h     int     // picture, px
}

// maxPixels bounds the picture that a Rubbing can ask for.
const maxPixels = 150e6

func newPlacement(r Rubbing) placement {
	dpi := clamp(r.DPI, 20, 4800)
	p := placement{shear: clamp(r.Shear, -0.2, 0.2)}
	p.sin, p.cos = math.Sincos(clamp(r.Turn, -1e6, 1e6) * math.Pi / 180)
	width, height := clamp(r.Width, 1, 2000), clamp(r.Height, 1, 2000)
	if px := width * height * dpi * dpi / (25.4 * 25.4); px > maxPixels {
		dpi *= math.Sqrt(maxPixels / px)
	}
	p.w = max(1, int(math.Round(width*dpi/25.4)))
	p.h = max(1, int(math.Round(height*dpi/25.4)))
	p.dpi = dpi
	p.mmX = 25.4 / dpi * (1 + clamp(r.ScaleX, -0.2, 0.2))
	p.mmY = 25.4 / dpi * (1 + clamp(r.ScaleY, -0.2, 0.2))
	middle := p.glassOfPx(float64(p.w)/2, float64(p.h)/2)
	p.origin = r2.Vec{
		X: middle.X + clamp(r.Offset.X, -2000, 2000),
		Y: middle.Y - clamp(r.Offset.Y, -2000, 2000),
	}
	return p
}

func (p placement) glassOfPx(x, y float64) r2.Vec {
	gy := y * p.mmY
	return r2.Vec{X: x*p.mmX - p.shear*gy, Y: gy}
}

func (p placement) glass(face r2.Vec) r2.Vec {
	return r2.Vec{
		X: p.origin.X + face.X*p.cos - face.Y*p.sin,
		Y: p.origin.Y - face.X*p.sin - face.Y*p.cos,
	}
}

func (p placement) px(face r2.Vec) r2.Vec {
	g := p.glass(face)
	return r2.Vec{X: (g.X + p.shear*g.Y) / p.mmX, Y: g.Y / p.mmY}
}

// clamp also turns what is not a number into lo.
func clamp(v, lo, hi float64) float64 {
	if !(v > lo) {
		return lo
	}
	return min(v, hi)
}
