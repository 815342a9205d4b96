package draw

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"boltrose/pattern"
)

// WriteCSV writes the holes as a table (RFC 4180) in the drawing's unit: where
// they are on the drawing with the ± (k = 2) of each, their angles
// counter-clockwise from hole 1 in the same view, their diameters as measured and
// as drawn, and which view it is. What a reading does not know is left empty.
func (d *Drawing) WriteCSV(w io.Writer) error {
	u := d.Options.Unit.Name
	rows := [][]string{{"hole", "x_" + u, "y_" + u, "x_u95_" + u, "y_u95_" + u, "angle_deg", "angle_u95_deg",
		"measured_diameter_" + u, "measured_diameter_u95_" + u, "drawn_diameter_" + u, "view"}}
	for _, h := range d.Holes {
		m := h.Measured
		rows = append(rows, []string{strconv.Itoa(m.ID), d.cell(h.Centre.X), d.cell(h.Centre.Y), d.cell(m.XU95), d.cell(m.YU95), degrees(d.angle(m)), degrees(m.AngleU95Deg),
			d.cell(m.Diameter), d.cell(m.DiameterU95), d.cell(h.Diameter), d.viewName()})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// WriteGapsCSV writes, as WriteCSV does, the angle and the chord from each
// hole to the next round the pitch circle, which is counter-clockwise looking
// at the face. A pattern without a pitch circle has none; there it is all
// pairs of holes, without angles.
func (d *Drawing) WriteGapsCSV(w io.Writer) error {
	u := d.Options.Unit.Name
	rows := [][]string{{"from", "to", "angle_deg", "angle_u95_deg", "chord_" + u, "chord_u95_" + u, "view"}}
	spans := d.Reading.Gaps
	if d.Reading.Pattern == pattern.Free {
		spans = d.Reading.Chords
	}
	for _, s := range spans {
		rows = append(rows, []string{strconv.Itoa(s.From), strconv.Itoa(s.To), degrees(s.AngleDeg), degrees(s.AngleU95Deg), d.cell(s.Chord), d.cell(s.ChordU95), d.viewName()})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// angle is a hole's as it is drawn: what is counter-clockwise on the face is
// clockwise in its mirror image.
func (d *Drawing) angle(h pattern.Hole) *float64 {
	if h.AngleDeg == nil || !d.Options.Mirror {
		return h.AngleDeg
	}
	a := math.Mod(360-*h.AngleDeg, 360)
	return &a
}

// viewName is the view as one word.
func (d *Drawing) viewName() string {
	if d.Options.Mirror {
		return "mirrored"
	}
	return string(pattern.Facing)
}

func (d *Drawing) cell(mm float64) string { return number(mm / d.Options.Unit.MM) }

func degrees(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v)
}
