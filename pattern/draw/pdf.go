package draw

import (
	"fmt"
	"io"
	"math"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"
)

// Paper is a sheet, upright.
type Paper struct {
	Name          string
	Width, Height float64 // mm
}

// BarMM is the length of the bars of a paper check.
const BarMM = 100.0

const (
	pageMargin = 10.0 // mm; printers leave the edge white
	yBarStrip  = 12.0 // mm, left of the drawing
	barWidth   = 3.0
	overlap    = 12.0 // mm, by which neighbouring pages show the same
	maxPages   = 60
	noteText   = 8.5 // points
)

// WritePDF writes the drawing as a paper check: at 1:1, to be printed and laid
// on the face before anything is made. What is larger than the paper is spread
// over pages that overlap, with marks to join them by.
//
// printed is what the bars X and Y of an earlier print measured (mm), where
// they should have been BarMM; the page makes up for it. The zero value takes
// the printer to be right. The same drawing gives the same bytes.
func (d *Drawing) WritePDF(w io.Writer, paper Paper, printed [2]float64) error {
	s, err := newSheet(d, paper, printed)
	if err != nil {
		return err
	}
	for row := range s.rows {
		for column := range s.columns {
			s.page(row, column)
		}
	}
	return s.pdf.Output(w)
}

// sheet is a drawing as it lies on pages.
type sheet struct {
	d         *Drawing
	paper     Paper
	printed   [2]float64
	scale     r2.Vec // mm on the page for each mm that is to be printed
	pdf       *fpdf.Fpdf
	translate func(string) string

	notes   []string // lines
	strip   float64  // mm on the page, below the drawing
	window  r2.Vec   // what a page shows, mm of the drawing
	topLeft r2.Vec   // of the first page's window, on the drawing

	rows, columns int
}

func newSheet(d *Drawing, paper Paper, printed [2]float64) (*sheet, error) {
	s := &sheet{d: d, paper: paper, printed: printed, scale: r2.Vec{X: 1, Y: 1}}
	if printed != [2]float64{} {
		for _, p := range printed {
			if !(p >= 0.9*BarMM && p <= 1.1*BarMM) {
				return nil, fmt.Errorf("a bar of %g mm that prints as %g mm: print at 100 %%, not fitted to the page, and measure again", BarMM, p)
			}
		}
		s.scale = r2.Vec{X: BarMM / printed[0], Y: BarMM / printed[1]}
	}
	s.open()
	s.notes = s.lines()
	s.strip = barWidth + 4 + (float64(len(s.notes))+1)*lineHeight(noteText)
	s.window = r2.Vec{
		X: (paper.Width - 2*pageMargin - yBarStrip) / s.scale.X,
		Y: (paper.Height - 2*pageMargin - s.strip) / s.scale.Y,
	}
	if s.window.X < BarMM || s.window.Y < BarMM {
		return nil, fmt.Errorf("paper of %g × %g mm is too small for a paper check", paper.Width, paper.Height)
	}
	b := d.Bounds()
	b.Min, b.Max = r2.Sub(b.Min, r2.Vec{X: 1, Y: 1}), r2.Add(b.Max, r2.Vec{X: 1, Y: 1})
	var wide, high float64
	s.columns, wide = pages(b.Max.X-b.Min.X, s.window.X)
	s.rows, high = pages(b.Max.Y-b.Min.Y, s.window.Y)
	if n := float64(s.columns) * float64(s.rows); n > maxPages {
		return nil, fmt.Errorf("a part of %.0f × %.0f mm needs %.0f pages of %s paper, more than %d: are the units right? Otherwise have a DXF plotted", b.Max.X-b.Min.X, b.Max.Y-b.Min.Y, n, paper.Name, maxPages)
	}
	s.topLeft = r2.Vec{
		X: s.clearOfHoles(s.columns, b.Max.X-wide, b.Min.X, s.window.X-overlap, func(p r2.Vec) float64 { return p.X }),
		Y: -s.clearOfHoles(s.rows, -b.Min.Y-high, -b.Max.Y, s.window.Y-overlap, func(p r2.Vec) float64 { return -p.Y }),
	}
	return s, nil
}

// clearOfHoles is where along an axis the pages best begin, between the two
// places from which they reach over everything: where no seam cuts a hole, or
// else in the middle.
func (s *sheet) clearOfHoles(pages int, from, to, step float64, along func(r2.Vec) float64) float64 {
	best, most := (from+to)/2, math.Inf(-1)
	const tries = 24
	for i := range tries + 1 {
		// From the middle outwards: 0, 1, −1, 2, −2, …
		k := float64((i+1)/2) / tries * float64(1-2*(i%2))
		begin, clear := (from+to)/2+k*(to-from), overlap/2
		for seam := 1; seam < pages; seam++ {
			at := begin + float64(seam)*step + overlap/2
			for _, h := range s.d.Holes {
				clear = math.Min(clear, math.Abs(along(h.Centre)-at)-h.Diameter/2)
			}
		}
		if clear > most+1e-9 {
			best, most = begin, clear
		}
	}
	return best
}

