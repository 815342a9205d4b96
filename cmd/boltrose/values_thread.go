package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"boltrose/pattern/thread"
)

// lengthU is a length with or without a ±, in mm or, with in behind it, inches.
func lengthU(s, example string) (thread.Value, error) {
	wrong := fmt.Errorf("give it in mm as %s, with what it may be wrong by as %s±0.05 (or +-), or in inches with in behind it", example, example)
	size, pm, stated := plusMinus(s)
	inches := strings.HasSuffix(strings.ToLower(strings.TrimSpace(s)), "in")
	if stated && inches {
		size += "in"
	}
	v, err := millimetres(size)
	if err != nil {
		return thread.Value{}, wrong
	}
	out := thread.Value{V: v}
	if stated {
		if out.U95, err = millimetres(pm); err != nil {
			return thread.Value{}, wrong
		}
	}
	return out, nil
}

func threadLengthValue(to *thread.Value, example string) value {
	return value{"mm", func(s string) (err error) {
		*to, err = lengthU(s, example)
		return err
	}}
}

// tpiValue is a pitch given as threads per inch.
func tpiValue(to *thread.Value) value {
	return value{"threads", func(s string) error {
		size, pm, stated := plusMinus(s)
		n, err := number(size)
		u := 0.0
		if err == nil && stated {
			u, err = number(pm)
		}
		if err != nil || n <= 0 || u < 0 || stated && u == 0 {
			return errors.New("give the threads per inch as 16, or as 16±0.1 (or +-)")
		}
		if n < 2 || n > 400 {
			return fmt.Errorf("%g threads per inch is no screw's pitch; is it in mm (--pitch)?", n)
		}
		*to = thread.Value{V: 25.4 / n, U95: 25.4 / n * u / n}
		return nil
	}}
}

// flankValue is the angle between the flanks.
func flankValue(to *thread.Value) value {
	return value{"degrees", func(s string) error {
		size, pm, stated := plusMinus(strings.ReplaceAll(s, "°", ""))
		v, err := number(size)
		u := 0.0
		if err == nil && stated {
			u, err = number(pm)
		}
		if err != nil || v <= 0 || u < 0 {
			return errors.New("give the angle between the flanks in degrees, as 55 or 55±2")
		}
		*to = thread.Value{V: v, U95: u}
		return nil
	}}
}

// seriesValue is a choice of series.
func seriesValue(to *[]thread.Series) value {
	return value{"series", func(s string) error {
		*to = nil
		for _, p := range strings.Split(s, ",") {
			name := thread.Series(strings.ToUpper(strings.TrimSpace(p)))
			if !slices.Contains(thread.AllSeries(), name) {
				var all []string
				for _, a := range thread.AllSeries() {
					all = append(all, string(a))
				}
				return fmt.Errorf("%.20q is no series; there are %s", p, strings.Join(all, ", "))
			}
			*to = append(*to, name)
		}
		return nil
	}}
}

func percentValue(to *float64) value {
	return value{"percent", func(s string) error {
		v, err := number(strings.TrimSuffix(strings.TrimSpace(s), "%"))
		if err != nil || v < 30 || v > 100 {
			return errors.New("give the percentage of thread for the tap drill, from 30 to 100, as 75")
		}
		*to = v
		return nil
	}}
}

// boltOfThread is the bolt that a result of boltrose thread names first.
func boltOfThread(path string) (bolt, error) {
	f, err := os.Open(path)
	if err != nil {
		return bolt{}, cannotOpen(path, err)
	}
	defer f.Close()
	r, err := thread.ReadResult(f)
	if err != nil {
		return bolt{}, fmt.Errorf("%s: %w", path, err)
	}
	c, err := r.One()
	if err != nil {
		return bolt{}, fmt.Errorf("%s: %w: --bolt M8", path, err)
	}
	b := bolt{name: c.Designation, diameter: c.Major}
	if table, err := thread.ClearanceOf(c.Size); err == nil {
		b.table = &table
	}
	return b, nil
}
