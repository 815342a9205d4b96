package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed report.html
var page string

var pageTemplate = template.Must(template.New("report").Parse(page))

// WriteHTML writes the report as one HTML file, which holds its pictures and
// prints on A4 and Letter paper.
func (p *Report) WriteHTML(w io.Writer) error {
	var svg bytes.Buffer
	bare := *p.Drawing
	bare.Notes = bare.Notes[:1] // of the others the report says what is true at its scale
	if err := bare.WriteSVG(&svg); err != nil {
		return err
	}
	_, drawing, ok := strings.Cut(svg.String(), "<svg")
	if !ok {
		return fmt.Errorf("the drawing is no SVG")
	}
	fields := struct {
		*Report
		Drawn, Bars    template.HTML // written by this program, with all text escaped
		Picture        template.URL
		OverlayCaption string
		DrawingCaption string
	}{
		Report: p, Drawn: template.HTML("<svg" + drawing), Bars: p.barsSVG(),
		OverlayCaption: p.overlayCaption(), DrawingCaption: p.drawingCaption(),
	}
	if o := p.Overlay; o != nil {
		fields.Picture = template.URL("data:image/" + strings.ToLower(o.kind) + ";base64," + base64.StdEncoding.EncodeToString(o.data))
	}
	return pageTemplate.Execute(w, fields)
}

// barsSVG is the budget as a bar chart; printers leave the backgrounds of
// other elements out.
func (p *Report) barsSVG() template.HTML {
	if !p.Budgeted {
		return ""
	}
	const wide, row, bar, from, most = 400, 30, 12, 4, 300
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %d %d" role="img" aria-label="bar chart">`, wide, row*len(p.Causes.Terms))
	for i, share := range p.bars() {
		c, y := p.Causes.Terms[i], i*row
		fmt.Fprintf(&b, `<text x="%d" y="%d">%s</text><rect x="%d" y="%d" width="%.1f" height="%d"/><text x="%.1f" y="%d">%s</text>`,
			from, y+11, template.HTMLEscapeString(c.Name), from, y+14, most*share, bar, from+most*share+5, y+24, template.HTMLEscapeString(c.Text))
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}
