// Package framepage draws a calib.Frame as a page to print.
package framepage

import (
	"fmt"
	"io"

	"boltrose/calib"
	"boltrose/pattern/draw"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"
)

// Write writes the frame as a PDF of one page. The same frame gives the same
// bytes.
func Write(w io.Writer, f *calib.Frame) error {
	p := &page{frame: f}
	p.pdf, p.translate = draw.NewPDF(title(f), f.Paper.Width, f.Paper.Height)
	p.pdf.AddPage()
	p.dots()
	p.window()
	p.bars()
	p.up()
	p.instructions()
	return p.pdf.Output(w)
}

func title(f *calib.Frame) string {
	return fmt.Sprintf("boltrose frame: %s, window %g × %g mm", f.Paper.Name, f.WindowW, f.WindowH)
}

type page struct {
	frame     *calib.Frame
	pdf       *fpdf.Fpdf
	translate func(string) string
}

// at turns a place on the frame into one on the page, whose y goes down from
// the top left corner.
func (p *page) at(mm r2.Vec) (x, y float64) {
	return p.frame.Paper.Width/2 + mm.X, p.frame.Paper.Height/2 - mm.Y
}

func (p *page) dots() {
	p.pdf.SetFillColor(0, 0, 0)
	for _, d := range p.frame.Dots {
		x, y := p.at(d.Centre)
		p.pdf.Circle(x, y, d.Diameter/2, "F")
	}
}

func (p *page) window() {
	f := p.frame
	p.pdf.SetLineWidth(0.15)
	p.pdf.SetDrawColor(0, 0, 0)
	x, y := p.at(r2.Vec{X: -f.WindowW / 2, Y: f.WindowH / 2})
	p.pdf.Rect(x, y, f.WindowW, f.WindowH, "D")
}

const barText = 8.0 // points

func (p *page) bars() {
	f := p.frame
	p.pdf.SetFillColor(0, 0, 0)
	p.pdf.SetFont("Helvetica", "B", barText)
	for _, b := range []struct {
		name string
		calib.Bar
		turn float64
	}{{"X", f.BarX, 0}, {"Y", f.BarY, 90}} {
		x, y := p.at(b.From)
		p.pdf.TransformBegin()
		p.pdf.TransformRotate(b.turn, x, y)
		p.pdf.Rect(x, y-b.Width/2, b.Length(), b.Width, "F")
		label := fmt.Sprintf("%s: %g mm", b.name, b.Length())
		p.pdf.Text(x+b.Length()+3, y+lineHeight(barText)*0.27, label)
		p.pdf.TransformEnd()
	}
}

// up marks the side that is up in the reading.
func (p *page) up() {
	const size = 9.0
	x, y := p.at(r2.Vec{Y: p.frame.Dots[0].Centre.Y})
	y -= 7
	p.pdf.SetFont("Helvetica", "B", size)
	label := "up"
	half := p.pdf.GetStringWidth(label) / 2
	p.pdf.Text(x-half, y, label)
	p.pdf.SetFillColor(0, 0, 0)
	for _, tip := range []float64{x - half - 3.5, x + half + 3.5} {
		p.pdf.Polygon([]fpdf.PointType{{X: tip, Y: y - 2.6}, {X: tip - 1.4, Y: y}, {X: tip + 1.4, Y: y}}, "F")
	}
}

// instructions go below the bar, so that they stay with the frame; where
// there is no room, into the window, or beside a window that is too narrow.
func (p *page) instructions() {
	f := p.frame
	const size, gap, margin = 9.0, 5.0, 8.0
	width := f.BarX.Length()
	left, top := p.at(r2.Vec{X: -width / 2, Y: f.BarX.From.Y - gap})
	lines := p.wrap(width, size)
	if height := float64(len(lines)) * lineHeight(size); top+height > f.Paper.Height-margin {
		width = min(f.WindowW-2*gap, width)
		if width < 60 {
			border, _ := p.at(f.Dots[0].Centre)
			width = border - gap - 2*margin
			left = margin
		} else {
			left = (f.Paper.Width - width) / 2
		}
		lines = p.wrap(width, size)
		top = (f.Paper.Height - float64(len(lines))*lineHeight(size)) / 2
	}
	for i, line := range lines {
		style := ""
		if line.bold {
			style = "B"
		}
		p.pdf.SetFont("Helvetica", style, size)
		p.pdf.Text(left, top+(float64(i)+0.8)*lineHeight(size), line.number)
		p.pdf.Text(left+line.indent, top+(float64(i)+0.8)*lineHeight(size), p.translate(line.text))
	}
}

type line struct {
	number string
	text   string
	indent float64 // mm
	bold   bool
}

// wrap breaks the text into lines no wider than width.
func (p *page) wrap(width, size float64) []line {
	const indent = 5.0
	p.pdf.SetFont("Helvetica", "B", size) // the wider one
	var lines []line
	for _, s := range p.pdf.SplitText(title(p.frame), width) {
		lines = append(lines, line{text: s, bold: true})
	}
	for i, step := range steps(p.frame) {
		for k, s := range p.pdf.SplitText(step, width-indent) {
			l := line{text: s, indent: indent}
			if k == 0 {
				l.number = fmt.Sprint(i + 1)
			}
			lines = append(lines, l)
		}
	}
	return lines
}

func steps(f *calib.Frame) []string {
	return []string{
		`Print at 100 % ("actual size"), not fitted to the page.`,
		fmt.Sprintf("Measure bars X and Y with calipers, from end to end. They should be %g mm; printers are some tenths off. When you read the photo, say what you measured: --printed X,Y", f.BarX.Length()),
		"Cut the window out along its line.",
		"Machine switched off and locked out: lay the sheet round the face, this side up and in the plane of the face, and tape it down flat.",
		"Photograph it from straight above, with all dots in the picture. Do not crop or straighten the photo.",
	}
}

// lineHeight returns the distance between lines (mm) of letters of so many
// points.
func lineHeight(size float64) float64 { return 1.25 * size * 25.4 / 72 }
