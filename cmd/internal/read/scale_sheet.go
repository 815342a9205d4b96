package read

import (
	"errors"
	"fmt"

	"boltrose/calib"
	"boltrose/vision"
)

// sheetWay is the scale by a sheet or card of known size.
func sheetWay(pic *vision.Picture, opts Options) way {
	return func([]vision.Mark, float64) (*Scaling, error) {
		scan := !isPhoto(pic) && pic.DPI != ([2]float64{}) && !defaultDPI(pic.DPI)
		set, note, err := controlSet(pic, opts, nil, scan)
		if err != nil {
			return nil, err
		}
		plane, fit, err := calib.Sheet(pic, calib.SheetSet{
			Size: *opts.Sheet, Scan: scan, Lens: set.Lens, AboveMM: set.AboveMM, AboveU: set.AboveU,
		})
		if err != nil {
			if errors.Is(err, calib.ErrSheet) {
				return nil, fmt.Errorf("%w: %w", ErrScale, err)
			}
			return nil, err
		}
		s := &Scaling{Plane: plane, Why: "you gave --sheet", Warnings: fit.Warnings, flat: !scan}
		s.Notes = append(s.Notes, fmt.Sprintf("%s, %s; its edges lie %.2f px off straight sides (rms)", fit.Size.Name, fit.Size.Tolerance, fit.RMSPx))
		s.Notes = append(s.Notes, note...)
		if scan {
			return s, nil
		}
		s.Notes = append(s.Notes, photoNotes(fit.TiltDeg, fit.FocalPx, "as far as known", fit.K1)...)
		s.Notes = append(s.Notes, heightNote("the sheet's edges", fit.MMPerMMHeight, opts.AboveMM, opts.AboveU95/2)...)
		return s, nil
	}
}
