// Package read is the one path from a picture file to a reading, which every
// command shares: the picture's marks, their place in millimetres, the choice
// of holes, the reading.
package read

import (
	"errors"
	"fmt"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Options is what a person may say about a picture.
type Options struct {
	MaxPixels int64
	Page      int // of a file that has several, from 1; 0: the first

	// At most one of these gives the scale; without any, what the picture
	// shows and its file says.
	DPI     [2]float64        // pixels per inch along x and y of a scan; zero: not given
	Ties    []calib.Tie       // points known on the face
	Sheet   *calib.SheetSize  // a sheet of known size on the face
	Printed calib.PrintedBars // what the bars of the printed frame measure, mm; zero: nobody measured

	ScaleU            float64 // relative standard uncertainty of the dpi; negative: a home scanner's
	ScannerFile       string  // the scanner's profile; "": a home scanner of which nothing is known
	AboveMM, AboveU95 float64 // how high frame, sheet or ties lie above the face

	// LensFile is the camera's lens profile. Without it one that fits the
	// photograph is taken from LensFolder; "" looks for none.
	LensFile, LensFolder string

	// Between are known distances between holes, by the numbers that the same
	// picture gives them without.
	Between []pattern.Distance

	Holes       int     // expected; 0: not known
	MinDiameter float64 // mm
	MaxDiameter float64 // mm; 0: no limit
	PCD         float64 // mm, known; 0: not known
	PCDU95      float64 // mm, its expanded uncertainty
	Free        bool    // no pitch circle
	FromBehind  bool

	Drop   []string // hole numbers, "bore", "rim" or marks as "m7"
	DropAt []Added  // marks by where they lie
	Add    []Added
	Zero   int // number of the hole at 0°; 0: hole 1

	numbersOnly bool // leave known lengths and the hole at 0° aside
	unscaled    bool // go on where nothing gives the scale
}

// Added is a circle that a person points at.
type Added struct {
	Centre   r2.Vec // px
	Diameter float64
}

// Result is a reading and all that led to it, for pictures and explanations.
type Result struct {
	Picture *vision.Picture
	Scaling *Scaling
	Plane   *calib.Plane // the scaling's, adjusted to known lengths
	Marks   []vision.Mark
	Rings   []pattern.Ring // ring i is mark i on the face; its ID is i+1
	Choice  pattern.Choice
	Reading *pattern.Reading

	Adjustment *pattern.Adjustment // to known lengths; nil without any

	look look
	seen []vision.Mark // the marks as they were found where they were looked for
}

// ErrScale says that a picture cannot be measured because nothing gives its
// scale.
var ErrScale = errors.New("no scale")

// rubbedDiameterU is the standard uncertainty (mm) of what a rubbed diameter
// is wrong by: paper bridges the edge and the pencil rides up to it. Common
// practice: a rubbing's circles are good to half a millimetre.
const rubbedDiameterU = 0.25

// File reads the picture file at path.
//
// When the picture could be opened but holds no pattern that can be trusted,
// the error is pattern.ErrNoPattern and the result holds what was seen.
func File(path string, opts Options) (*Result, error) {
	pic, err := vision.OpenPage(path, opts.Page, vision.Limits{MaxPixels: opts.MaxPixels})
	if err != nil {
		return nil, err
	}
	return Picture(pic, path, opts)
}

// Picture reads a picture that was loaded from the file called name.
func Picture(pic *vision.Picture, name string, opts Options) (*Result, error) {
	return See(pic, name).Read(opts)
}

// orNil keeps a result beside an error only where it shows what was seen.
func (r *Result) orNil(err error) (*Result, error) {
	if err != nil && !errors.Is(err, pattern.ErrNoPattern) {
		return nil, err
	}
	return r, err
}

// read makes the reading of the marks by the scaling.
func (r *Result) read(seen, marks []vision.Mark, name string, opts Options) error {
	for i, m := range marks {
		if r.Scaling.onFace(m) {
			r.Marks, r.seen = append(r.Marks, m), append(r.seen, seen[i])
		}
	}
	choose := pattern.ChooseOptions{
		Holes: opts.Holes, MinDiameter: opts.MinDiameter, MaxDiameter: opts.MaxDiameter,
		PCD: opts.PCD, Free: opts.Free,
	}
	if r.Scaling.NoScale {
		choose.PCD = 0
	}
	for _, a := range opts.Add {
		found, m, ok := r.look.measureAt(a.Centre, a.Diameter/2)
		if !ok || !r.Scaling.sees(m) {
			return fmt.Errorf("--add %g,%g,%g: no circular edge was found there; give the centre and diameter in pixels as they are in the picture", a.Centre.X, a.Centre.Y, a.Diameter)
		}
		r.Marks, r.seen = append(r.Marks, m), append(r.seen, found)
		choose.Added = append(choose.Added, len(r.Marks))
	}
	circles, err := measure(r.Scaling.Plane, r.Marks)
	if err != nil {
		return err
	}
	r.Rings = r.rings(circles, nil)
	if circles, err = r.lookMixed(circles, choose); err != nil {
		return err
	}
	if circles, err = r.lookAgain(circles, choose); err != nil {
		return err
	}
	if circles, err = r.lookRound(circles, choose); err != nil {
		return err
	}
	if circles, err = r.lookMouth(circles, choose); err != nil {
		return err
	}
	if len(opts.Drop) > 0 {
		// Numbers to drop are those that the same picture has without it.
		o, c := opts, choose
		o.Zero, c.Holes, o.Between = 0, 0, nil
		o.numbersOnly = o.numbersOnly || r.Scaling.NoScale
		if err := r.build(circles, c, name, o); err != nil {
			return err
		}
		if choose.Drop, err = r.dropped(opts.Drop); err != nil {
			return err
		}
		for i, id := range choose.Drop {
			if slices.Contains(choose.Added, id) {
				return fmt.Errorf("--drop %s is the hole that --add gives: leave --drop out, for what is added takes the place of what was there", opts.Drop[i])
			}
		}
	}
	for _, at := range opts.DropAt {
		if id, ok := r.ringAt(at); ok {
			choose.Drop = append(choose.Drop, id)
		}
	}
	return r.build(circles, choose, name, opts)
}

// build chooses the holes and computes the reading.
func (r *Result) build(circles []calib.Circle, choose pattern.ChooseOptions, name string, opts Options) error {
	pic, s := r.Picture, r.Scaling
	var err error
	r.Reading = nil
	if r.Choice, err = pattern.Choose(r.Rings, choose); err != nil {
		return err
	}
	r.Rings = r.rings(circles, r.Choice.Holes)
	o := pattern.Options{
		Source: pattern.Source{
			File: name, SHA256: pic.SHA256,
			WidthPx: pic.Grey.Rect.Dx(), HeightPx: pic.Grey.Rect.Dy(), Kind: s.Kind,
		},
		View:        view(opts),
		Scale:       scaleTable(s.Plane, pic),
		SharedNames: s.Plane.Names,
		Zero:        opts.Zero,
		Pixel: func(mm r2.Vec) r2.Vec {
			px, _ := s.Plane.Px(mm, r.Rings[r.Choice.Holes[0]].CentrePx)
			return px
		},
		Between: opts.Between, KnownPCD: opts.PCD, KnownPCDU: opts.PCDU95 / 2, NoScale: s.NoScale,
		DiameterBiasU: rubbedDiameterU,
		Warnings:      s.Warnings,
	}
	if opts.numbersOnly {
		o.NoScale, o.KnownPCD, o.Between, o.Zero = false, 0, nil, 0
	}
	var planeErr error
	o.Adjusted = func(a pattern.Adjustment) pattern.Scale {
		r.Adjustment = &a
		plane, err := s.Plane.Adjusted(a.Method, a.Zoom, a.Shared, a.Cov)
		if err != nil {
			planeErr = err
			return pattern.Scale{Method: a.Method}
		}
		plane.URel = plane.LengthU(middle(pic))
		r.Plane = plane
		return scaleTable(plane, pic)
	}
	rings := pattern.OnPaper(r.Rings, r.Choice)
	if r.look.flat != nil {
		rings = pattern.OnFace(r.Rings, r.Choice)
	}
	if r.circleLeaves() {
		o.Warnings = append(slices.Clone(o.Warnings), cutOff)
	}
	r.Reading, err = pattern.New(rings, r.Choice, o)
	return errors.Join(err, planeErr)
}

func view(opts Options) pattern.View {
	if opts.FromBehind {
		return pattern.FromBehind
	}
	return pattern.Facing
}

func middle(pic *vision.Picture) r2.Vec {
	return r2.Vec{X: float64(pic.Grey.Rect.Dx()) / 2, Y: float64(pic.Grey.Rect.Dy()) / 2}
}
