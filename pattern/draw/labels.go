package draw

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	largestLabel  = 3.5 // mm, height of capitals
	smallestLabel = 0.8
	largestCross  = 5.0 // mm, arm of a centre mark
)

// cross marks a centre.
func (d *Drawing) cross(at r2.Vec, arm float64) {
	x, y := r2.Vec{X: arm}, r2.Vec{Y: arm}
	d.Lines = append(d.Lines,
		Line{r2.Sub(at, x), r2.Add(at, x), LayerLabels},
		Line{r2.Sub(at, y), r2.Add(at, y), LayerLabels})
}

// marks puts a cross into each hole, clear of its outline, and one on the
// pitch circle's centre where it meets no hole.
func (d *Drawing) marks() {
	free := math.Inf(1)
	for _, h := range d.Holes {
		d.cross(h.Centre, math.Min(largestCross, 0.3*h.Diameter))
		free = math.Min(free, r2.Norm(h.Centre)-h.Diameter/2)
	}
	if arm := math.Min(largestCross, free/2); d.Reading.PitchCircle != nil && arm > 0 {
		d.cross(r2.Vec{}, arm)
	}
}

// number writes each hole's number beside it, where it is clearest of all
// circles.
func (d *Drawing) number() {
	height := math.Min(largestLabel, 0.15*d.closest())
	height = math.Max(height, smallestLabel)
	for _, h := range d.Holes {
		l := Label{Text: strconv.Itoa(h.Measured.ID), Height: height}
		half := math.Hypot(l.width(), height) / 2
		reach := h.Diameter/2 + half + 0.4*height
		inwards := math.Atan2(-h.Centre.Y, -h.Centre.X)
		best := math.Inf(-1)
		for k := range 12 {
			sin, cos := math.Sincos(inwards + float64(k)*math.Pi/6)
			at := r2.Add(h.Centre, r2.Vec{X: reach * cos, Y: reach * sin})
			if clear := math.Min(d.clear(at), half+height); clear > best+1e-9 {
				l.At, best = at, clear
			}
		}
		d.Labels = append(d.Labels, l)
	}
}

// closest is the least distance between two holes' centres, that of a large
// part where there is but one hole.
func (d *Drawing) closest() float64 {
	least := 100.0
	for i, a := range d.Holes {
		for _, b := range d.Holes[:i] {
			least = math.Min(least, r2.Norm(r2.Sub(a.Centre, b.Centre)))
		}
	}
	return least
}

// clear is the distance from a point to the nearest circle's line, less than
// zero within a hole.
func (d *Drawing) clear(p r2.Vec) float64 {
	least := math.Inf(1)
	for _, c := range d.Circles {
		off := r2.Norm(r2.Sub(p, c.Centre)) - c.Diameter/2
		if c.Layer != LayerHoles {
			off = math.Abs(off)
		}
		least = math.Min(least, off)
	}
	return least
}

// up marks the side that is up in the reading.
func (d *Drawing) up() {
	b := d.Bounds()
	const height, gap, head = 2.5, 3.0, 1.2
	at := r2.Vec{X: (b.Min.X + b.Max.X) / 2, Y: b.Max.Y + gap + height/2}
	l := Label{At: at, Text: "UP", Height: height}
	d.Labels = append(d.Labels, l)
	for _, side := range []float64{-1, 1} {
		foot := r2.Vec{X: at.X + side*(l.width()/2+head+1), Y: at.Y - height/2}
		tip := r2.Vec{X: foot.X, Y: foot.Y + height}
		d.Lines = append(d.Lines, Line{foot, tip, LayerLabels},
			Line{r2.Add(tip, r2.Vec{X: -head, Y: -head}), tip, LayerLabels},
			Line{r2.Add(tip, r2.Vec{X: head, Y: -head}), tip, LayerLabels})
	}
}

