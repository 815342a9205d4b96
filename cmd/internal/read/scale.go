package read

import (
	"fmt"
	"math"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"
)

// scale builds the plane of a picture from what the person or the file says.
func scale(pic *vision.Picture, opts Options) (*calib.Plane, []string, error) {
	dpi, method := opts.DPI, "dpi as given"
	warnings := append([]string(nil), pic.Warnings...)
	if dpi == ([2]float64{}) {
		dpi, method = pic.DPI, "dpi of the file ("+pic.DPISource+")"
		if dpi == ([2]float64{}) {
			return nil, nil, fmt.Errorf("%w: the file does not say how many pixels an inch has; give --dpi (the resolution that the scanner was set to), or scan once more and save as PNG, TIFF or JPEG with the resolution in it", ErrScale)
		}
	}
	w, h := float64(pic.Grey.Rect.Dx())/dpi[0], float64(pic.Grey.Rect.Dy())/dpi[1]
	switch {
	case opts.DPI != ([2]float64{}):
	case math.Round(dpi[0]) == 72 || math.Round(dpi[0]) == 96:
		warnings = append(warnings, fmt.Sprintf("the file says %.0f dpi, which programs write when they do not know; if the scanner was set to another resolution, every length here is wrong: give --dpi", dpi[0]))
	case dpi[0] < 50 || dpi[0] > 4800:
		warnings = append(warnings, fmt.Sprintf("the file says %.0f dpi, which no scanner was set to; give --dpi", dpi[0]))
	}
	if math.Max(w, h) > 18 { // an A3 flatbed is 17 inches long
		warnings = append(warnings, fmt.Sprintf("at %.0f × %.0f dpi this picture is %.0f × %.0f mm, larger than a flatbed scanner's glass; check the resolution and give --dpi", dpi[0], dpi[1], w*25.4, h*25.4))
	}
	u := opts.ScaleU
	if u < 0 {
		u = calib.DefaultScaleU
	}
	plane, err := calib.Scan(method, dpi, u)
	if err != nil {
		return nil, nil, err
	}
	if opts.FromBehind {
		plane = plane.Mirrored()
	}
	return plane, warnings, nil
}

func scaleTable(plane *calib.Plane, pic *vision.Picture) pattern.Scale {
	x, y := plane.MMPerPx(middle(pic))
	return pattern.Scale{Method: plane.Method, MMPerPxX: x, MMPerPxY: y, URel: plane.URel}
}