// pages is how many windows a length takes, and how far they reach together.
func pages(length, window float64) (n int, reach float64) {
	n = 1
	if length > window {
		n = int(math.Min(math.Ceil((length-overlap)/(window-overlap)), 1e6))
	}
	return n, float64(n)*(window-overlap) + overlap
}

func (s *sheet) open() {
	s.pdf, s.translate = NewPDF("boltrose paper check", s.paper.Width, s.paper.Height)
}

// lines are what is written below the drawing.
func (s *sheet) lines() []string {
	text := append([]string{}, s.d.Notes...)
	correction := fmt.Sprintf("X and Y should measure %g mm between calipers; where not, make this page again with --printed X,Y, what you measured.", BarMM)
	if s.printed != [2]float64{} {
		correction = fmt.Sprintf("This page makes up for a printer whose bars measured %g and %g mm; X and Y should now measure %g mm.", s.printed[0], s.printed[1], BarMM)
	}
	lay := "Lay it on the face, print up: every hole must lie in its outline."
	if s.d.Options.Mirror {
		lay = "Lay it on the side of the part that will lie on the face, print up; on the face itself it is turned over and does not fit."
	}
	text = append(text, `Print at 100 % ("actual size"), not fitted to the page. `+correction,
		lay+" Machine switched off and locked out.")
	s.pdf.SetFont("Helvetica", "", noteText)
	var lines []string
	for _, t := range text {
		lines = append(lines, s.pdf.SplitText(t, s.paper.Width-2*pageMargin-yBarStrip)...)
	}
	return lines
}

// page draws one window with what belongs to every page.
func (s *sheet) page(row, column int) {
	s.pdf.AddPage()
	left, top := pageMargin+yBarStrip, pageMargin
	window := r2.Box{}
	window.Min.X = s.topLeft.X + float64(column)*(s.window.X-overlap)
	window.Max.X = window.Min.X + s.window.X
	window.Max.Y = s.topLeft.Y - float64(row)*(s.window.Y-overlap)
	window.Min.Y = window.Max.Y - s.window.Y
	p := &page{sheet: s, window: window, left: left, top: top}
	s.pdf.ClipRect(left, top, s.window.X*s.scale.X, s.window.Y*s.scale.Y, false)
	p.drawing()
	s.pdf.ClipEnd()
	p.joins(row, column)
	p.bars()
	p.text(row, column)
}

// page is one window of the drawing on its page.
type page struct {
	*sheet
	window    r2.Box
	left, top float64 // of the window on the page
}

// at turns a place on the drawing into one on the page, whose y goes down.
func (p *page) at(mm r2.Vec) (x, y float64) {
	return p.left + (mm.X-p.window.Min.X)*p.scale.X, p.top + (p.window.Max.Y-mm.Y)*p.scale.Y
}

// shows tells whether any of what lies within reach of a place is on the page.
func (p *page) shows(at r2.Vec, x, y float64) bool {
	return at.X+x >= p.window.Min.X && at.X-x <= p.window.Max.X && at.Y+y >= p.window.Min.Y && at.Y-y <= p.window.Max.Y
}

func (p *page) drawing() {
	p.pdf.SetDrawColor(0, 0, 0)
	for _, c := range p.d.Circles {
		if !p.shows(c.Centre, c.Diameter/2, c.Diameter/2) {
			continue
		}
		p.pdf.SetLineWidth(0.2)
		p.pdf.SetDashPattern(nil, 0)
		if c.Layer == LayerPitchCircle {
			p.pdf.SetLineWidth(0.1)
			p.pdf.SetDashPattern([]float64{8, 1.5, 1, 1.5}, 0)
		}
		p.circle(c)
	}
	p.pdf.SetDashPattern(nil, 0)
	p.pdf.SetLineWidth(0.1)
	for _, l := range p.d.Lines {
		middle := r2.Scale(0.5, r2.Add(l.From, l.To))
		if p.shows(middle, math.Abs(l.To.X-l.From.X)/2, math.Abs(l.To.Y-l.From.Y)/2) {
			p.line(l.From, l.To)
		}
	}
	p.pdf.SetTextColor(0, 0, 0)
	for _, l := range p.d.Labels {
		if p.shows(l.At, l.width(), l.Height) {
			p.label(l)
		}
	}
}

// circle draws 16 curves: the library's four miss a circle by 0.027 % of its
// radius, which can be seen on a large rim.
func (p *page) circle(c Circle) {
	const n = 16
	step := 2 * math.Pi / n
	k := 4.0 / 3 * math.Tan(step/4)
	r := c.Diameter / 2
	on := func(a, along float64) (x, y float64) {
		sin, cos := math.Sincos(a)
		return p.at(r2.Add(c.Centre, r2.Vec{X: r * (cos - along*sin), Y: r * (sin + along*cos)}))
	}
	p.pdf.MoveTo(on(0, 0))
	for i := range n {
		a := float64(i) * step
		x0, y0 := on(a, k)
		x1, y1 := on(a+step, -k)
		x, y := on(a+step, 0)
		p.pdf.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
	}
	p.pdf.ClosePath()
	p.pdf.DrawPath("D")
}

