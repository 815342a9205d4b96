package read

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Scaling is the way in which a picture got its scale, and what it gave.
type Scaling struct {
	Plane *calib.Plane
	Kind  string // what the picture is: Scan or Photo
	Why   string // why this way was taken, in words

	// NoScale says that the plane's millimetres are a guess, which known
	// lengths must replace.
	NoScale bool

	Notes    []string // how well it fits, for a person who wants to know
	Warnings []string

	own     func(vision.Mark) bool // which marks belong to the scale and are no holes
	flat    bool                   // marks are to be looked for as seen from straight above
	window  r2.Box                 // mm, where on the face; empty: wherever it is seen
	byMarks bool                   // the scale is better once the marks are known
}

// way builds the scaling of a picture once its marks are found. guess is mm
// per px where nothing else tells it.
type way func(marks []vision.Mark, guess float64) (*Scaling, error)

// chooseWay decides in which way a picture gets its scale: by what the person
// says, else by a frame that is seen in it, else by the dpi that a scanner
// wrote, else by known lengths alone. It fails where there is none of these,
// so that nothing is looked for in vain.
func (p *Seen) chooseWay(opts Options) (way, error) {
	if err := opts.Check(); err != nil {
		return nil, err
	}
	pic := p.picture
	w, err := p.pickWay(opts)
	if err != nil {
		return nil, err
	}
	return func(marks []vision.Mark, guess float64) (*Scaling, error) {
		s, err := w(marks, guess)
		if err != nil {
			return nil, err
		}
		switch {
		case s.Kind != "":
		case isPhoto(pic) || s.own != nil: // nobody scans a frame with holes in it
			s.Kind = pattern.ByPhoto
		default:
			s.Kind = pattern.ByScan
		}
		s.Warnings = slices.Concat(pic.Warnings, s.Warnings)
		if opts.FromBehind {
			s.Plane = s.Plane.Mirrored()
			s.window.Min.X, s.window.Max.X = -s.window.Max.X, -s.window.Min.X
		}
		return s, nil
	}, nil
}

func (p *Seen) pickWay(opts Options) (way, error) {
	pic := p.picture
	switch {
	case len(opts.Ties) > 0:
		return tieWay(pic, opts)
	case opts.Sheet != nil:
		return sheetWay(pic, opts), nil
	case opts.ScannerFile != "":
		return scannerWay(pic, opts)
	case opts.DPI != ([2]float64{}):
		return dpiWay(pic, opts, opts.DPI, "dpi as given", "you gave --dpi"), nil
	}
	frame, err := p.frameWay(opts)
	if frame != nil || err != nil {
		return frame, err
	}
	switch {
	case opts.aboveGiven():
		return nil, fmt.Errorf("%w: --above is the height of a frame, a sheet or known points over the face, and there is none of these", ErrScale)
	case opts.LensFile != "":
		return nil, fmt.Errorf("%w: --lens corrects a photograph with a frame, a sheet or known points, and there is none of these", ErrScale)
	}
	known := len(opts.Between) > 0 || opts.PCD > 0 || opts.unscaled
	switch {
	case pic.DPI != ([2]float64{}) && !isPhoto(pic) && !(known && defaultDPI(pic.DPI)):
		return dpiWay(pic, opts, pic.DPI, "dpi of the file ("+pic.DPISource+")", "the file says it, and nothing better is there"), nil
	case known:
		return knownWay(pic, opts), nil
	case isPhoto(pic):
		return nil, fmt.Errorf("%w: %s, and %s; lay a printed frame round the holes (boltrose frame makes one) or a sheet or card on the face (--sheet card), or give what you know of the face: four points (--tie X,Y=U,V) or the distance between two holes (--known 1-2=76.35)", ErrScale, takenBy(pic.Camera), dpiSaysNothing(pic))
	}
	return nil, fmt.Errorf("%w: the file does not say how many pixels an inch has; give --dpi (the resolution that the scanner was set to), or the distance between two holes (--known 1-2=76.35), or scan once more and save as PNG, TIFF or JPEG with the resolution in it", ErrScale)
}

// Check refuses options that give the scale twice.
func (o Options) Check() error {
	var given []string
	for _, w := range []struct {
		flag string
		set  bool
	}{
		{"--tie", len(o.Ties) > 0},
		{"--sheet", o.Sheet != nil},
		{"--printed", o.Printed != (calib.PrintedBars{})},
		{"--scanner", o.ScannerFile != ""},
		{"--dpi", o.DPI != ([2]float64{}) && o.ScannerFile == ""}, // with a profile it is the nominal resolution
	} {
		if w.set {
			given = append(given, w.flag)
		}
	}
	switch {
	case len(given) > 1:
		return fmt.Errorf("%s each give the scale of the whole picture: leave out all but one", strings.Join(given, " and "))
	case o.ScaleU >= 0 && len(given) == 1 && given[0] != "--dpi":
		return fmt.Errorf("--scale-u is the uncertainty of a dpi: leave it out with %s", given[0])
	case o.DPI != ([2]float64{}) || o.ScannerFile != "":
		return o.noPhoto()
	}
	return nil
}

func (o Options) aboveGiven() bool { return o.AboveMM != 0 || o.AboveU95 != 0 }

// isPhoto says whether a camera took the picture. Some scanners write their
// make and model too; they also write a resolution, and no focal length.
func isPhoto(pic *vision.Picture) bool {
	c := pic.Camera
	return c != nil && (c.FocalLengthMM > 0 || pic.DPI == ([2]float64{}) || defaultDPI(pic.DPI))
}

// defaultDPI says whether a resolution is one that programs and cameras write
// when they do not know.
func defaultDPI(dpi [2]float64) bool {
	d := math.Round(dpi[0])
	return d == 72 || d == 96
}

func takenBy(c *vision.Camera) string {
	name := strings.TrimSpace(c.Make + " " + c.Model)
	if name == "" {
		name = "camera"
	}
	return fmt.Sprintf("a camera took this picture (%s)", name)
}

func dpiSaysNothing(pic *vision.Picture) string {
	if pic.DPI == ([2]float64{}) {
		return "nothing in it has a known size"
	}
	return fmt.Sprintf("the %.0f dpi that it writes say nothing of the face", pic.DPI[0])
}

func scaleTable(plane *calib.Plane, pic *vision.Picture) pattern.Scale {
	x, y := plane.MMPerPx(middle(pic))
	return pattern.Scale{Method: plane.Method, MMPerPxX: x, MMPerPxY: y, URel: plane.URel}
}
