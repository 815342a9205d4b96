package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"

	"boltrose/calib"
	"boltrose/cmd/internal/show"
	"boltrose/pattern/draw"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"
)

const (
	margin    = 14.0 // mm
	gutter    = 6.0
	text      = 9.0 // points
	smallText = 7.5
	headText  = 10.0
)

// size is the most that a picture is high, in mm, the tables' letters, in
// points, and whether both tables stand side by side.
type size struct {
	figures, table float64
	beside         bool
}

// sizes are tried in turn: the first with which all is on one page is taken, or
// the first of all.
var sizes = []size{{88, 8, false}, {76, 8, false}, {64, 8, false}, {52, 8, false}, {76, 7, true}, {60, 7, true}, {46, 6.5, true}, {34, 6.5, true}}

// WritePDF writes the report as PDF: on one page where it fits.
func (p *Report) WritePDF(w io.Writer, paper calib.Paper) error {
	s := p.laidOut(paper, sizes[0])
	for _, size := range sizes[1:] {
		if s.pages == 1 {
			break
		}
		if smaller := p.laidOut(paper, size); smaller.pages == 1 {
			s = smaller
		}
	}
	return s.pdf.Output(w)
}

func (p *Report) laidOut(paper calib.Paper, size size) *sheet {
	s := &sheet{Report: p, paper: paper, size: size}
	s.pdf, s.translate = draw.NewPDF(p.Sheet.Title, paper.Width, paper.Height)
	s.addPage()
	s.head()
	s.facts()
	s.figures()
	s.tables()
	s.cautions()
	return s
}

// sheet is a report as it flows over pages; y is how far down it is.
type sheet struct {
	*Report
	paper     calib.Paper
	pdf       *fpdf.Fpdf
	translate func(string) string
	size      size
	y         float64
	pages     int
}

func (s *sheet) width() float64 { return s.paper.Width - 2*margin }

func (s *sheet) addPage() {
	s.pdf.AddPage()
	s.pages++
	s.y = margin
	if s.pages > 1 {
		s.pdf.SetFont("Helvetica", "", smallText)
		s.pdf.Text(margin, margin-4, s.printable(fmt.Sprintf("%s, %s, page %d", s.Sheet.Title, s.Date, s.pages)))
	}
}

// room goes to a new page where so much height is not left.
func (s *sheet) room(mm float64) {
	if s.y+mm > s.paper.Height-margin && s.y > margin {
		s.addPage()
	}
}

// printable is a text in the letters that the typefaces have; others are shown as
// question marks.
func (s *sheet) printable(t string) string {
	return s.translate(strings.Map(func(r rune) rune {
		if r > 126 && s.translate(string(r)) == "." {
			return '?'
		}
		return r
	}, t))
}

func lineHeight(points float64) float64 { return 1.25 * points * 25.4 / 72 }

// write puts text into lines of a width, from x on.
func (s *sheet) write(x, width float64, style string, points float64, t string) {
	s.pdf.SetFont("Helvetica", style, points)
	for _, line := range s.lines(t, width) {
		s.room(lineHeight(points))
		s.pdf.SetFont("Helvetica", style, points)
		s.pdf.Text(x, s.y+0.78*lineHeight(points), line)
		s.y += lineHeight(points)
	}
}

