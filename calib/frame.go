package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Paper is a sheet, upright. A4 is of ISO 216, letter of ANSI/ASME Y14.1.
type Paper struct {
	Name          string
	Width, Height float64 // mm
}

// The papers that frames are printed on.
var (
	A4     = Paper{"a4", 210, 297}
	Letter = Paper{"letter", 215.9, 279.4}
)

// PaperNamed returns the paper that a person calls by name.
func PaperNamed(name string) (Paper, error) {
	for _, p := range papers {
		if strings.EqualFold(p.Name, strings.TrimSpace(name)) {
			return p, nil
		}
	}
	return Paper{}, fmt.Errorf("there is no paper %q; give a4 or letter", name)
}

var papers = [...]Paper{A4, Letter}

// Dot is a black dot of a frame.
type Dot struct {
	Name     string // as "top 3": the side and the place along it, clockwise
	Centre   r2.Vec // mm
	Diameter float64
}

// Bar is a solid bar of which the length is measured after printing: From and
// To (mm) are the middles of its ends.
type Bar struct {
	From, To r2.Vec
	Width    float64 // mm
}

// Length returns the bar's nominal length in mm.
func (b Bar) Length() float64 { return r2.Norm(r2.Sub(b.To, b.From)) }

// Frame is a sheet to print: a border of dots around a window to cut out,
// which is laid around a face. Millimetres are nominal, x right and y up from
// the middle of the upright sheet.
//
// The dots lie on a grid, one on each of its points along a rectangle. There
// are large and small ones: along the border they make a code that says which
// dot is which, which paper it is and how many dots there are, whatever way
// up it is and also when a third of it is hidden.
type Frame struct {
	Paper         Paper
	Columns, Rows int     // dots along the top and along a side, corners included
	WindowW       float64 // mm
	WindowH       float64
	Dots          []Dot // clockwise from the top left corner
	BarX, BarY    Bar
}

// The layout, in mm.
const (
	Pitch         = 12.0 // from dot to dot
	smallDot      = 5.5  // diameters
	largeDot      = 8.0
	besideDot     = 2.0   // paper between the window and a large dot, at least
	barLength     = 140.0 // what calipers of 150 mm can take between their jaws
	barWidth      = 1.5
	besideBar     = 2.5 // paper between a bar and a large dot, at least
	printerMargin = 6.0 // what printers may leave white: common practice
	leastWindow   = 20.0
	leastDots     = 8 // along a side, so that a small window has enough of them
)

// NewFrame returns the frame on a paper whose window is windowW by windowH mm.
func NewFrame(paper Paper, windowW, windowH float64) (*Frame, error) {
	for _, v := range []float64{windowW, windowH} {
		if !(v >= leastWindow) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("a frame's window measures at least %g × %g mm, not %g × %g", leastWindow, leastWindow, windowW, windowH)
		}
	}
	columns, rows := dotsAround(windowW), dotsAround(windowH)
	mostColumns, mostRows := mostDots(paper.Width), mostDots(paper.Height)
	if mostColumns < leastDots || mostRows < leastDots {
		return nil, errors.New("the paper has no room for a frame")
	}
	if columns > mostColumns || rows > mostRows {
		hint := ""
		if windowW > windowH && columns <= mostRows && rows <= mostColumns {
			hint = "; the sheet stands upright: turn the window"
		}
		return nil, fmt.Errorf("a window of %g × %g mm leaves no room for the dots on %s paper: it may measure %g × %g mm%s",
			windowW, windowH, paper.Name, windowAmong(mostColumns), windowAmong(mostRows), hint)
	}
	f := &Frame{Paper: paper, Columns: columns, Rows: rows, WindowW: windowW, WindowH: windowH}
	f.Dots = dots(paper, columns, rows)
	// Bars do not cross where the border is shorter than they.
	right := max(f.halfWidth()+largeDot/2+besideBar, barLength/2+largeDot) + barWidth/2
	below := max(f.halfHeight()+largeDot/2+besideBar, barLength/2+largeDot) + barWidth/2
	f.BarX = Bar{r2.Vec{X: -barLength / 2, Y: -below}, r2.Vec{X: barLength / 2, Y: -below}, barWidth}
	f.BarY = Bar{r2.Vec{X: right, Y: -barLength / 2}, r2.Vec{X: right, Y: barLength / 2}, barWidth}
	return f, nil
}

