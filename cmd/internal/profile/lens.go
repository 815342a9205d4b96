// Package profile makes profiles of cameras from photographs.
package profile

import (
	"errors"
	"fmt"
	"path/filepath"

	"boltrose/calib"
	"boltrose/vision"
)

// LensOptions says what the photographs show.
type LensOptions struct {
	Chessboard [2]int // columns and rows of corners inside; zero: none
	Grid       [2]int // columns and rows of dots; zero: none

	// Printed is what the bars of the printed frame measure, which they show
	// where neither is set.
	Printed calib.PrintedBars

	MaxPixels int64
	Page      int                                     // of files that have several, from 1; 0: the first
	Progress  func(done, of int, name, result string) // after each photograph; may be nil
}

// LensResult is a profile and how it came about.
type LensResult struct {
	Lens    *calib.Lens
	Fit     calib.LensFit
	Skipped []string // a line for each photograph that could not be used
}

// Lens makes the profile of the camera that took the photographs.
func Lens(paths []string, opts LensOptions) (*LensResult, error) {
	res := &LensResult{}
	var views []calib.LensView
	var first *vision.Picture
	var firstName string
	for i, path := range paths {
		name := filepath.Base(path)
		pic, err := vision.OpenPage(path, opts.Page, vision.Limits{MaxPixels: opts.MaxPixels})
		if err != nil {
			return nil, err
		}
		if first == nil {
			first, firstName = pic, name
		} else if err := alike(first, pic); err != nil {
			return nil, fmt.Errorf("%s and %s: %w", firstName, name, err)
		}
		controls, err := points(pic, opts)
		said := fmt.Sprintf("%d points", len(controls))
		if err != nil {
			said = err.Error()
			res.Skipped = append(res.Skipped, name+": "+said)
		} else {
			views = append(views, calib.LensView{Name: name, Controls: controls})
		}
		if opts.Progress != nil {
			opts.Progress(i+1, len(paths), name, said)
		}
	}
	if len(views) == 0 && len(res.Skipped) > 0 {
		return res, fmt.Errorf("no photograph can be used; %s", res.Skipped[0])
	}
	var err error
	if res.Lens, res.Fit, err = calib.ChooseLens(views, first.Grey.Rect.Dx(), first.Grey.Rect.Dy()); err != nil {
		return res, err
	}
	if c := first.Camera; c != nil {
		res.Lens.Make, res.Lens.Model, res.Lens.FocalLengthMM = c.Make, c.Model, c.FocalLengthMM
	}
	res.Lens.MadeFrom = fmt.Sprintf("%d photographs of %s", len(views), opts.target())
	return res, nil
}

func (o LensOptions) target() string {
	switch {
	case o.Chessboard[0] > 0:
		return fmt.Sprintf("a chessboard with %d × %d corners", o.Chessboard[0], o.Chessboard[1])
	case o.Grid[0] > 0:
		return fmt.Sprintf("a grid of %d × %d dots", o.Grid[0], o.Grid[1])
	}
	return "a printed frame"
}

// alike refuses photographs that one lens profile cannot be of.
func alike(a, b *vision.Picture) error {
	if a.Grey.Rect != b.Grey.Rect {
		return fmt.Errorf("the photographs have different sizes, %d × %d and %d × %d pixels; all must be taken with one setting, and with the camera held one way up", a.Grey.Rect.Dx(), a.Grey.Rect.Dy(), b.Grey.Rect.Dx(), b.Grey.Rect.Dy())
	}
	if a.Camera != nil && b.Camera != nil && *a.Camera != *b.Camera {
		return errors.New("the photographs were taken with different cameras or focal lengths")
	}
	return nil
}

func points(pic *vision.Picture, opts LensOptions) ([]calib.Control, error) {
	if n := opts.Chessboard; n[0] > 0 {
		corners, err := vision.Corners(pic)
		if err != nil {
			return nil, err
		}
		return calib.Chessboard(corners, n[0], n[1])
	}
	if n := opts.Grid; n[0] > 0 {
		marks, err := vision.Find(pic)
		if err != nil {
			return nil, err
		}
		return calib.Grid(marks, n[0], n[1])
	}
	frame, err := calib.FindFrame(pic, opts.Printed)
	if err != nil {
		return nil, err
	}
	if frame == nil {
		return nil, errors.New("no printed frame was found; say what else the photographs show: --chessboard 9x6 or --grid 5x6")
	}
	return frame.Controls, nil
}
