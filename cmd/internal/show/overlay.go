package show

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"

	"github.com/disintegration/imaging"
	"gonum.org/v1/gonum/spatial/r2"
)

// Colours that people with any kind of colour vision tell apart (M. Okabe and
// K. Ito, "Color Universal Design", 2008; values from memory). None is the
// only sign of anything: line patterns and labels differ too.
var (
	blue      = color.NRGBA{0, 114, 178, 255}
	vermilion = color.NRGBA{213, 94, 0, 255}
	green     = color.NRGBA{0, 120, 90, 255} // darker than theirs, to be read on white
	purple    = color.NRGBA{150, 60, 120, 255}
	ink       = color.NRGBA{20, 20, 20, 255}
	grey      = color.NRGBA{90, 90, 90, 255}
)

var (
	holePen   = pen{blue, 1.8, nil}
	outerPen  = pen{blue, 1.4, dash{2, 2.5}}
	offPen    = pen{vermilion, 2, dash{7, 4}}
	circlePen = pen{ink, 1.6, dash{10, 7}}
	zeroPen   = pen{ink, 1.6, nil}
	chordPen  = pen{grey, 1.1, dash{2, 3}}
	borePen   = pen{green, 1.8, dash{16, 5, 3, 5}}
	rimPen    = pen{purple, 1.8, dash{22, 6}}
	leftPen   = pen{grey, 1, dash{3, 3}}
)

// OverlayOptions says what is drawn on the scan.
type OverlayOptions struct {
	Unit Unit
	Left bool // also the marks that were left, with their names
}

// Overlay draws what was found on the scan: the picture as it was scanned,
// paled, with a legend below it. Without a reading it draws every mark that
// was seen.
func Overlay(res *read.Result, opts OverlayOptions) (*image.RGBA, error) {
	o, err := newOverlay(res, opts)
	if err != nil {
		return nil, err
	}
	o.draw()
	return o.img, nil
}

func (o *overlay) draw() {
	marks := o.left()
	o.markCircles(marks)
	if o.res.Reading != nil {
		o.lines()
		o.holes()
		o.gaps()
	}
	o.markNames(marks)
	o.legend()
}

type overlay struct {
	canvas
	res  *read.Result
	opts OverlayOptions

	markOf map[int]int // hole number → the mark it was

	k    float64         // px of the overlay for each of the scan
	scan image.Rectangle // where the scan lies

	number, label, small, title lettering
	places                      places
}

func newOverlay(res *read.Result, opts OverlayOptions) (*overlay, error) {
	c, k, w, h := canvasFor(res.Picture.Grey.Rect.Size())
	o := &overlay{canvas: c, res: res, opts: opts, markOf: map[int]int{}, k: k, scan: image.Rect(0, 0, w, h)}
	for i, n := range holeNumbers(res) {
		if n > 0 {
			o.markOf[n] = i
		}
	}

	var err error
	for _, l := range []struct {
		to   *lettering
		bold bool
		size float64
	}{{&o.number, true, 19}, {&o.label, false, 13.5}, {&o.small, false, 11.5}, {&o.title, true, 16}} {
		if *l.to, err = newLettering(l.bold, l.size*o.s); err != nil {
			return nil, fmt.Errorf("the overlay's letters: %w", err)
		}
	}
	o.img = paled(res.Picture.Grey, w, h, o.legendHeight())
	o.places = places{within: o.scan}
	return o, nil
}

// paled is the scan at a size, so light that lines on it stand out, with
// white paper below it.
func paled(scan *image.Gray, w, h, below int) *image.RGBA {
	filter := imaging.Box // the mean of what falls into each pixel
	if w > scan.Rect.Dx() {
		filter = imaging.Linear
	}
	small := imaging.Resize(scan, w, h, filter)
	img := image.NewRGBA(image.Rect(0, 0, w, h+below))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for y := range h {
		from, to := small.Pix[y*small.Stride:], img.Pix[y*img.Stride:]
		for x := range w {
			v := 255 - uint8(float64(255-from[4*x])*0.6)
			to[4*x], to[4*x+1], to[4*x+2] = v, v, v
		}
	}
	return img
}

// at is where a point of the scan lies on the overlay.
func (o *overlay) at(x, y float64) r2.Vec { return r2.Vec{X: x * o.k, Y: y * o.k} }

// ring is where mark i lies on the overlay.
func (o *overlay) ring(i int) disc {
	m := o.res.Marks[i]
	return disc{o.at(m.Centre.X, m.Centre.Y), m.Radius * o.k}
}

