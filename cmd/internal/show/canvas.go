package show

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"sort"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
	"gonum.org/v1/gonum/spatial/r2"
)

// canvas draws smooth lines and letters. Each has a white halo, so that it
// can be read on dark pencil.
type canvas struct {
	img *image.RGBA
	s   float64 // px, the unit of line widths: a thousandth of the picture's longer side
}

// maxSide is the longer side (px) of the drawn scan: enough to judge a rim
// that was taken, and small enough to send by mail.
const maxSide = 2000

// canvasFor is a canvas for a picture drawn k times as large, w × h pixels:
// small ones are enlarged a little. Its image is still to be made.
func canvasFor(size image.Point) (c canvas, k float64, w, h int) {
	longer := float64(max(size.X, size.Y))
	k = math.Min(1, maxSide/longer)
	if longer < maxSide/2 {
		k = math.Min(2, maxSide/2/longer)
	}
	side := func(px int) int { return max(1, int(math.Round(k*float64(px)))) }
	return canvas{s: math.Max(k*longer/1000, 0.8)}, k, side(size.X), side(size.Y)
}

var halo = color.NRGBA{255, 255, 255, 200}

// dash is the pattern of a line: lengths drawn and left out, by turns, in
// units. None draws through.
type dash []float64

// pen is how a line looks.
type pen struct {
	colour color.NRGBA
	width  float64 // units
	dash   dash
}

// circle draws a circle's line.
func (c *canvas) circle(centre r2.Vec, radius float64, p pen) {
	turn := func(from, to, half float64) func(path) {
		return func(z path) { z.band(centre, radius, from, to, half) }
	}
	half := p.width * c.s / 2
	box := square(centre, radius+half+2*c.s)
	c.stroke(box, 2*math.Pi*radius, p, func(from, to, half float64) func(path) {
		return turn(from/radius, to/radius, half)
	})
}

// loop draws a smooth closed line through points that lie close together.
func (c *canvas) loop(points []r2.Vec, p pen) {
	along := make([]float64, len(points)+1) // how far each point is from the first
	box := image.Rectangle{}
	for i, a := range points {
		along[i+1] = along[i] + r2.Norm(r2.Sub(points[(i+1)%len(points)], a))
		box = box.Union(square(a, p.width*c.s/2+2*c.s))
	}
	at := func(length, side float64) r2.Vec {
		i := min(max(sort.SearchFloat64s(along, length)-1, 0), len(points)-1)
		a, step := points[i], r2.Sub(points[(i+1)%len(points)], points[i])
		f := (length - along[i]) / math.Max(along[i+1]-along[i], 1e-9)
		across := r2.Unit(r2.Vec{X: -step.Y, Y: step.X})
		return r2.Add(r2.Add(a, r2.Scale(f, step)), r2.Scale(side, across))
	}
	c.stroke(box, along[len(points)], p, func(from, to, half float64) func(path) {
		return func(z path) {
			n := int(to-from) + 1
			var outline []r2.Vec
			for i := 0; i <= n; i++ {
				outline = append(outline, at(from+(to-from)*float64(i)/float64(n), half))
			}
			for i := n; i >= 0; i-- {
				outline = append(outline, at(from+(to-from)*float64(i)/float64(n), -half))
			}
			z.polygon(outline...)
		}
	})
}

// line draws a straight line.
func (c *canvas) line(a, b r2.Vec, p pen) {
	length := r2.Norm(r2.Sub(b, a))
	if length == 0 {
		return
	}
	along := r2.Scale(1/length, r2.Sub(b, a))
	side := r2.Vec{X: -along.Y, Y: along.X}
	box := image.Rect(int(math.Min(a.X, b.X)), int(math.Min(a.Y, b.Y)), int(math.Max(a.X, b.X))+1, int(math.Max(a.Y, b.Y))+1)
	c.stroke(box.Inset(-int(p.width*c.s+2*c.s)-2), length, p, func(from, to, half float64) func(path) {
		return func(z path) {
			p, q := r2.Add(a, r2.Scale(from, along)), r2.Add(a, r2.Scale(to, along))
			h := r2.Scale(half, side)
			z.polygon(r2.Add(p, h), r2.Add(q, h), r2.Sub(q, h), r2.Sub(p, h))
		}
	})
}

// cross marks a point.
func (c *canvas) cross(at r2.Vec, arm float64, colour color.NRGBA) {
	arms := func(half, longer float64) func(path) {
		return func(z path) {
			a := arm*c.s + longer
			for _, s := range []r2.Vec{{X: a, Y: half}, {X: half, Y: a}} {
				z.polygon(r2.Sub(at, s), r2.Vec{X: at.X + s.X, Y: at.Y - s.Y}, r2.Add(at, s), r2.Vec{X: at.X - s.X, Y: at.Y + s.Y})
			}
		}
	}
	box := square(at, (arm+2)*c.s)
	c.fill(box, halo, arms(1.6*c.s, c.s))
	c.fill(box, colour, arms(0.65*c.s, 0))
}