func (p *page) line(from, to r2.Vec) {
	x1, y1 := p.at(from)
	x2, y2 := p.at(to)
	p.pdf.Line(x1, y1, x2, y2)
}

func (p *page) label(l Label) {
	const capitals = 0.718 // height of Helvetica's capitals, of the font's size
	p.pdf.SetFont("Helvetica", "", l.Height/capitals*72/25.4)
	text := p.translate(l.Text)
	x, y := p.at(r2.Vec{X: l.At.X, Y: l.At.Y - l.Height/2})
	p.pdf.Text(x-p.pdf.GetStringWidth(text)/2, y, text)
}

// joins draws, in the middle of each overlap, the line to cut at and two
// marks that both pages have.
func (p *page) joins(row, column int) {
	p.pdf.SetDrawColor(120, 120, 120)
	p.pdf.SetTextColor(120, 120, 120)
	pageNumber := func(r, c int) int { return r*p.columns + c + 1 }
	for _, side := range []struct{ rows, columns int }{{0, -1}, {0, 1}, {-1, 0}, {1, 0}} {
		r, c := row+side.rows, column+side.columns
		if r < 0 || r >= p.rows || c < 0 || c >= p.columns {
			continue
		}
		from, to := p.window.Min, p.window.Max
		switch {
		case side.columns < 0:
			from.X += overlap / 2
			to.X = from.X
		case side.columns > 0:
			from.X = to.X - overlap/2
			to.X = from.X
		case side.rows < 0:
			from.Y = to.Y - overlap/2
			to.Y = from.Y
		default:
			from.Y += overlap / 2
			to.Y = from.Y
		}
		p.pdf.SetLineWidth(0.1)
		p.pdf.SetDashPattern([]float64{3, 2}, 0)
		p.line(from, to)
		p.pdf.SetDashPattern(nil, 0)
		p.pdf.SetLineWidth(0.2)
		a, b := pageNumber(row, column), pageNumber(r, c)
		for _, share := range []float64{0.25, 0.75} {
			at := r2.Add(from, r2.Scale(share, r2.Sub(to, from)))
			const arm = 4.0
			p.line(r2.Sub(at, r2.Vec{X: arm}), r2.Add(at, r2.Vec{X: arm}))
			p.line(r2.Sub(at, r2.Vec{Y: arm}), r2.Add(at, r2.Vec{Y: arm}))
			p.label(Label{r2.Add(at, r2.Vec{X: 3, Y: 2.5}), fmt.Sprintf("%d+%d", min(a, b), max(a, b)), 1.8})
		}
	}
}

// bars draws what calipers check the print's scale on.
func (p *page) bars() {
	p.pdf.SetFillColor(0, 0, 0)
	p.pdf.SetTextColor(0, 0, 0)
	p.pdf.SetFont("Helvetica", "B", noteText)
	bottom := p.paper.Height - pageMargin - p.strip
	text := func(name string) string { return p.translate(fmt.Sprintf("%s: %g mm", name, BarMM)) }
	down := lineHeight(noteText) * 0.27 // from the middle of a line of text to its foot

	x, y := p.left, bottom+3
	p.pdf.Rect(x, y, BarMM*p.scale.X, barWidth, "F")
	p.pdf.Text(x+BarMM*p.scale.X+3, y+barWidth/2+down, text("X"))

	x, length := pageMargin, BarMM*p.scale.Y
	y = bottom - length
	p.pdf.Rect(x, y, barWidth, length, "F")
	p.pdf.TransformBegin()
	p.pdf.TransformRotate(90, x+barWidth/2, y-3)
	p.pdf.Text(x+barWidth/2, y-3+down, text("Y"))
	p.pdf.TransformEnd()
}

func (p *page) text(row, column int) {
	y := p.paper.Height - pageMargin - p.strip + barWidth + 4
	line := func(style, text string) {
		y += lineHeight(noteText)
		p.pdf.SetFont("Helvetica", style, noteText)
		p.pdf.Text(p.left, y, p.translate(text))
	}
	title := "Paper check, 1:1"
	if n := p.rows * p.columns; n > 1 {
		title += fmt.Sprintf(". Page %d of %d: row %d, column %d. Cut at the dashed line, lay cross on cross and tape.", row*p.columns+column+1, n, row+1, column+1)
	}
	if p.d.Options.Mirror {
		title = "MIRRORED. " + title
	}
	line("B", title)
	for _, l := range p.notes {
		line("", l)
	}
}

// lineHeight is the distance between lines (mm) of letters of so many points.
func lineHeight(points float64) float64 { return 1.25 * points * 25.4 / 72 }