// lines draws all circles and lines, so that labels come on top.
func (o *overlay) lines() {
	r := o.res.Reading
	for _, g := range r.Gaps {
		a, b := r.Holes[g.From-1], r.Holes[g.To-1]
		o.line(o.at(a.XPx, a.YPx), o.at(b.XPx, b.YPx), chordPen)
	}
	if c := r.PitchCircle; c != nil {
		centre := o.at(c.XPx, c.YPx)
		o.pitchCircle(circlePen)
		zero := r.Holes[zeroHole(r)-1]
		o.line(centre, o.at(zero.XPx, zero.YPx), zeroPen)
		o.cross(centre, 9, ink)
	}
	if r.Bore != nil {
		o.feature(o.res.Choice.Bore, borePen)
	}
	if r.Rim != nil {
		o.feature(o.res.Choice.Rim, rimPen)
	}
	for _, h := range r.Holes {
		i, ok := o.markOf[h.ID]
		if !ok {
			continue
		}
		p := o.holePen(h)
		d := o.ring(i)
		o.rim(i, p)
		o.cross(d.centre, math.Min(5, 0.5*d.radius/o.s), p.colour)
		o.places.rims = append(o.places.rims, d)
		if outer, ok := o.res.Choice.Outer[i]; ok {
			o.rim(outer, outerPen)
			o.places.rims = append(o.places.rims, o.ring(outer))
		}
	}
}

func (o *overlay) feature(i int, p pen) {
	o.rim(i, p)
	o.places.rims = append(o.places.rims, o.ring(i))
}

func (o *overlay) holePen(h pattern.Hole) pen {
	if !h.OnCircle && o.res.Reading.PitchCircle != nil {
		return offPen
	}
	return holePen
}

// rim draws mark i.
func (o *overlay) rim(i int, p pen) {
	if !o.aslant() {
		d := o.ring(i)
		o.circle(d.centre, d.radius, p)
		return
	}
	o.onFace(o.res.Rings[i].Centre, o.res.Rings[i].Diameter/2, o.res.Marks[i].Centre, p)
}

// pitchCircle draws the circle through the holes.
func (o *overlay) pitchCircle(p pen) {
	r := o.res.Reading
	c := r.PitchCircle
	px := r2.Vec{X: c.XPx, Y: c.YPx}
	if !o.aslant() {
		// Where a scanner's axes differ it is an ellipse, by less than a
		// line's width.
		o.circle(o.at(px.X, px.Y), o.k*meanDistance(r, func(px r2.Vec) r2.Vec { return px }), p)
		return
	}
	o.onFace(o.res.Plane.MM(px), meanDistance(r, o.res.Plane.MM), px, p)
}

func (o *overlay) aslant() bool { return aslant(o.res) }

// onFace draws a circle of the face (mm) as the picture shows it; near is a
// point of the picture (px) not far from it.
func (o *overlay) onFace(centre r2.Vec, radius float64, near r2.Vec, p pen) {
	points := onFace(o.res, centre, radius, near)
	for i, px := range points {
		points[i] = o.at(px.X, px.Y)
	}
	if points != nil {
		o.loop(points, p)
	}
}

// holes writes the holes' numbers beside them, outside the pitch circle where
// there is room.
func (o *overlay) holes() {
	r := o.res.Reading
	middle := o.middle()
	for _, h := range r.Holes {
		i, ok := o.markOf[h.ID]
		if !ok {
			continue
		}
		d := o.ring(i)
		if outer, ok := o.res.Choice.Outer[i]; ok {
			d.radius = math.Max(d.radius, o.ring(outer).radius)
		}
		text, p := fmt.Sprint(h.ID), o.holePen(h)
		if p.colour == vermilion {
			text += "*"
		}
		out := r2.Sub(d.centre, middle)
		if r2.Norm(out) < 1 {
			out = r2.Vec{X: 1, Y: -1}
		}
		o.write(o.number, []string{text}, p.colour, func(w, h float64) []r2.Vec {
			return append(around(d, w, h, 4*o.s, out), d.centre)
		})
	}
}

// middle is the pitch circle's centre, or the holes'.
func (o *overlay) middle() r2.Vec {
	r := o.res.Reading
	if c := r.PitchCircle; c != nil {
		return o.at(c.XPx, c.YPx)
	}
	var sum r2.Vec
	for _, h := range r.Holes {
		sum = r2.Add(sum, o.at(h.XPx, h.YPx))
	}
	return r2.Scale(1/float64(len(r.Holes)), sum)
}