// stroke draws the pieces of a line of some length, halo first. piece gives
// the outline of the line from one length along it to another.
func (c *canvas) stroke(box image.Rectangle, length float64, p pen, piece func(from, to, half float64) func(path)) {
	pieces := func(half, longer float64) func(path) {
		return func(z path) {
			if len(p.dash) == 0 {
				piece(0, length, half)(z)
				return
			}
			for at, i := 0.0, 0; at < length; i++ {
				step := math.Max(0.5, p.dash[i%len(p.dash)]*c.s)
				if i%2 == 0 {
					piece(at-longer, math.Min(at+step, length)+longer, half)(z)
				}
				at += step
			}
		}
	}
	half := p.width * c.s / 2
	c.fill(box, halo, pieces(half+c.s, 0))
	c.fill(box, p.colour, pieces(half, 0))
}

// box fills a rectangle.
func (c *canvas) box(r image.Rectangle, colour color.NRGBA) {
	draw.Draw(c.img, r.Intersect(c.img.Rect), image.NewUniform(colour), image.Point{}, draw.Over)
}

// fill fills what outline draws, within box.
func (c *canvas) fill(box image.Rectangle, colour color.NRGBA, outline func(path)) {
	box = box.Intersect(c.img.Rect)
	if box.Empty() {
		return
	}
	z := path{vector.NewRasterizer(box.Dx(), box.Dy()), r2.Vec{X: float64(box.Min.X), Y: float64(box.Min.Y)}}
	outline(z)
	z.Draw(c.img, box, image.NewUniform(colour), image.Point{})
}

func square(centre r2.Vec, half float64) image.Rectangle {
	return image.Rect(int(centre.X-half)-1, int(centre.Y-half)-1, int(centre.X+half)+2, int(centre.Y+half)+2)
}

// path is a rasterizer whose corner lies at origin.
type path struct {
	*vector.Rasterizer
	origin r2.Vec
}

func (z path) polygon(points ...r2.Vec) {
	for i, p := range points {
		x, y := float32(p.X-z.origin.X), float32(p.Y-z.origin.Y)
		if i == 0 {
			z.MoveTo(x, y)
		} else {
			z.LineTo(x, y)
		}
	}
	z.ClosePath()
}

// band is the piece of a ring from one angle to another.
func (z path) band(centre r2.Vec, radius, from, to, half float64) {
	steps := int(math.Ceil((to-from)*math.Sqrt(radius+half)*2)) + 1 // within 1/32 px of the arc
	points := make([]r2.Vec, 0, 2*steps+2)
	at := func(r float64, i int) r2.Vec {
		sin, cos := math.Sincos(from + (to-from)*float64(i)/float64(steps))
		return r2.Vec{X: centre.X + r*cos, Y: centre.Y - r*sin}
	}
	for i := 0; i <= steps; i++ {
		points = append(points, at(radius+half, i))
	}
	for i := steps; i >= 0; i-- {
		points = append(points, at(math.Max(0, radius-half), i))
	}
	z.polygon(points...)
}

// lettering is a font at a size.
type lettering struct {
	face   font.Face
	height float64 // px, of a capital
	line   float64 // px, from line to line
}

// newLettering gives the Go fonts, which come with this program.
func newLettering(bold bool, px float64) (lettering, error) {
	ttf := goregular.TTF
	if bold {
		ttf = gobold.TTF
	}
	f, err := opentype.Parse(ttf)
	if err != nil {
		return lettering{}, err
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: px, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return lettering{}, err
	}
	return lettering{face, 0.73 * px, 1.25 * px}, nil
}

func (l lettering) width(text string) float64 {
	return float64(font.MeasureString(l.face, text)) / 64
}

// text writes a line of letters from its lower left corner on.
func (c *canvas) text(l lettering, at r2.Vec, text string, colour color.NRGBA) {
	put := func(dx, dy float64, colour color.NRGBA) {
		d := font.Drawer{
			Dst: c.img, Src: image.NewUniform(colour), Face: l.face,
			Dot: fixed.Point26_6{X: fixed.Int26_6(64 * (at.X + dx)), Y: fixed.Int26_6(64 * (at.Y + dy))},
		}
		d.DrawString(text)
	}
	for i := range 12 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 6)
		put(1.6*c.s*cos, 1.6*c.s*sin, halo)
	}
	put(0, 0, colour)
}
