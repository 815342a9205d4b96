package draw

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// WriteSVG writes the drawing as SVG 1.1 at 1:1: its user unit is a
// millimetre, its origin the drawing's, with y down. Each layer is a group
// whose id is the layer's name.
func (d *Drawing) WriteSVG(w io.Writer) error {
	const margin = 5.0
	notes := d.below()
	b := d.withBelow(notes)
	o := &svgWriter{bufio.NewWriter(w)}
	wide, high := number(b.Max.X-b.Min.X+2*margin), number(b.Max.Y-b.Min.Y+2*margin)
	o.printf(`<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="%smm" height="%smm" viewBox="%s %s %s %s">
<title>%s</title>
<desc>%s</desc>
<g fill="none" stroke="#000" stroke-width="0.2">
`, wide, high, number(b.Min.X-margin), number(-b.Max.Y-margin), wide, high, escape(d.Notes[0]), escape(strings.Join(d.Notes[1:], " ")))
	for _, layer := range Layers {
		switch layer {
		case LayerPitchCircle:
			o.printf("<g id=\"%s\" stroke=\"#666\" stroke-dasharray=\"8 1.5 1 1.5\">\n", layer)
		case LayerLabels:
			o.printf("<g id=\"%s\" stroke=\"#666\" stroke-width=\"0.15\">\n", layer)
		default:
			o.printf("<g id=\"%s\">\n", layer)
		}
		for _, c := range d.on(layer) {
			x, y := o.at(c.Centre)
			o.printf("<circle cx=\"%s\" cy=\"%s\" r=\"%s\"/>\n", x, y, number(c.Diameter/2))
		}
		for _, l := range d.Lines {
			if l.Layer == layer {
				x1, y1 := o.at(l.From)
				x2, y2 := o.at(l.To)
				o.printf("<line x1=\"%s\" y1=\"%s\" x2=\"%s\" y2=\"%s\"/>\n", x1, y1, x2, y2)
			}
		}
		if layer == LayerLabels {
			o.texts(d.Labels, "middle")
			o.texts(notes, "start")
		}
		o.printf("</g>\n")
	}
	o.printf("</g>\n</svg>\n")
	return o.w.Flush()
}

type svgWriter struct{ w *bufio.Writer }

// printf leaves an error in the writer until it is flushed.
func (o *svgWriter) printf(format string, args ...any) { fmt.Fprintf(o.w, format, args...) }

func (o *svgWriter) at(p r2.Vec) (x, y string) {
	return number(p.X), number(-p.Y)
}

// texts writes labels; anchor says which part of a line its place is.
func (o *svgWriter) texts(labels []Label, anchor string) {
	const capitals = 0.72 // height of capitals in common sans-serif typefaces, of the font's size
	o.printf("<g stroke=\"none\" fill=\"#444\" font-family=\"Helvetica, Arial, sans-serif\" text-anchor=\"%s\">\n", anchor)
	for _, l := range labels {
		at := l.At
		if anchor == "middle" {
			at.Y -= l.Height / 2
		}
		x, y := o.at(at)
		o.printf("<text x=\"%s\" y=\"%s\" font-size=\"%s\">%s</text>\n", x, y, number(l.Height/capitals), escape(l.Text))
	}
	o.printf("</g>\n")
}

// number is a number of mm to a nanometre, without an exponent.
func number(v float64) string {
	s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 6, 64), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func escape(s string) string {
	var b strings.Builder
	xml.EscapeText(&b, []byte(s)) // a Builder takes everything
	return b.String()
}
