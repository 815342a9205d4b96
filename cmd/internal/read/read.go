// Package read is the one path from a picture file to a reading, which every
// command shares: the picture's marks, their place in millimetres, the choice
// of holes, the reading.
package read

import (
	"errors"
	"fmt"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Options is what a person may say about a picture.
type Options struct {
	MaxPixels int64

	DPI    [2]float64 // pixels per inch along x and y; zero: what the file says
	ScaleU float64    // relative standard uncertainty of the scale; negative: a home scanner's

	Holes       int     // expected; 0: not known
	MinDiameter float64 // mm
	MaxDiameter float64 // mm; 0: no limit
	PCD         float64 // mm, known; 0: not known
	PCDU95      float64 // mm, its expanded uncertainty
	Free        bool    // no pitch circle
	FromBehind  bool

	Drop []string // hole numbers, "bore", "rim" or marks as "m7"
	Add  []Added
	Zero int // number of the hole at 0°; 0: hole 1
}

// Added is a hole that a person points at.
type Added struct {
	Centre   r2.Vec // px
	Diameter float64
}

// Result is a reading and all that led to it, for pictures and explanations.
type Result struct {
	Picture *vision.Picture
	Plane   *calib.Plane
	Marks   []vision.Mark
	Rings   []pattern.Ring // ring i is mark i on the face; its ID is i+1
	Choice  pattern.Choice
	Reading *pattern.Reading
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
	pic, err := vision.Open(path, vision.Limits{MaxPixels: opts.MaxPixels})
	if err != nil {
		return nil, err
	}
	return Picture(pic, path, opts)
}

// Picture reads a picture that was loaded from the file called name.
func Picture(pic *vision.Picture, name string, opts Options) (*Result, error) {
	plane, warnings, err := scale(pic, opts)
	if err != nil {
		return nil, err
	}
	res := &Result{Picture: pic, Plane: plane}
	if res.Marks, err = vision.Find(pic); err != nil {
		return nil, err
	}
	choose := pattern.ChooseOptions{
		Holes: opts.Holes, MinDiameter: opts.MinDiameter, MaxDiameter: opts.MaxDiameter,
		PCD: opts.PCD, Free: opts.Free,
	}
	for _, a := range opts.Add {
		m, ok := vision.MeasureAt(pic, a.Centre, a.Diameter/2)
		if !ok {
			return nil, fmt.Errorf("--add %g,%g,%g: no circular edge was found there; give the centre and diameter in pixels as they are in the picture", a.Centre.X, a.Centre.Y, a.Diameter)
		}
		res.Marks = append(res.Marks, m)
		choose.Added = append(choose.Added, len(res.Marks))
	}
	circles, err := measure(plane, res.Marks)
	if err != nil {
		return nil, err
	}
	res.Rings = rings(res.Marks, circles, nil)
	if circles, err = res.lookAgain(circles, choose); err != nil {
		return nil, err
	}
	build := func() error {
		res.Reading = nil
		if res.Choice, err = pattern.Choose(res.Rings, choose); err != nil {
			return err
		}
		res.Rings = rings(res.Marks, circles, res.Choice.Holes)
		res.Reading, err = pattern.New(res.Rings, res.Choice, pattern.Options{
			Source: pattern.Source{
				File: name, SHA256: pic.SHA256,
				WidthPx: pic.Grey.Rect.Dx(), HeightPx: pic.Grey.Rect.Dy(), Kind: "scan",
			},
			View:  view(opts),
			Scale: scaleTable(plane, pic),
			Zero:  opts.Zero,
			Pixel: func(mm r2.Vec) r2.Vec {
				px, _ := plane.Px(mm, middle(pic))
				return px
			},
			KnownPCD: opts.PCD, KnownPCDU: opts.PCDU95 / 2,
			DiameterBiasU: rubbedDiameterU,
			Warnings:      warnings,
		})
		return err
	}
	if len(opts.Drop) > 0 {
		// Numbers to drop are those that the same picture has without it.
		zero, expected := opts.Zero, choose.Holes
		opts.Zero, choose.Holes = 0, 0
		if err := build(); err != nil {
			return res, err
		}
		opts.Zero, choose.Holes = zero, expected
		if choose.Drop, err = res.dropped(opts.Drop); err != nil {
			return nil, err
		}
	}
	if err := build(); err != nil {
		return res, err
	}
	return res, nil
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
