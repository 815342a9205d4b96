package calib

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// ScanOfRule measures a scan of a rule whose lines are pitch mm apart. The
// rule gives the scale along itself only.
func ScanOfRule(name string, pic *vision.Picture, dpi [2]float64, pitch float64) (ScanSeen, vision.Graduations, error) {
	g, err := vision.FindGraduations(pic, pitch*dpi[0]/mmPerInch, pitch*dpi[1]/mmPerInch)
	if err != nil {
		return ScanSeen{}, g, err
	}
	row := seenLength(r2.Scale(g.Pitch, g.Along), dpi, pitch, g.UPitch/g.Pitch)
	return ScanSeen{Name: name, rows: []scanRow{row}}, g, nil
}

// sheetSidePx is how well (px) a side of a sheet is placed that stands out
// clearly; rendered ones are to a tenth of it.
const sheetSidePx = 0.05

// ScanOfSheet measures a scan of a card or sheet, and returns what its size
// may be off by.
func ScanOfSheet(name string, pic *vision.Picture, dpi [2]float64, size SheetSize) (ScanSeen, ThingU, error) {
	plane, fit, err := Sheet(pic, SheetSet{Size: size, Scan: true})
	if err != nil {
		return ScanSeen{}, ThingU{}, err
	}
	var middle r2.Vec
	short := math.Inf(1)
	for i, c := range fit.Quad.Corner {
		middle = r2.Add(middle, r2.Scale(0.25, c))
		short = math.Min(short, r2.Norm(r2.Sub(fit.Quad.Corner[(i+1)%4], c)))
	}
	a := plane.ByPixel(middle)
	if size.Width != fit.Size.Width { // its errors go by the size as it is named
		a[0], a[1] = a[1], [2]float64{-a[0][0], -a[0][1]}
	}
	px := mmPerInch / math.Min(dpi[0], dpi[1])
	edge := 2 * edgeU * px
	thing := ThingU{math.Hypot(size.UWidth, edge) / size.Width, math.Hypot(size.UHeight, edge) / size.Height, size.USquare}
	return ScanSeen{Name: name, rows: seenAffine(a, dpi, math.Max(sheetSidePx, fit.RMSPx/2)/short)}, thing, nil
}

// ScanOfFrame measures a scan of the printed frame.
func ScanOfFrame(name string, pic *vision.Picture, dpi [2]float64, printed PrintedBars) (ScanSeen, ThingU, error) {
	v, err := FindFrame(pic, printed)
	if err != nil {
		return ScanSeen{}, ThingU{}, err
	}
	if v == nil {
		return ScanSeen{}, ThingU{}, errors.New("no printed frame is seen; for a rule give --rule, for a card --sheet card")
	}
	a, sigma, err := affine(v.Controls)
	if err != nil {
		return ScanSeen{}, ThingU{}, err
	}
	return ScanSeen{Name: name, rows: seenAffine(a, dpi, sigma)}, v.PrintU(), nil
}

// affine fits mm = a·px + t and returns a and the relative standard
// uncertainty of a length by it.
func affine(controls []Control) (a [2][2]float64, sigma float64, err error) {
	n := len(controls)
	if n < 6 {
		return a, 0, fmt.Errorf("only %d dots of the frame are seen, at least 6 are wanted", n)
	}
	px := make([]r2.Vec, n)
	for i, c := range controls {
		px[i] = c.Px
	}
	middle, size := extent(px)
	x, y := mat.NewDense(n, 3, nil), mat.NewDense(n, 2, nil)
	for i, c := range controls {
		x.SetRow(i, []float64{(c.Px.X - middle.X) / size, (c.Px.Y - middle.Y) / size, 1})
		y.SetRow(i, []float64{c.MM.X, c.MM.Y})
	}
	var b, left mat.Dense
	if err := b.Solve(x, y); err != nil {
		return a, 0, errors.New("the frame's dots leave its axes open")
	}
	left.Mul(x, &b)
	left.Sub(&left, y)
	rms := mat.Norm(&left, 2) / math.Sqrt(float64(2*n-6))
	for r := range 2 {
		for c := range 2 {
			a[r][c] = b.At(c, r) / size
		}
	}
	mm := size * math.Sqrt(math.Abs(a[0][0]*a[1][1]-a[0][1]*a[1][0]))
	return a, math.Max(rms, dotPlaceU) / math.Sqrt(float64(n)) / mm, nil
}

// ParsePitch reads the finest graduation of a rule, in mm: 1mm, 0.5mm, 1/16in,
// 1/64".
func ParsePitch(s string) (float64, error) {
	wrong := fmt.Errorf("%q is no rule's graduation: give the finest one that runs all along, as 1mm, 0.5mm or 1/16in", s)
	text := strings.ToLower(strings.ReplaceAll(s, " ", ""))
	unit := 1.0
	switch {
	case strings.HasSuffix(text, "mm"):
		text = strings.TrimSuffix(text, "mm")
	case strings.HasSuffix(text, "in"), strings.HasSuffix(text, `"`):
		text, unit = strings.TrimSuffix(strings.TrimSuffix(text, "in"), `"`), mmPerInch
	default:
		return 0, wrong
	}
	over := 1.0
	if a, b, ok := strings.Cut(text, "/"); ok {
		var err error
		if over, err = strconv.ParseFloat(b, 64); err != nil {
			return 0, wrong
		}
		text = a
	}
	v, err := strconv.ParseFloat(text, 64)
	v *= unit / over
	if err != nil || !(v >= 0.05 && v <= 50) {
		return 0, wrong
	}
	return v, nil
}
