package show

import (
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// places finds room for labels, so that none covers another or leaves the
// picture, and so that circles stay clear of them where they can.
type places struct {
	within image.Rectangle
	taken  []rect
	kept   []rect // free of labels for another reason
	rims   []disc
}

type rect struct{ x0, y0, x1, y1 float64 }

type disc struct {
	centre r2.Vec
	radius float64
}

func rectAt(centre r2.Vec, w, h float64) rect {
	return rect{centre.X - w/2, centre.Y - h/2, centre.X + w/2, centre.Y + h/2}
}

func (a rect) overlaps(b rect) bool {
	return a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1
}

// crosses tells whether a circle's line runs through the rectangle.
func (a rect) crosses(d disc) bool {
	nearX := math.Max(a.x0, math.Min(d.centre.X, a.x1)) - d.centre.X
	nearY := math.Max(a.y0, math.Min(d.centre.Y, a.y1)) - d.centre.Y
	farX := math.Max(math.Abs(a.x0-d.centre.X), math.Abs(a.x1-d.centre.X))
	farY := math.Max(math.Abs(a.y0-d.centre.Y), math.Abs(a.y1-d.centre.Y))
	return math.Hypot(nearX, nearY) <= d.radius && d.radius <= math.Hypot(farX, farY)
}

// place takes the first of the centres at which a label of the given size has
// room, clear of circles if any is; ok is false where there is no room.
func (p *places) place(w, h float64, centres []r2.Vec) (at rect, ok bool) {
	for _, clear := range []bool{true, false} {
		for _, c := range centres {
			if r := rectAt(c, w, h); p.free(r) && !(clear && p.onRim(r)) {
				p.taken = append(p.taken, r)
				return r, true
			}
		}
	}
	return rect{}, false
}

func (p *places) free(r rect) bool {
	b := p.within
	if r.x0 < float64(b.Min.X) || r.y0 < float64(b.Min.Y) || r.x1 > float64(b.Max.X) || r.y1 > float64(b.Max.Y) {
		return false
	}
	for _, others := range [][]rect{p.taken, p.kept} {
		for _, t := range others {
			if r.overlaps(t) {
				return false
			}
		}
	}
	return true
}

func (p *places) onRim(r rect) bool {
	for _, d := range p.rims {
		if r.crosses(d) {
			return true
		}
	}
	return false
}

// around are centres for a label of the given size beside a circle, in the
// direction given first and then further and further from it on both sides.
func around(d disc, w, h, gap float64, first r2.Vec) []r2.Vec {
	start := math.Atan2(first.Y, first.X)
	var out []r2.Vec
	for _, far := range []float64{0, 0.6 * h} {
		for _, turn := range []float64{0, 30, -30, 60, -60, 90, -90, 120, -120, 150, -150, 180} {
			sin, cos := math.Sincos(start + turn*math.Pi/180)
			// As far out as its nearest corner or side allows.
			reach := d.radius + gap + far + math.Min(w/2/math.Max(math.Abs(cos), 1e-9), h/2/math.Max(math.Abs(sin), 1e-9))
			out = append(out, r2.Vec{X: d.centre.X + reach*cos, Y: d.centre.Y + reach*sin})
		}
	}
	return out
}