// Within is the half width and half height, mm, of what lies within the dots.
func (f *Frame) Within() (x, y float64) {
	return f.halfWidth() - largeDot/2, f.halfHeight() - largeDot/2
}

func (f *Frame) halfWidth() float64  { return float64(f.Columns-1) * Pitch / 2 }
func (f *Frame) halfHeight() float64 { return float64(f.Rows-1) * Pitch / 2 }

// dotsAround returns how many dots a side has so that the window fits.
func dotsAround(window float64) int {
	return max(leastDots, 1+int(math.Ceil((min(window, 1e4)+2*besideDot+largeDot)/Pitch-1e-9)))
}

// windowAmong returns the largest window that dotsAround gives n dots.
func windowAmong(n int) float64 { return float64(n-1)*Pitch - largeDot - 2*besideDot }

// mostDots returns how many dots fit along a side of the paper.
func mostDots(side float64) int {
	return 1 + int((side-2*(printerMargin+barWidth+besideBar)-largeDot)/Pitch+1e-9)
}

var sideNames = [4]string{"top", "right", "bottom", "left"}

// dots returns the border, clockwise from the top left corner as printed.
func dots(paper Paper, columns, rows int) []Dot {
	out := make([]Dot, 0, 2*(columns+rows)-4)
	x0, y0 := -float64(columns-1)*Pitch/2, float64(rows-1)*Pitch/2
	for i, c := range ringCells(columns, rows) {
		d := Dot{Centre: r2.Vec{X: x0 + Pitch*float64(c.i), Y: y0 - Pitch*float64(c.j)}, Diameter: smallDot}
		if isLarge(paper, columns, rows, i) {
			d.Diameter = largeDot
		}
		side, k := i, 0
		for n := range 4 {
			k = n
			along := columns - 1
			if n%2 == 1 {
				along = rows - 1
			}
			if side < along {
				break
			}
			side -= along
		}
		d.Name = fmt.Sprintf("%s %d", sideNames[k], side+1)
		out = append(out, d)
	}
	return out
}

// cell is a point of the dots' grid: column i from the left, row j from the top.
type cell struct{ i, j int }

// ringCells returns the cells of the border, clockwise from the top left.
func ringCells(columns, rows int) []cell {
	var out []cell
	for i := range columns - 1 {
		out = append(out, cell{i, 0})
	}
	for j := range rows - 1 {
		out = append(out, cell{columns - 1, j})
	}
	for i := columns - 1; i > 0; i-- {
		out = append(out, cell{i, rows - 1})
	}
	for j := rows - 1; j > 0; j-- {
		out = append(out, cell{0, j})
	}
	return out
}

// isLarge tells whether dot i of a border is a large one. The key corner, top
// left, and two dots on either side of it are large; the other corners and
// one dot on either side are small. So a person sees which corner it is. The
// others are the code.
func isLarge(paper Paper, columns, rows, i int) bool {
	n := 2*(columns+rows) - 4
	if i <= 2 || i >= n-2 {
		return true
	}
	for _, corner := range []int{columns - 1, columns + rows - 2, 2*columns + rows - 3} {
		if i >= corner-1 && i <= corner+1 {
			return false
		}
	}
	return codeBit(paper, columns, rows, i)
}

// codeBit is a random bit for each dot of each border: random codes differ in
// half of their dots, however they are turned or shifted. It is the top bit of
// SplitMix64 (G. Steele, D. Lea, C. Flood, "Fast splittable pseudorandom number
// generators", OOPSLA 2014). Of many seeds this one tells the borders apart
// best with any third of their dots hidden in a row. Printed frames depend on
// it: never change it.
func codeBit(paper Paper, columns, rows, i int) bool {
	z := codeSeed + 0x9e3779b97f4a7c15*uint64(1+i+128*(rows+64*(columns+64*slices.Index(papers[:], paper))))
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return (z^z>>31)>>63 == 1
}

const codeSeed = 1689242963