// lines breaks text in the present typeface; words that are wider than a line
// are broken too.
func (s *sheet) lines(t string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(t) {
		word = s.printable(word)
		with := word
		if line != "" {
			with = line + " " + word
		}
		if s.pdf.GetStringWidth(with) <= width {
			line = with
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for s.pdf.GetStringWidth(word) > width {
			n := len(word) - 1
			for n > 1 && s.pdf.GetStringWidth(word[:n]) > width {
				n--
			}
			lines, word = append(lines, word[:n]), word[n:]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

func (s *sheet) head() {
	const title = 15.0
	s.write(margin, s.width()-25, "B", title, s.Sheet.Title)
	s.pdf.SetFont("Helvetica", "", text)
	s.pdf.Text(s.paper.Width-margin-s.pdf.GetStringWidth(s.Date), margin+0.78*lineHeight(title), s.Date)
	s.pdf.SetLineWidth(0.5)
	s.y += 0.5
	s.pdf.Line(margin, s.y, s.paper.Width-margin, s.y)
	s.y += 2.5
	if len(s.Sheet.Verdict) == 0 {
		return
	}
	from, page := s.y, s.pages
	for i, words := range s.Sheet.Verdict {
		points, style := text, ""
		if i == 0 {
			points, style = text+1.5, "B"
		}
		s.write(margin+3, s.width()-3, style, points, words)
	}
	if s.pages == page {
		s.pdf.SetFillColor(0, 114, 178)
		s.pdf.Rect(margin, from, 1, s.y-from, "F")
	}
	s.y += 2
}

func (s *sheet) facts() {
	const name = 15.0
	for _, f := range append(append([]show.Fact{}, s.Sheet.Facts...), s.Sheet.Features...) {
		s.room(lineHeight(text))
		s.pdf.SetFont("Helvetica", "B", text)
		s.pdf.Text(margin, s.y+0.78*lineHeight(text), s.printable(f.Name))
		s.write(margin+name, s.width()-name, "", text, f.Text)
		s.y += 0.6
	}
	for _, warning := range s.Sheet.Warnings {
		s.write(margin, s.width(), "B", text, "Warning: "+warning)
	}
	s.y += 2
}

// figures are the picture and the drawing, side by side.
func (s *sheet) figures() {
	width := s.width()
	if s.Overlay != nil {
		width = (width - gutter) / 2
	}
	b := s.Drawing.Bounds()
	drawn := b.Max.Y - b.Min.Y
	scale := math.Min(width/(b.Max.X-b.Min.X), s.size.figures/drawn)
	if s.Overlay == nil { // at most as large as it is
		scale = math.Min(scale, 1)
	}
	high := scale * drawn
	imageW, imageH := 0.0, 0.0
	if o := s.Overlay; o != nil {
		k := math.Min(width/float64(o.Width), s.size.figures/float64(o.Height))
		imageW, imageH = k*float64(o.Width), k*float64(o.Height)
		high = math.Max(high, imageH)
	}
	const captions = 12.0
	s.room(high + captions)
	top, left := s.y, margin
	after := top + high + 1
	if o := s.Overlay; o != nil {
		s.pdf.RegisterImageOptionsReader("overlay", fpdf.ImageOptions{ImageType: o.kind}, bytes.NewReader(o.data))
		s.pdf.ImageOptions("overlay", left, top, imageW, imageH, false, fpdf.ImageOptions{ImageType: o.kind}, 0, "")
		s.y = after
		s.write(left, width, "", smallText, s.overlayCaption())
		left += width + gutter
	}
	below := s.y
	s.drawing(b, scale, r2.Vec{X: left + (width-scale*(b.Max.X-b.Min.X))/2, Y: top})
	s.y = after
	s.write(left, width, "", smallText, s.drawingCaption()+" "+s.Drawing.Notes[0])
	s.y = math.Max(s.y, below) + 2
}

// drawing draws what the other forms of drawings have, at a scale.
func (s *sheet) drawing(b r2.Box, scale float64, at r2.Vec) {
	on := func(p r2.Vec) (x, y float64) { return at.X + scale*(p.X-b.Min.X), at.Y + scale*(b.Max.Y-p.Y) }
	s.pdf.SetLineWidth(0.2)
	for _, c := range s.Drawing.Circles {
		if c.Layer == draw.LayerPitchCircle {
			s.pdf.SetDashPattern([]float64{4, 0.8, 0.6, 0.8}, 0)
		}
		x, y := on(c.Centre)
		s.pdf.Circle(x, y, scale*c.Diameter/2, "D")
		s.pdf.SetDashPattern(nil, 0)
	}
	s.pdf.SetLineWidth(0.12)
	for _, l := range s.Drawing.Lines {
		x1, y1 := on(l.From)
		x2, y2 := on(l.To)
		s.pdf.Line(x1, y1, x2, y2)
	}
	for _, l := range s.Drawing.Labels {
		// Capitals are 0.72 of a typeface's size; smaller than 5 points is not read.
		high := math.Max(scale*l.Height/0.72*72/25.4, 5)
		s.pdf.SetFont("Helvetica", "", high)
		t := s.printable(l.Text)
		x, y := on(l.At)
		s.pdf.Text(x-s.pdf.GetStringWidth(t)/2, y+0.36*high*25.4/72, t)
	}
}

// tables are the holes', the gaps', and beside that the budget.
func (s *sheet) tables() {
	if s.size.beside {
		s.tablesBeside()
		return
	}
	s.table(margin, "Holes", &s.Sheet.Holes, s.width())
	s.holeNotes()
	half := (s.width() - gutter) / 2
	if s.Budgeted {
		s.room(s.chartHeight())
	}
	top, page := s.y, s.pages
	if s.Budgeted {
		left := margin
		if len(s.Sheet.Gaps.Heads) > 0 {
			left += half + gutter
		}
		s.chart(left, half)
	}
	below := s.y
	if len(s.Sheet.Gaps.Heads) > 0 {
		s.y = top
		s.table(margin, "From hole to hole", &s.Sheet.Gaps, half)
	}
	if s.pages == page {
		s.y = math.Max(s.y, below)
	}
	s.y += 2
}

func (s *sheet) holeNotes() {
	if s.Sheet.OffCircle != "" {
		s.write(margin, s.width(), "", smallText, "* "+s.Sheet.OffCircle)
	}
	for _, note := range s.Sheet.HoleNotes {
		s.write(margin, s.width(), "", smallText, note)
	}
	s.y += 2
}

// tablesBeside saves the height of a table where there are many holes.
func (s *sheet) tablesBeside() {
	top, holes := s.y, 0.64*(s.width()-gutter)
	s.table(margin, "Holes", &s.Sheet.Holes, holes)
	if len(s.Sheet.Gaps.Heads) > 0 {
		below := s.y
		s.y = top
		s.table(margin+holes+gutter, "From hole to hole", &s.Sheet.Gaps, s.width()-holes-gutter)
		s.y = math.Max(s.y, below)
	}
	s.holeNotes()
	if s.Budgeted {
		s.room(s.chartHeight())
		s.chart(margin, s.width())
	}
	s.y += 2
}

// table prints in letters of one width, so that points stand in line.
func (s *sheet) table(left float64, head string, tab *show.Table, width float64) {
	lines := tab.Lines()
	widest := 1
	for _, l := range lines {
		widest = max(widest, len([]rune(l)))
	}
	points := math.Min(s.size.table, width/(0.6*float64(widest))*72/25.4)
	height := lineHeight(points)
	s.room(lineHeight(headText) + 3*height)
	s.write(left, width, "B", headText, head)
	for i, l := range lines {
		if s.y+height > s.paper.Height-margin {
			s.addPage()
			s.tableLine(left, lines[0], points, width)
		}
		if i == 0 {
			s.tableLine(left, l, points, width)
			continue
		}
		s.pdf.SetFont("Courier", "", points)
		s.pdf.Text(left, s.y+0.78*height, s.printable(l))
		s.y += height
	}
	s.y++
}

// tableLine prints a table's heads, and a line below them.
func (s *sheet) tableLine(left float64, l string, points, width float64) {
	s.pdf.SetFont("Courier", "B", points)
	s.pdf.Text(left, s.y+0.78*lineHeight(points), s.printable(l))
	s.y += lineHeight(points)
	s.pdf.SetLineWidth(0.15)
	s.pdf.Line(left, s.y, left+width, s.y)
	s.y += 0.3
}

const barRow = 7.0 // mm

func (s *sheet) chartHeight() float64 {
	return lineHeight(headText) + 2*lineHeight(smallText) + 1 + barRow*float64(len(s.Causes.Terms))
}

func (s *sheet) chart(left, width float64) {
	s.write(left, width, "B", headText, "What the ± comes from")
	s.write(left, width, "", smallText, "Of the "+s.Causes.Of+"; each cause alone, k = 2. The squares add up.")
	s.y++
	s.pdf.SetFillColor(0, 114, 178)
	for i, share := range s.bars() {
		c := s.Causes.Terms[i]
		s.pdf.SetFont("Helvetica", "", smallText)
		name := s.lines(c.Name, width)
		if len(name) > 0 {
			s.pdf.Text(left, s.y+0.78*lineHeight(smallText), name[0])
		}
		bar := share * (width - 22)
		s.pdf.Rect(left, s.y+lineHeight(smallText)+0.2, bar, 2.5, "F")
		s.pdf.Text(left+bar+1.2, s.y+lineHeight(smallText)+2.5, s.printable(c.Text))
		s.y += barRow
	}
}

func (s *sheet) cautions() {
	height := 1.0
	s.pdf.SetFont("Helvetica", "B", text) // the wider one
	for _, c := range append([]string{s.Sheet.Known}, s.Cautions...) {
		height += float64(len(s.lines(c, s.width()))) * lineHeight(text)
	}
	s.room(height)
	s.pdf.SetLineWidth(0.15)
	s.pdf.Line(margin, s.y, s.paper.Width-margin, s.y)
	s.y++
	s.write(margin, s.width(), "", text, s.Sheet.Known)
	for _, c := range s.Cautions {
		s.write(margin, s.width(), "B", text, c)
	}
	if s.SHA256 != "" {
		s.write(margin, s.width(), "", smallText, "SHA-256 of the picture that was read: "+s.SHA256)
	}
}