// gaps writes angle and chord between neighbours, where there is room.
func (o *overlay) gaps() {
	r := o.res.Reading
	if r.PitchCircle == nil {
		return
	}
	centre := o.middle()
	if len(r.Gaps) > 1 { // name the line that angles count from
		zero := r.Holes[zeroHole(r)-1]
		at := o.at(zero.XPx, zero.YPx)
		out := r2.Sub(at, centre)
		side := r2.Scale(1/math.Max(r2.Norm(out), 1), r2.Vec{X: -out.Y, Y: out.X})
		o.write(o.label, []string{"0°"}, ink, func(w, h float64) []r2.Vec {
			var c []r2.Vec
			for _, f := range []float64{0.35, 0.25, 0.5, 0.65} {
				for _, s := range []float64{1, -1} {
					c = append(c, r2.Add(r2.Add(centre, r2.Scale(f, out)), r2.Scale(s*(0.5*w+5*o.s), side)))
				}
			}
			return c
		})
	}
	for _, g := range r.Gaps {
		a, b := r.Holes[g.From-1], r.Holes[g.To-1]
		from, to := o.at(a.XPx, a.YPx), o.at(b.XPx, b.YPx)
		room := r2.Norm(r2.Sub(to, from)) - a.Diameter*o.pxPerMM()
		deg := angle(g.AngleDeg, g.AngleU95Deg).value + "°"
		chord := o.opts.Unit.figure(g.Chord, g.ChordU95).value + " " + o.opts.Unit.Name
		mid := r2.Scale(0.5, r2.Add(from, to))
		inward := r2.Sub(centre, mid)
		if r2.Norm(inward) < 1 { // two holes: beside the line between them
			inward = r2.Vec{X: -(to.Y - from.Y), Y: to.X - from.X}
			if g.From > g.To {
				inward = r2.Scale(-1, inward)
			}
		}
		step := r2.Unit(inward)
		spots := func(w, h float64) []r2.Vec {
			var c []r2.Vec
			for _, along := range []float64{0, 0.15, -0.15} {
				at := r2.Add(mid, r2.Scale(along, r2.Sub(to, from)))
				for _, f := range []float64{0, 0.45, 0.9, -0.45, -0.9, 1.4, 1.9} {
					c = append(c, r2.Add(at, r2.Scale(f*h, step)))
				}
			}
			return c
		}
		switch {
		case room > 1.1*math.Max(o.label.width(deg), o.label.width(chord)) && o.write(o.label, []string{deg, chord}, ink, spots):
		case room > 1.1*o.small.width(deg):
			o.write(o.small, []string{deg}, ink, spots)
		}
	}
}

func (o *overlay) pxPerMM() float64 {
	s := o.res.Reading.Scale
	if mean := (s.MMPerPxX + s.MMPerPxY) / 2; mean > 0 {
		return o.k / mean
	}
	return 0
}

// left lists the marks to draw that were not taken, the most telling first;
// without a reading it is all of them.
func (o *overlay) left() []int {
	order := takenFirst(o.res)
	switch {
	case o.res.Reading == nil:
		return order
	case !o.opts.Left:
		return nil
	}
	return slices.DeleteFunc(order, o.taken)
}

// markPen sets apart what looks like a hole where no pattern is trusted.
func (o *overlay) markPen(i int) pen {
	if slices.Contains(o.res.Choice.Holes, i) {
		return holePen
	}
	return leftPen
}

func (o *overlay) markCircles(marks []int) {
	for _, i := range slices.Backward(marks) {
		o.rim(i, o.markPen(i))
	}
}

// markNames names as many marks as there is room for, beside the holes.
func (o *overlay) markNames(marks []int) {
	for _, d := range o.places.rims {
		if d.radius < 60*o.s { // not a bore or rim
			o.places.kept = append(o.places.kept, rectAt(d.centre, 2*d.radius, 2*d.radius))
		}
	}
	for _, i := range marks {
		d := o.ring(i)
		o.write(o.small, []string{markName(i)}, o.markPen(i).colour, func(w, h float64) []r2.Vec {
			return append([]r2.Vec{d.centre}, around(d, w, h, 2*o.s, r2.Vec{X: 1, Y: -1})...)
		})
	}
}

func (o *overlay) taken(i int) bool {
	c := o.res.Choice
	if slices.Contains(c.Holes, i) || i == c.Bore || i == c.Rim {
		return true
	}
	for _, outer := range c.Outer {
		if outer == i {
			return true
		}
	}
	return false
}

// write puts lines of text where there is room, and tells whether there was.
func (o *overlay) write(l lettering, lines []string, c color.NRGBA, spots func(w, h float64) []r2.Vec) bool {
	w := 0.0
	for _, s := range lines {
		w = math.Max(w, l.width(s))
	}
	pad := 2 * o.s
	h := l.height + l.line*float64(len(lines)-1)
	at, ok := o.places.place(w+2*pad, h+2*pad, spots(w+2*pad, h+2*pad))
	if !ok {
		return false
	}
	o.box(image.Rect(int(at.x0), int(at.y0), int(at.x1), int(at.y1)), color.NRGBA{255, 255, 255, 150})
	for i, s := range lines {
		o.text(l, r2.Vec{
			X: (at.x0+at.x1)/2 - l.width(s)/2,
			Y: at.y0 + pad + l.height + l.line*float64(i),
		}, s, c)
	}
	return true
}
