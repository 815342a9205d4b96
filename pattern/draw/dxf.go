package draw

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// WriteDXF writes the drawing as ASCII DXF of release 12, which every program
// reads, in the drawing's unit. Its header says the unit: $INSUNITS, which is
// younger than release 12 but is what programs look at, and $MEASUREMENT.
// Notes stand below the part, on the layer of the labels.
func (d *Drawing) WriteDXF(w io.Writer) error {
	out := &dxfWriter{w: bufio.NewWriter(w), unit: d.Options.Unit}
	notes := d.below()
	out.header(d, notes)
	out.tables()
	out.put(0, "SECTION", 2, "ENTITIES")
	for _, layer := range Layers {
		for _, c := range d.on(layer) {
			out.put(0, "CIRCLE", 8, layer)
			out.point(10, c.Centre)
			out.put(40, out.length(c.Diameter/2))
		}
	}
	for _, l := range d.Lines {
		out.put(0, "LINE", 8, l.Layer)
		out.point(10, l.From)
		out.point(11, l.To)
	}
	for _, l := range d.Labels {
		out.text(l, true)
	}
	for _, l := range notes {
		out.text(l, false)
	}
	out.put(0, "ENDSEC", 0, "EOF")
	return out.w.Flush()
}

// noteHeight (mm) is that of the capitals of notes in drawings without pages.
const noteHeight = 2.5

// below lays the notes out below the part, each line's left end at its At.
func (d *Drawing) below() []Label {
	b := d.Bounds()
	wide := max(b.Max.X-b.Min.X, 120)
	at := r2.Vec{X: b.Min.X, Y: b.Min.Y - 3*noteHeight}
	var lines []Label
	for _, note := range d.Notes {
		for _, text := range wrapped(note, int(wide/(0.85*noteHeight))) {
			lines = append(lines, Label{at, text, noteHeight})
			at.Y -= 1.8 * noteHeight
		}
	}
	return lines
}

// withBelow is the rectangle round part and notes.
func (d *Drawing) withBelow(notes []Label) r2.Box {
	b := d.Bounds()
	for _, l := range notes {
		b.Max.X = max(b.Max.X, l.At.X+l.width())
		b.Min.Y = min(b.Min.Y, l.At.Y-l.Height)
	}
	return b
}

type dxfWriter struct {
	w    *bufio.Writer
	unit Unit
}

// put writes group codes and their values; an error stays in the writer until
// it is flushed.
func (o *dxfWriter) put(pairs ...any) {
	for i := 0; i < len(pairs); i += 2 {
		fmt.Fprintf(o.w, "%3d\r\n%v\r\n", pairs[i], pairs[i+1])
	}
}

// length is a length in the file's unit, to a nanometre or better.
func (o *dxfWriter) length(mm float64) string {
	return strconv.FormatFloat(mm/o.unit.MM, 'f', 9, 64)
}

func (o *dxfWriter) point(code int, p r2.Vec) {
	o.put(code, o.length(p.X), code+10, o.length(p.Y), code+20, "0.0")
}

func (o *dxfWriter) header(d *Drawing, notes []Label) {
	units, metric := 4, 1
	if o.unit == Inch {
		units, metric = 1, 0
	}
	b := d.withBelow(notes)
	o.put(0, "SECTION", 2, "HEADER", 9, "$ACADVER", 1, "AC1009", 9, "$INSUNITS", 70, units, 9, "$MEASUREMENT", 70, metric)
	o.put(9, "$EXTMIN")
	o.point(10, b.Min)
	o.put(9, "$EXTMAX")
	o.point(10, b.Max)
	o.put(0, "ENDSEC")
}

// tables has the line types, layers and text style that the entities name.
func (o *dxfWriter) tables() {
	const continuous, centre = "CONTINUOUS", "CENTER"
	o.put(0, "SECTION", 2, "TABLES",
		0, "TABLE", 2, "LTYPE", 70, 2,
		0, "LTYPE", 2, continuous, 70, 0, 3, "Solid line", 72, 65, 73, 0, 40, "0.0",
		0, "LTYPE", 2, centre, 70, 0, 3, "Centre line", 72, 65, 73, 4, 40, o.length(12),
		49, o.length(8), 49, o.length(-1.5), 49, o.length(1), 49, o.length(-1.5),
		0, "ENDTAB",
		0, "TABLE", 2, "LAYER", 70, len(Layers)+1)
	const blackOrWhite, grey = 7, 8
	o.put(0, "LAYER", 2, "0", 70, 0, 62, blackOrWhite, 6, continuous)
	for _, layer := range Layers {
		colour, line := blackOrWhite, continuous
		switch layer {
		case LayerPitchCircle:
			colour, line = grey, centre
		case LayerLabels:
			colour = grey
		}
		o.put(0, "LAYER", 2, layer, 70, 0, 62, colour, 6, line)
	}
	o.put(0, "ENDTAB",
		0, "TABLE", 2, "STYLE", 70, 1,
		0, "STYLE", 2, "STANDARD", 70, 0, 40, "0.0", 41, "1.0", 50, "0.0", 71, 0, 42, o.length(noteHeight), 3, "txt", 4, "",
		0, "ENDTAB", 0, "ENDSEC")
}

// text writes a label, centred on its place or beginning there.
func (o *dxfWriter) text(l Label, centred bool) {
	o.put(0, "TEXT", 8, LayerLabels)
	o.point(10, l.At)
	o.put(40, o.length(l.Height), 1, dxfText(l.Text))
	if centred {
		o.put(72, 1)
		o.point(11, l.At)
		o.put(73, 2)
	}
}

// dxfText is a text in the characters of release 12: ASCII, and codes for
// what drawings need beyond it. A %% of the text's own would be such a code.
func dxfText(s string) string {
	for strings.Contains(s, "%%") {
		s = strings.ReplaceAll(s, "%%", "% %")
	}
	s = strings.NewReplacer("±", "%%p", "°", "%%d", "…", "...").Replace(s)
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
}
