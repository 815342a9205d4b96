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

// maxPixels bounds the picture that a Rubbing can ask for: beyond it, the
// resolution is lowered.
const maxPixels = 150e6

func newPlacement(r Rubbing) placement {
	dpi := r.DPI
	p := placement{shear: r.Shear}
	p.sin, p.cos = math.Sincos(r.Turn * math.Pi / 180)
	if px := r.Width * r.Height * dpi * dpi / (25.4 * 25.4); px > maxPixels {
		dpi *= math.Sqrt(maxPixels / px)
	}
	p.w = max(1, int(math.Round(r.Width*dpi/25.4)))
	p.h = max(1, int(math.Round(r.Height*dpi/25.4)))
	p.dpi = dpi
	p.mmX = 25.4 / dpi * (1 + r.ScaleX)
	p.mmY = 25.4 / dpi * (1 + r.ScaleY)
	middle := p.glassOfPx(float64(p.w)/2, float64(p.h)/2)
	p.origin = r2.Vec{X: middle.X + r.Offset.X, Y: middle.Y - r.Offset.Y}
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
