// Package report lays a reading out on paper to be stapled to the job: the
// verdict, the picture with what was found on it, a drawing, the tables, what
// the uncertainties come from, and the cautions. As one HTML file that needs
// nothing else, and as PDF.
package report

import (
	"math"
	"time"

	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"
)

// Report is what both forms hold.
type Report struct {
	Sheet    *show.Sheet
	Causes   show.Causes
	Budgeted bool // there are causes
	Drawing  *draw.Drawing
	Overlay  *Picture // nil without
	Date     string
	SHA256   string // of the picture that was read; "" without one
	Cautions []string
}

// mostCauses are the bars of the budget; smaller causes are added up.
const mostCauses = 7

// New puts a report together. The same reading, drawing, picture and date give
// the same bytes.
func New(r *pattern.Reading, d *draw.Drawing, unit show.Unit, overlay *Picture, date time.Time) *Report {
	p := &Report{
		Sheet:   show.NewSheet(r, unit),
		Drawing: d,
		Overlay: overlay,
		Date:    date.Format(time.DateOnly),
		SHA256:  show.Plain(r.Source.SHA256),
		Cautions: []string{
			show.Safety,
			"Before anything is made of metal, print the 1:1 paper check, measure its bars and lay it on the face: every hole must lie in its outline.",
		},
	}
	if names := r.Source.Names(); names != "" {
		p.Sheet.Title = show.Title(names, r)
	}
	if p.Causes, p.Budgeted = show.NewCauses(r, unit); len(p.Causes.Terms) > mostCauses+1 {
		p.Causes = p.Causes.Shortened(mostCauses, unit)
	}
	return p
}

// bars are the lengths of the causes' bars, as shares of the longest.
func (p *Report) bars() []float64 {
	longest := 0.0
	for _, c := range p.Causes.Terms {
		longest = math.Max(longest, c.U95)
	}
	shares := make([]float64, len(p.Causes.Terms))
	for i, c := range p.Causes.Terms {
		shares[i] = c.U95 / longest // no cause is zero
	}
	return shares
}

func (p *Report) overlayCaption() string {
	return "The picture that was read, with what was found: does each circle lie on its rim?"
}

func (p *Report) drawingCaption() string {
	caption := p.Drawing.View() + " Not to scale."
	if p.Drawing.Options.Mirror {
		caption += " The tables are not mirrored: they are as seen looking at the face."
	}
	return caption
}
