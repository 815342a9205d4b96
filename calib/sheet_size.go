package calib

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// SheetSize is a sheet or card whose size is known, mm. It may lie either way
// round in a picture.
type SheetSize struct {
	Name            string
	Width, Height   float64
	UWidth, UHeight float64 // standard uncertainties
	USquare         float64 // radian, standard uncertainty of its corners' right angle
	Thickness       float64 // what its upper face lies above what it lies on
	Corner          float64 // radius of its corners
	Tolerance       string  // where the uncertainties come from, in words
}

// What a sheet's size may be wrong by. A limit that a standard sets is taken
// as a rectangular distribution (JCGM 100:2008 clause 4.3.7): a/√3.
const (
	// ISO 216: ±1.5 mm for lengths to 150 mm, ±2 mm to 600 mm; from memory.
	isoCut = 2.0
	// ANSI letter has no limit of its own that printers go by; common practice
	// is a sixteenth of an inch.
	letterCut = mmPerInch / 16
	// ISO/IEC 7810, ID-1, an unused card: 85.47 to 85.72 mm by 53.92 to
	// 54.03 mm, 0.76 mm thick, corners of 3.18 mm; from memory.
	cardWidth, cardWidthLimit   = 85.60, 0.125
	cardHeight, cardHeightLimit = 53.98, 0.06
	cardThickness, cardCorner   = 0.76, 3.18
	// How far a sheet cut by machine is from square: 0.5 mm over 300 mm as a
	// limit; common practice. A punched card is better.
	sheetSquareU, cardSquareU = 0.5 / 300 / sqrt3, 0.0003
	// What a size read off a rule is good for, ±; common practice.
	handMeasured = 0.5

	sqrt3 = 1.7320508075688772
)

// SheetNames are what ParseSheet takes besides a width and a height.
var SheetNames = []string{"a3", "a4", "a5", "letter", "card"}

// ParseSheet reads the name or the size of a sheet: a3, a4, a5, letter, card
// (ISO/IEC 7810 ID-1), or width by height in mm as 210x297 or with what each
// may be wrong by (k = 2) as 210±0.3x297±0.3, "+-" being typed for "±" as
// well. Without it ±0.5 mm is taken, as read off a rule.
func ParseSheet(s string) (SheetSize, error) {
	typed := strings.ToLower(strings.TrimSpace(s))
	cut := func(name string, w, h, limit float64, why string) (SheetSize, error) {
		return SheetSize{Name: name, Width: w, Height: h, UWidth: limit / sqrt3, UHeight: limit / sqrt3, USquare: sheetSquareU,
			Tolerance: fmt.Sprintf("cut to ±%.2g mm (%s)", limit, why)}, nil
	}
	switch typed {
	case "a3":
		return cut("A3 sheet", 297, 420, isoCut, "ISO 216")
	case "a4":
		return cut("A4 sheet", 210, 297, isoCut, "ISO 216")
	case "a5":
		size, err := cut("A5 sheet", 148, 210, isoCut, "ISO 216")
		size.UWidth = 1.5 / sqrt3 // to 150 mm
		return size, err
	case "letter":
		return cut("US letter sheet", 8.5*mmPerInch, 11*mmPerInch, letterCut, "common practice")
	case "card":
		return SheetSize{Name: "ID-1 card", Width: cardWidth, Height: cardHeight,
			UWidth: cardWidthLimit / sqrt3, UHeight: cardHeightLimit / sqrt3, USquare: cardSquareU,
			Thickness: cardThickness, Corner: cardCorner,
			Tolerance: "made to ±0.12 × ±0.06 mm (ISO/IEC 7810)"}, nil
	}
	return parseSize(s, typed)
}

func parseSize(s, typed string) (SheetSize, error) {
	wrong := fmt.Errorf("%q is no sheet: give a3, a4, a5, letter or card, or its width and height in mm as 210x297 or 210±0.3x297±0.3", s)
	typed = strings.TrimSuffix(strings.ReplaceAll(typed, "×", "x"), "mm")
	width, height, ok := strings.Cut(typed, "x")
	if !ok {
		return SheetSize{}, wrong
	}
	w, wPM, okW := withPM(width)
	h, hPM, okH := withPM(height)
	if !okW || !okH {
		return SheetSize{}, wrong
	}
	for _, side := range []float64{w, h} {
		if side < 5 || side > 5000 {
			return SheetSize{}, fmt.Errorf("--sheet %s: a side of %g mm is no sheet to measure with (5 to 5000 mm)", s, side)
		}
	}
	if math.Max(w, h) > 6*math.Min(w, h) {
		return SheetSize{}, fmt.Errorf("--sheet %s: a strip this narrow gives no scale across it; take a sheet whose sides are more alike", s)
	}
	if wPM > 0.1*w || hPM > 0.1*h {
		return SheetSize{}, fmt.Errorf("--sheet %s: with a ± that is more than a tenth of the side no scale is known", s)
	}
	size := SheetSize{Name: fmt.Sprintf("sheet of %g × %g mm", w, h), Width: w, Height: h,
		UWidth: wPM / 2, UHeight: hPM / 2, USquare: sheetSquareU, Tolerance: fmt.Sprintf("±%g × ±%g mm as given", wPM, hPM)}
	if !strings.ContainsAny(typed, "±+") {
		size.Tolerance = fmt.Sprintf("taken as ±%g mm, read off a rule", handMeasured)
	}
	return size, nil
}

// withPM reads 210, 210±0.3, 210+-0.3 or 210+/-0.3.
func withPM(s string) (v, pm float64, ok bool) {
	pm = handMeasured
	for _, sign := range []string{"±", "+-", "+/-"} {
		if before, after, cut := strings.Cut(s, sign); cut {
			s = before
			var err error
			if pm, err = strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(after), "mm")), 64); err != nil || !(pm >= 0) || math.IsInf(pm, 0) {
				return 0, 0, false
			}
			break
		}
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "mm")), 64)
	return v, pm, err == nil && v > 0 && !math.IsInf(v, 0)
}

// turned is the sheet lying the other way round.
func (s SheetSize) turned() SheetSize {
	s.Width, s.Height = s.Height, s.Width
	s.UWidth, s.UHeight = s.UHeight, s.UWidth
	return s
}
