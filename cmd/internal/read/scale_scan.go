package read

import (
	"fmt"
	"math"
	"os"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"
)

// dpiWay is the scale of a scan by its resolution.
func dpiWay(pic *vision.Picture, opts Options, dpi [2]float64, method, why string) way {
	return func([]vision.Mark, float64) (*Scaling, error) {
		u := opts.ScaleU
		if u < 0 {
			u = calib.DefaultScaleU
		}
		plane, err := calib.Scan(method, dpi, u)
		if err != nil {
			return nil, err
		}
		return &Scaling{Plane: plane, Why: why, Warnings: dpiWarnings(pic, opts, dpi)}, nil
	}
}

// scannerWay is the scale of a scan by the profile of its scanner, which
// corrects the resolution that the person or the file states.
func scannerWay(pic *vision.Picture, opts Options) (way, error) {
	dpi := opts.DPI
	if dpi == ([2]float64{}) {
		dpi = pic.DPI
	}
	switch {
	case isPhoto(pic) && opts.DPI == ([2]float64{}):
		return nil, fmt.Errorf("%w: --scanner is for scans, and %s", ErrScale, takenBy(pic.Camera))
	case dpi == ([2]float64{}):
		return nil, fmt.Errorf("%w: a scanner profile corrects a resolution, and the file states none; give --dpi, the resolution that the scanner was set to", ErrScale)
	}
	f, err := os.Open(opts.ScannerFile)
	if err != nil {
		return nil, fmt.Errorf("--scanner %s: cannot be read: %s", opts.ScannerFile, reason(err))
	}
	defer f.Close()
	scanner, err := calib.ReadScanner(f)
	if err != nil {
		return nil, fmt.Errorf("--scanner %s: %w", opts.ScannerFile, err)
	}
	return func([]vision.Mark, float64) (*Scaling, error) {
		plane, err := scanner.Plane(dpi)
		if err != nil {
			return nil, err
		}
		without := calib.DefaultScaleU
		return &Scaling{
			Plane: plane, Why: "you gave --scanner",
			Notes:    []string{fmt.Sprintf("an axis is known to ±%.2g %%, where a home scanner of which nothing is known has ±%.2g %%", 200*plane.URel, 200*without)},
			Warnings: append(scanner.Warnings(dpi), dpiWarnings(pic, opts, dpi)...),
		}, nil
	}, nil
}

func dpiWarnings(pic *vision.Picture, opts Options, dpi [2]float64) []string {
	var warnings []string
	switch {
	case isPhoto(pic):
		warnings = append(warnings, fmt.Sprintf("%s, and --dpi was taken for its scale, as if it were a scan: leave --dpi out, and a frame, a sheet or known lengths give it", takenBy(pic.Camera)))
	case opts.DPI != ([2]float64{}):
		if given := dpi[0] / pic.DPI[0]; pic.DPI[0] > 0 && !defaultDPI(pic.DPI) && math.Abs(given-1) > dpiAgrees {
			warnings = append(warnings, fmt.Sprintf("the file says %.0f dpi and you gave %.0f: every length is %.3g times what the file makes it; leave --dpi out if the file is right", pic.DPI[0], dpi[0], 1/given))
		}
	case defaultDPI(dpi):
		warnings = append(warnings, fmt.Sprintf("the file says %.0f dpi, which programs write when they do not know; if the scanner was set to another resolution, every length here is wrong: give --dpi", dpi[0]))
	case dpi[0] < 50 || dpi[0] > 4800:
		warnings = append(warnings, fmt.Sprintf("the file says %.0f dpi, which no scanner was set to; give --dpi", dpi[0]))
	}
	w, h := float64(pic.Grey.Rect.Dx())/dpi[0], float64(pic.Grey.Rect.Dy())/dpi[1]
	if math.Max(w, h) > 18 { // an A3 flatbed is 17 inches long
		warnings = append(warnings, fmt.Sprintf("at %.0f × %.0f dpi this picture is %.0f × %.0f mm, larger than a flatbed scanner's glass; check the resolution and give --dpi", dpi[0], dpi[1], w*25.4, h*25.4))
	}
	return warnings
}

// dpiAgrees is how far, relatively, a resolution that is given may be off the file's
// own: scanners' true ones are within that of what they write.
const dpiAgrees = 0.01

// firstGuess (mm) is the longer side of a picture of which nothing says how
// large it is: an A4 page.
const firstGuess = 297

// knownWay is the scale of a picture by nothing but known lengths. A scan's
// axes err as a scanner's do; a photograph was taken from straight above, as
// well as a hand can.
func knownWay(pic *vision.Picture, opts Options) way {
	return func(_ []vision.Mark, guess float64) (*Scaling, error) {
		size := pic.Grey.Rect.Size()
		if guess == 0 {
			guess = firstGuess / float64(max(size.X, size.Y))
		}
		if isPhoto(pic) || likePhoto(pic) {
			plane, err := calib.Freehand("", size.X, size.Y, guess)
			if err != nil {
				return nil, err
			}
			return &Scaling{
				Plane: plane, Kind: pattern.ByPhoto, NoScale: true, Why: "it is a photograph, and nothing else gives its scale",
				Warnings: []string{"this photograph is taken for one from straight above, give or take 5°: with a printed frame (boltrose frame), or more distances (--known), everything is known better"},
			}, nil
		}
		dpi := 25.4 / guess
		aspect := 1.0
		if pic.DPI[0] > 0 {
			aspect = pic.DPI[1] / pic.DPI[0]
		}
		plane, err := calib.Scan("", [2]float64{dpi, dpi * aspect}, calib.DefaultScaleU)
		if err != nil {
			return nil, err
		}
		return &Scaling{Plane: plane, NoScale: true, Why: "the file says no resolution that can be trusted, and nothing else gives its scale"}, nil
	}
}

// likePhoto says whether a picture that names no camera is a photograph all the
// same, as far as its file tells: scanners write their resolution into a JPEG, and
// what sends photographs on strikes out what the camera wrote.
func likePhoto(pic *vision.Picture) bool {
	return slices.Contains([]string{"jpeg", "webp", "heic"}, pic.Format) && (pic.DPI == ([2]float64{}) || defaultDPI(pic.DPI))
}
