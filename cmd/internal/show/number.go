package show

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Unit is what lengths are printed in.
type Unit struct {
	Name     string
	perMM    float64
	decimals int // at most: a micrometre, or a tenth of a thou
}

// The units that text is printed in.
var (
	MM   = Unit{"mm", 1, 3}
	Inch = Unit{"in", 1 / 25.4, 4}
)

// Size prints a length that is set or drilled, with its unit: without ± and
// without noughts at its end.
func (u Unit) Size(mm float64) string {
	return measured(mm*u.perMM, 0, u.decimals).value + " " + u.Name
}

const angleDecimals = 3

// figure is a printed value with its ±. The ± has two significant digits and
// the value ends at the same place (JCGM 100:2008 clause 7.2.6).
type figure struct{ value, pm string }

func (u Unit) figure(mm, u95 float64) figure {
	return measured(mm*u.perMM, u95*u.perMM, u.decimals)
}

func angle(deg, u95 *float64) figure {
	if deg == nil {
		return figure{value: "–"}
	}
	f := measured(*deg, *u95, angleDecimals)
	if full, err := strconv.ParseFloat(f.value, 64); err == nil && full == 360 && *deg < 360 {
		f = measured(0, *u95, angleDecimals) // 359.9996° prints as 0°, not as 360°
	}
	return f
}

// measured prints a value; one without uncertainty is exact, and has no ±.
func measured(v, u95 float64, most int) figure {
	if !(u95 > 0) {
		text := decimal(v, most)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return figure{value: text}
	}
	d := decimals(u95, most)
	return figure{decimal(v, d), "±" + decimal(u95, d)}
}

// decimals is how many decimals show two significant digits of u, at most
// most and at least none.
func decimals(u float64, most int) int {
	d := 1 - int(math.Floor(math.Log10(u)))
	if u*math.Pow10(d) >= 99.5 { // 0.0996 rounds to 0.10
		d--
	}
	return max(0, min(d, most))
}

// decimal is v with d decimals, and no minus before a zero.
func decimal(v float64, d int) string {
	text := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text
}

func (f figure) String() string {
	if f.pm == "" {
		return f.value
	}
	return f.value + " " + f.pm
}

// column lays figures under one another with their points in line.
func column(figures []figure) []string {
	values, pms := make([]string, len(figures)), make([]string, len(figures))
	for i, f := range figures {
		values[i], pms[i] = f.value, f.pm
	}
	pointsInLine(values)
	pointsInLine(pms)
	cells := make([]string, len(figures))
	for i := range cells {
		cells[i] = values[i]
		if len(pms[i]) > 0 {
			cells[i] += " " + pms[i]
		}
	}
	return cells
}

// pointsInLine pads numbers to one width so that their decimal points are
// below one another. When all are empty they stay so.
func pointsInLine(texts []string) {
	before, after := 0, 0
	split := func(s string) (int, int) {
		whole, fraction, point := strings.Cut(s, ".")
		if !point {
			return utf8.RuneCountInString(whole), 0
		}
		return utf8.RuneCountInString(whole), 1 + len(fraction)
	}
	for _, s := range texts {
		b, a := split(s)
		before, after = max(before, b), max(after, a)
	}
	for i, s := range texts {
		b, a := split(s)
		texts[i] = strings.Repeat(" ", before-b) + s + strings.Repeat(" ", after-a)
	}
}

// Number is a length (mm) in the unit, for a table that a machine reads.
func (u Unit) Number(mm float64) string {
	return strconv.FormatFloat(mm*u.perMM, 'f', u.decimals+1, 64)
}

// PlusMinus is a length (mm) with its ± and its unit, as it is printed; "" where
// there is none.
func (u Unit) PlusMinus(mm, u95 *float64) string {
	if mm == nil || u95 == nil {
		return ""
	}
	f := u.figure(*mm, *u95)
	return strings.TrimSpace(f.value+" "+f.pm) + " " + u.Name
}