// note says what is drawn, as seen from where, and of what.
func (d *Drawing) note() {
	r := d.Reading
	what := fmt.Sprintf("%d %s %s.", len(d.Holes), plural(len(d.Holes), "hole", "holes"), d.sizes())
	if c := r.PitchCircle; c != nil {
		what += fmt.Sprintf(" Pitch circle diameter (PCD) %s.", d.measured(c.Diameter, c.DiameterU95))
	}
	for _, f := range []struct {
		name string
		*pattern.Feature
	}{{"Bore", r.Bore}, {"Rim", r.Rim}} {
		if f.Feature != nil {
			what += fmt.Sprintf(" %s %s, as measured.", f.name, d.measured(f.Diameter, f.DiameterU95))
		}
	}
	d.Notes = append(d.Notes, what, d.View())
	unit := "mm"
	if d.Options.Unit == Inch {
		unit = "inches"
	}
	scale := fmt.Sprintf("Scale 1:1, numbers in %s; ± is k = 2.", unit)
	if names := r.Source.Names(); names != "" {
		scale += fmt.Sprintf(" From %s.", clean(names, 60))
	}
	d.Notes = append(d.Notes, scale)
}

// View says in a sentence from which side the drawing is seen.
func (d *Drawing) View() string {
	number := ", holes numbered counter-clockwise"
	if d.Options.Mirror {
		number = ", holes numbered clockwise"
	}
	if d.Reading.PitchCircle == nil {
		number = ""
	}
	if d.Options.Mirror {
		return "MIRRORED: the part as seen from its side that lies on the face" + number + "."
	}
	return "Seen looking at the face" + number + "; the part as seen when it is on."
}

// sizes says how large the holes are, and why.
func (d *Drawing) sizes() string {
	least, most := d.Holes[0].Diameter, d.Holes[0].Diameter
	for _, h := range d.Holes {
		least, most = math.Min(least, h.Diameter), math.Max(most, h.Diameter)
	}
	text := "of " + d.length(least)
	if d.length(most) != d.length(least) {
		text = "of " + strings.TrimSuffix(d.length(least), " "+d.Options.Unit.Name) + " to " + d.length(most)
	}
	var why []string
	switch {
	case len(d.Options.Clearance) == 0:
		why = append(why, "as measured")
	case d.Options.Size != "":
		why = append(why, d.Options.Size)
	}
	if a := d.Options.Allowance; a > 0 {
		why = append(why, "with an allowance of "+d.length(a))
	}
	if len(why) > 0 {
		text += " (" + strings.Join(why, ", ") + ")"
	}
	return text
}

// length is a length in the drawing's unit, to a micrometre or a tenth of a
// thou.
func (d *Drawing) length(mm float64) string {
	return d.rounded(mm) + " " + d.Options.Unit.Name
}

func (d *Drawing) rounded(mm float64) string {
	return strconv.FormatFloat(math.Round(mm/d.Options.Unit.MM*1e4)/1e4, 'f', -1, 64)
}

// measured is a length with its ±, which has two significant digits (JCGM
// 100:2008 clause 7.2.6).
func (d *Drawing) measured(mm, u95 float64) string {
	v, u := mm/d.Options.Unit.MM, u95/d.Options.Unit.MM
	if !(u > 0) {
		return d.length(mm)
	}
	digits := min(max(1-int(math.Floor(math.Log10(u))), 0), 4)
	return fmt.Sprintf("%.*f ±%.*f %s", digits, v, digits, u, d.Options.Unit.Name)
}

// short is a number of mm to a micrometre at most.
func short(mm float64) string {
	return strconv.FormatFloat(math.Round(mm*1000)/1000, 'f', -1, 64)
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// clean makes one line of plain characters of a text from outside; of one that
// is too long it leaves the end, which tells more of a file's name.
func clean(s string, most int) string {
	runes := []rune(strings.Map(func(r rune) rune {
		if !strconv.IsPrint(r) || r == '\uFFFD' {
			return '?'
		}
		return r
	}, s))
	if len(runes) > most {
		runes = slices.Concat([]rune("…"), runes[len(runes)-most+1:])
	}
	return string(runes)
}

// wrapped breaks a text into lines of at most so many letters.
func wrapped(text string, most int) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		if last := len(lines) - 1; last >= 0 && len([]rune(lines[last]))+1+len([]rune(word)) <= most {
			lines[last] += " " + word
		} else {
			lines = append(lines, word)
		}
	}
	return lines
}
