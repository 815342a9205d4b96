package show

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestMeasured(t *testing.T) {
	for _, c := range []struct {
		v, u float64
		most int
		want string
	}{
		// JCGM 100:2008 clause 7.2.4 (a mass of 100.02147 g, U = 0.79 mg) and
		// 7.2.6 (10.05762 ohm, u = 27 milliohm, is given as 10.058); from memory.
		{100.02147, 0.00079, 5, "100.02147 ±0.00079"},
		{10.05762, 0.027, 3, "10.058 ±0.027"},

		{95.9581, 0.3838, 3, "95.96 ±0.38"},
		{47.9, 0.0996, 3, "47.90 ±0.10"}, // rounding takes ± a place further
		{47.9, 0.0994, 3, "47.900 ±0.099"},
		{12.3456, 0.00012, 3, "12.346 ±0.000"}, // the most that is printed
		{123.4, 25, 3, "123 ±25"},
		{1234.5, 250, 3, "1234 ±250"},
		{-0.0004, 0.02, 3, "0.000 ±0.020"}, // no minus before a zero
		{0, 0, 3, "0"},
		{96, 0, 3, "96"},
		{96.25, 0, 3, "96.25"},
		{100, 0, 0, "100"},
	} {
		if got := measured(c.v, c.u, c.most).String(); got != c.want {
			t.Errorf("%g ± %g gives %q, want %q", c.v, c.u, got, c.want)
		}
	}
}

func TestInches(t *testing.T) {
	// An inch has 25.4 mm (ISO 31-1; international agreement of 1959).
	if got := Inch.figure(25.4, 0.0254*4.2).String(); got != "1.0000 ±0.0042" {
		t.Error(got)
	}
	if got := Inch.figure(2*25.4, 12.7).String(); got != "2.00 ±0.50" {
		t.Error(got)
	}
}

func TestFullTurnIsNone(t *testing.T) {
	deg, u := 359.9997, 0.08
	if got := angle(&deg, &u).String(); got != "0.000 ±0.080" {
		t.Error(got)
	}
}

// A printed value says no more than its uncertainty lets it, and is right to
// its last digit.
func TestMeasuredDeserves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-5000, 5000).Draw(t, "v")
		u := math.Pow(10, rapid.Float64Range(-5, 3).Draw(t, "log u"))
		most := rapid.IntRange(0, 5).Draw(t, "most")
		f := measured(v, u, most)
		pm := strings.TrimPrefix(f.pm, "±")
		_, a, _ := strings.Cut(f.value, ".")
		_, b, _ := strings.Cut(pm, ".")
		if len(a) != len(b) || len(a) > most {
			t.Fatalf("%s: places differ or are too many", f)
		}
		got, err := strconv.ParseFloat(f.value, 64)
		if err != nil || math.Abs(got-v) > 0.51*math.Pow10(-len(a)) {
			t.Fatalf("%g printed as %s", v, f)
		}
		digits := strings.TrimLeft(strings.ReplaceAll(pm, ".", ""), "0")
		switch {
		case len(a) > 0 && len(digits) > 2:
			t.Fatalf("%s: ± has more than two digits", f)
		case len(a) < most && len(digits) < 2:
			t.Fatalf("%s: ± has less than two digits", f)
		}
	})
}

// All points of a column are below one another.
func TestColumnPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "n")
		figures := make([]figure, n)
		for i := range figures {
			figures[i] = measured(rapid.Float64Range(-500, 500).Draw(t, "v"), math.Pow(10, rapid.Float64Range(-4, 2).Draw(t, "u")), 3)
		}
		point, width := -1, -1
		for i, cell := range column(figures) {
			if w := utf8.RuneCountInString(cell); width < 0 {
				width = w
			} else if w != width {
				t.Fatalf("cell %d is %d wide, not %d", i, w, width)
			}
			if !strings.Contains(figures[i].value, ".") {
				continue
			}
			at := utf8.RuneCountInString(cell[:strings.Index(cell, ".")])
			if point < 0 {
				point = at
			}
			if at != point {
				t.Fatalf("cell %d has its point at %d, not %d: %q", i, at, point, cell)
			}
		}
	})
}
