package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"boltrose/pattern/thread"

	"github.com/spf13/pflag"
)

// bolt is a size as given, with its clearance holes where a table has it.
type bolt struct {
	name     string
	diameter float64
	table    *thread.Clearance
}

// holeSizes is how the size of clearance holes is given: by a fit of the
// tables, or as diameters (mm), one for all or one for each.
type holeSizes struct {
	fit       string
	clearance []float64
}

func (h *holeSizes) addTo(f *pflag.FlagSet) {
	f.StringVar(&h.fit, "fit", "", "")
	f.Var(mmListValue(&h.clearance), "clearance", "")
}

func (h *holeSizes) check(f *pflag.FlagSet) error {
	if f.Changed("clearance") && f.Changed("fit") {
		return errors.New("--clearance and --fit both give the holes' size; leave one out")
	}
	if f.Changed("fit") {
		if _, err := thread.ParseFit(h.fit); err != nil {
			return fmt.Errorf("--fit: %w", err)
		}
	}
	return nil
}

// named is the fit, normal where none was given.
func (h *holeSizes) named() thread.Fit {
	fit, err := thread.ParseFit(h.fit)
	if err != nil { // only where none was given: check saw to the rest
		return thread.Normal
	}
	return fit
}

// hole is the diameter of a bolt's clearance hole by the table.
func (h *holeSizes) hole(b bolt) (float64, error) {
	if b.table == nil {
		return 0, fmt.Errorf("%s is in no table of clearance holes; give their diameter: --clearance 9", b.name)
	}
	return b.table.Holes[h.named()], nil
}

// short is a length to a micrometre at most.
func short(mm float64) string {
	return strconv.FormatFloat(math.Round(mm*1000)/1000, 'f', -1, 64)
}

// oneOrAll gives all n what one was given for.
func oneOrAll[T any](given []T, n int, flag, of string) ([]T, error) {
	if len(given) == 1 {
		return slices.Repeat(given, n), nil
	}
	if len(given) != n {
		return nil, fmt.Errorf("%s has %d sizes for %d: give one for all, or one for each of %s", flag, len(given), n, of)
	}
	return given, nil
}
