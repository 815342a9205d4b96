package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"boltrose/calib"
	"boltrose/cmd/internal/read"

	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r2"
)

// The values of read's flags that pflag does not know.

// number reads a finite number.
func number(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

// numbers reads n numbers with commas between them.
func numbers(s string, n int) ([]float64, error) {
	parts := strings.Split(s, ",")
	if len(parts) != n {
		return nil, fmt.Errorf("%d numbers with commas between them are wanted", n)
	}
	out := make([]float64, n)
	for i, p := range parts {
		var err error
		if out[i], err = number(p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// value is a flag that set parses; pflag asks for the rest.
type value struct {
	kind string
	set  func(string) error
}

func (v value) String() string     { return "" }
func (v value) Type() string       { return v.kind }
func (v value) Set(s string) error { return v.set(s) }

func dpiValue(to *[2]float64) value {
	return value{"dpi", func(s string) error {
		if !strings.Contains(s, ",") {
			s += "," + s
		}
		v, err := numbers(s, 2)
		if err != nil {
			return errors.New("give pixels per inch as 300, or as 300,600 where they differ along x and y")
		}
		for _, d := range v {
			if d < 1 || d > 100_000 {
				return fmt.Errorf("%g pixels per inch is no scanner's resolution", d)
			}
		}
		*to = [2]float64{v[0], v[1]}
		return nil
	}}
}

func relativeValue(to *float64) value {
	return value{"u", func(s string) error {
		digits, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
		v, err := number(digits)
		if percent {
			v /= 100
		}
		switch {
		case err != nil || v < 0:
			return errors.New("give a relative standard uncertainty as 0.002 or 0.2%")
		case v > 0.1 && !percent:
			return fmt.Errorf("%g means %g %%, which is no measurement; is %g%% meant?", v, 100*v, v)
		case v > 0.1:
			return fmt.Errorf("%g %% is no measurement; at most 10%%", 100*v)
		}
		*to = v
		return nil
	}}
}

func rangeValue(low, high *float64) value {
	return value{"range", func(s string) error {
		from, to, ok := strings.Cut(s, "-")
		lo, err1 := number(from)
		hi, err2 := number(to)
		switch {
		case !ok || err1 != nil || err2 != nil || lo < 0:
			return errors.New("give the smallest and the largest diameter in mm, as 8-10")
		case hi <= lo:
			return fmt.Errorf("%g is not larger than %g: give the smaller diameter first, as 8-10", hi, lo)
		}
		*low, *high = lo, hi
		return nil
	}}
}

func pcdValue(pcd, u95 *float64) value {
	return value{"mm", func(s string) error {
		size, pm, stated := plusMinus(s)
		if !stated {
			pm = "0"
		}
		d, err1 := number(size)
		u, err2 := number(pm)
		switch {
		case err1 != nil || err2 != nil || d <= 0 || u < 0:
			return errors.New("give the pitch circle diameter in mm as 96, or with what it may be wrong by as 96±0.1 or 96+-0.1")
		case u >= d/2:
			return fmt.Errorf("±%g mm on %g mm is no known pitch circle", u, d)
		}
		*pcd, *u95 = d, u
		return nil
	}}
}

// tiesValue reads X,Y=U,V[±U]: a pixel and where it lies on the face.
func tiesValue(to *[]calib.Tie) value {
	return value{"tie", func(s string) error {
		wrong := fmt.Errorf("%q: give a pixel and the point of the face in mm that it shows, as 812,405=0,76.35 or 812,405=0,76.35±0.1", s)
		px, mm, ok := strings.Cut(s, "=")
		mm, pm, stated := plusMinus(mm)
		from, err1 := numbers(px, 2)
		at, err2 := numbers(mm, 2)
		if !ok || err1 != nil || err2 != nil {
			return wrong
		}
		t := calib.Tie{Px: r2.Vec{X: from[0], Y: from[1]}, MM: r2.Vec{X: at[0], Y: at[1]}}
		if stated {
			var err error
			if t.U95, err = number(pm); err != nil || t.U95 < 0 {
				return wrong
			}
		}
		for _, v := range []float64{from[0], from[1], at[0], at[1], t.U95} {
			if math.Abs(v) > 1e6 {
				return fmt.Errorf("%q: %g is no place on a picture or a face", s, v)
			}
		}
		*to = append(*to, t)
		return nil
	}}
}

func sheetValue(to **calib.SheetSize) value {
	return value{"sheet", func(s string) error {
		size, err := calib.ParseSheet(s)
		if err == nil {
			*to = &size
		}
		return err
	}}
}

func aboveValue(mm, u95 *float64) value {
	return value{"mm", func(s string) error {
		size, pm, stated := plusMinus(s)
		h, err := number(size)
		u := 0.0
		if err == nil && stated {
			u, err = number(pm)
		}
		if err != nil || u < 0 || math.Abs(h) > 10_000 || u > 10_000 {
			return errors.New("give the height above the face in mm, as 2 or 2±0.5, below it as -2")
		}
		*mm, *u95 = h, u
		return nil
	}}
}

// plainFlagError says without words of the programming language what a flag
// takes.
func plainFlagError(err error) error {
	var invalid *pflag.InvalidValueError
	var number *strconv.NumError
	if !errors.As(err, &invalid) || !errors.As(err, &number) {
		return err
	}
	wanted := "a whole number"
	if invalid.GetFlag().Value.Type() == "bool" {
		wanted = "true or false, or nothing"
	}
	return fmt.Errorf("--%s takes %s, not %q", invalid.GetFlag().Name, wanted, invalid.GetValue())
}

func addValue(to *[]read.Added) value {
	return value{"hole", func(s string) error {
		v, err := numbers(s, 3)
		if err != nil || v[2] <= 0 {
			return errors.New("give the hole's centre and diameter in pixels, as 812,405,106")
		}
		*to = append(*to, read.Added{Centre: r2.Vec{X: v[0], Y: v[1]}, Diameter: v[2]})
		return nil
	}}
}

// addOpening adds the flags of whoever opens a picture.
func addOpening(f *pflag.FlagSet, maxPixels *int64, page *int) {
	f.Var(pixelsValue(maxPixels), "max-pixels", "")
	f.Var(pageValue(page), "page", "")
}

func pageValue(to *int) value {
	return value{"page", func(s string) error {
		n, err := strconv.Atoi(strings.TrimSpace(s))
		if err != nil || n < 1 {
			return errors.New("give the number of a page, from 1")
		}
		*to = n
		return nil
	}}
}

func pixelsValue(to *int64) value {
	return value{"pixels", func(s string) error {
		digits, mega := strings.CutSuffix(strings.TrimSpace(s), "M")
		v, err := number(digits)
		if mega {
			v *= 1e6
		}
		if err != nil || v < 1 || v > 1e15 {
			return errors.New("give a number of pixels, as 600000000 or 600M")
		}
		*to = int64(v)
		return nil
	}}
}
