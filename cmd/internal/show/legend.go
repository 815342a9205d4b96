package show

import (
	"fmt"
	"math"
	"strings"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// entry explains one kind of line.
type entry struct {
	pen  pen
	text string
}

// legend writes below the scan what it shows.
func (o *overlay) legend() {
	margin := o.margin()
	y := float64(o.scan.Max.Y) + margin
	o.line(r2.Vec{X: 0, Y: float64(o.scan.Max.Y)}, r2.Vec{X: float64(o.scan.Max.X), Y: float64(o.scan.Max.Y)}, pen{grey, 0.6, nil})
	o.eachLegendLine(func(l lettering, text string) {
		o.text(l, r2.Vec{X: margin, Y: y + l.height}, text, ink)
		y += l.line
	})
	y += 0.4 * o.label.line
	o.eachEntry(func(x float64, row int, e entry) {
		base := y + o.label.height + float64(row)*o.rowHeight()
		middle := base - o.label.height/2
		o.line(r2.Vec{X: x, Y: middle}, r2.Vec{X: x + o.sampleWidth(), Y: middle}, e.pen)
		o.text(o.label, r2.Vec{X: x + o.sampleWidth() + 6*o.s, Y: base}, e.text, ink)
	})
	o.scaleBar()
}

func (o *overlay) legendHeight() int {
	h := 2*o.margin() + 0.4*o.label.line
	o.eachLegendLine(func(l lettering, _ string) { h += l.line })
	rows := 0
	o.eachEntry(func(_ float64, row int, _ entry) { rows = max(rows, row+1) })
	h += float64(rows) * o.rowHeight()
	h += o.rowHeight() // the scale bar
	return int(math.Ceil(h))
}

func (o *overlay) margin() float64      { return 14 * o.s }
func (o *overlay) rowHeight() float64   { return 1.2 * o.label.line }
func (o *overlay) sampleWidth() float64 { return 46 * o.s }

func (o *overlay) heading() string {
	r := o.res.Reading
	switch {
	case r == nil:
		return "No pattern that can be trusted; " + plural(len(o.res.Marks), "circular mark") + " seen"
	case r.PitchCircle == nil:
		return plural(len(r.Holes), "hole") + ", free pattern: no pitch circle"
	}
	return fmt.Sprintf("%s, PCD %s %s", plural(len(r.Holes), "hole"),
		o.opts.Unit.figure(r.PitchCircle.Diameter, r.PitchCircle.DiameterU95), o.opts.Unit.Name)
}

func (o *overlay) viewNote() string {
	r := o.res.Reading
	switch {
	case r == nil:
		return ""
	case r.View == pattern.FromBehind:
		return "Read from behind: the picture is as scanned, the reading is its mirror image, so holes count clockwise here."
	}
	return "Read as looking at the face; the mirror image of an uneven pattern does not fit."
}

// eachLegendLine hands out the legend's lines of text, as wide as fit.
func (o *overlay) eachLegendLine(do func(lettering, string)) {
	room := float64(o.scan.Dx()) - 2*o.margin()
	for _, text := range fold(o.title, o.heading(), room) {
		do(o.title, text)
	}
	for _, text := range fold(o.label, o.viewNote(), room) {
		do(o.label, text)
	}
}

// fold breaks text into lines that are no wider than room.
func fold(l lettering, text string, room float64) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		if n := len(lines); n > 0 && l.width(lines[n-1]+" "+word) <= room {
			lines[n-1] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}

func (o *overlay) entries() []entry {
	r, unit := o.res.Reading, o.opts.Unit
	var list []entry
	if r != nil {
		list = append(list, entry{holePen, "hole"})
		if len(o.res.Choice.Outer) > 0 {
			list = append(list, entry{outerPen, "its chamfer or counterbore"})
		}
		if r.PitchCircle != nil {
			list = append(list, entry{circlePen, "pitch circle"}, entry{chordPen, "chord"},
				entry{zeroPen, fmt.Sprintf("0°, towards hole %d", zeroHole(r))})
			for _, h := range r.Holes {
				if !h.OnCircle {
					list = append(list, entry{offPen, "* not on the pitch circle"})
					break
				}
			}
		}
		if r.Bore != nil {
			list = append(list, entry{borePen, fmt.Sprintf("bore %s %s", unit.figure(r.Bore.Diameter, r.Bore.DiameterU95), unit.Name)})
		}
		if r.Rim != nil {
			list = append(list, entry{rimPen, fmt.Sprintf("rim %s %s", unit.figure(r.Rim.Diameter, r.Rim.DiameterU95), unit.Name)})
		}
	}
	if r == nil && len(o.res.Choice.Holes) > 0 {
		list = append(list, entry{holePen, "looks like a hole"})
	}
	if r == nil || o.opts.Left {
		list = append(list, entry{leftPen, "mark that was left"})
	}
	return list
}

// eachEntry hands out the entries with their places, row by row.
func (o *overlay) eachEntry(do func(x float64, row int, e entry)) {
	x, row := o.margin(), 0
	for _, e := range o.entries() {
		w := o.sampleWidth() + 6*o.s + o.label.width(e.text)
		if x > o.margin() && x+w > float64(o.scan.Dx())-o.margin() {
			x, row = o.margin(), row+1
		}
		do(x, row, e)
		x += w + 22*o.s
	}
}

// scaleBar draws a round length, with end ticks, in the bottom left corner.
func (o *overlay) scaleBar() {
	x, y := o.res.Plane.MMPerPx(r2.Vec{X: float64(o.scan.Dx()) / 2 / o.k, Y: float64(o.scan.Dy()) / 2 / o.k})
	pxPerUnit := o.k / ((x + y) / 2) / o.opts.Unit.perMM
	length := roundLength(float64(o.scan.Dx()) / 4 / pxPerUnit)
	left := r2.Vec{X: o.margin() + 1, Y: float64(o.img.Rect.Max.Y) - o.margin() - o.label.height/2}
	end := r2.Vec{X: left.X + length*pxPerUnit, Y: left.Y}
	p := pen{ink, 1.6, nil}
	o.line(left, end, p)
	for _, at := range []r2.Vec{left, end} {
		o.line(r2.Vec{X: at.X, Y: at.Y - 5*o.s}, r2.Vec{X: at.X, Y: at.Y + 5*o.s}, p)
	}
	o.text(o.label, r2.Vec{X: end.X + 8*o.s, Y: left.Y + o.label.height/2}, fmt.Sprintf("%g %s", length, o.opts.Unit.Name), ink)
}

// roundLength is the largest 1, 2 or 5 times a power of ten up to most.
func roundLength(most float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(most)))
	for _, m := range []float64{5, 2} {
		if m*p <= most {
			return m * p
		}
	}
	return p
}
