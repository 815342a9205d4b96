package profile

import (
	"fmt"
	"math"
	"path/filepath"

	"boltrose/calib"
	"boltrose/vision"
)

// ScannerOptions says what the scans show: one of a rule, a card or sheet, or
// else a printed frame.
type ScannerOptions struct {
	Rule    float64          // mm from line to line; 0: no rule
	Sheet   *calib.SheetSize // nil: no card
	Printed calib.PrintedBars

	DPI       [2]float64 // zero: the files'
	MaxPixels int64
	Page      int                                     // of files that have several, from 1; 0: the first
	Progress  func(done, of int, name, result string) // after each scan; may be nil
}

// ScannerResult is a profile and how it came about.
type ScannerResult struct {
	Scanner *calib.Scanner
	Fit     *calib.ScannerFit
	Skipped []string // a line for each scan that could not be used
}

// Scanner makes the profile of the scanner that made the scans.
func Scanner(paths []string, opts ScannerOptions) (*ScannerResult, error) {
	res := &ScannerResult{}
	var seen []calib.ScanSeen
	var thing calib.ThingU
	var dpi [2]float64
	for i, path := range paths {
		name := filepath.Base(path)
		pic, err := vision.OpenPage(path, opts.Page, vision.Limits{MaxPixels: opts.MaxPixels})
		if err != nil {
			return nil, err
		}
		own := opts.DPI
		if own == ([2]float64{}) {
			own = pic.DPI
		}
		if !(own[0] >= 1 && own[1] >= 1) {
			return nil, fmt.Errorf("%s: the file does not say how many pixels an inch has; give --dpi", name)
		}
		scan, u, said, err := opts.see(name, pic, own)
		if err != nil {
			said = err.Error()
			res.Skipped = append(res.Skipped, name+": "+said)
		} else {
			seen = append(seen, scan)
			for k := range thing {
				thing[k] = math.Max(thing[k], u[k])
			}
			if dpi == ([2]float64{}) {
				dpi = own
			}
		}
		if opts.Progress != nil {
			opts.Progress(i+1, len(paths), name, said)
		}
	}
	if len(seen) == 0 && len(res.Skipped) > 0 {
		return res, fmt.Errorf("no scan can be used; %s", res.Skipped[0])
	}
	scans := "1 scan"
	if len(seen) > 1 {
		scans = fmt.Sprintf("%d scans", len(seen))
	}
	var err error
	res.Scanner, res.Fit, err = calib.MakeScanner(scans+" of "+opts.target(), seen, thing, dpi)
	return res, err
}

// see measures one scan.
func (o ScannerOptions) see(name string, pic *vision.Picture, dpi [2]float64) (scan calib.ScanSeen, u calib.ThingU, said string, err error) {
	switch {
	case o.Rule > 0:
		var g vision.Graduations
		scan, g, err = calib.ScanOfRule(name, pic, dpi, o.Rule)
		axis := "x"
		if math.Abs(g.Along.Y) > math.Abs(g.Along.X) {
			axis = "y"
		}
		return scan, calib.RuleU, fmt.Sprintf("%d lines along %s", g.Lines, axis), err
	case o.Sheet != nil:
		scan, u, err = calib.ScanOfSheet(name, pic, dpi, *o.Sheet)
		return scan, u, o.Sheet.Name, err
	}
	scan, u, err = calib.ScanOfFrame(name, pic, dpi, o.Printed)
	return scan, u, "printed frame", err
}

func (o ScannerOptions) target() string {
	switch {
	case o.Rule > 0:
		return fmt.Sprintf("a rule with %.4g mm graduations", o.Rule)
	case o.Sheet != nil:
		return o.Sheet.Name
	case o.Printed != (calib.PrintedBars{}):
		return "the printed frame, its bars measured"
	}
	return "the printed frame, its bars not measured"
}
