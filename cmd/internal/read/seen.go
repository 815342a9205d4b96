package read

import (
	"errors"
	"fmt"
	"math"
	"reflect"

	"boltrose/calib"
	"boltrose/vision"
)

// Seen is a picture with what was seen in it, so that it can be read again
// with other options without being searched again. It may be used by one
// goroutine at a time.
type Seen struct {
	picture *vision.Picture
	name    string

	framed     bool // the frame was looked for
	printed    calib.PrintedBars
	view       *calib.FrameView // nil: there is none
	frameError error

	upright *search // in the picture as it is
	above   *search // in the view from straight above, by the options aboveBy
	aboveBy Options
}

// search is where marks were looked for, and those found, as look.find has
// them.
type search struct {
	look
	seen, marks []vision.Mark
}

// See prepares a picture, loaded from the file called name, to be read.
func See(pic *vision.Picture, name string) *Seen {
	if pic.Pages > 1 {
		name = fmt.Sprintf("%s, page %d", name, pic.Page)
	}
	return &Seen{picture: pic, name: name}
}

// Read reads the picture. The error is as File's.
func (p *Seen) Read(opts Options) (*Result, error) {
	build, s, err := p.scale(opts)
	if err != nil {
		return nil, err
	}
	from, err := p.search(s, opts)
	if err != nil {
		return nil, err
	}
	if s.byMarks { // now that they are known
		if s, err = build(from.marks, 0); err != nil {
			return nil, err
		}
	}
	for pass := 0; ; pass++ {
		res := &Result{Picture: p.picture, Scaling: s, Plane: s.Plane, look: from.look}
		o := opts
		if s.NoScale && pass == 0 { // a guess: sizes in mm tell nothing yet
			o.MinDiameter, o.MaxDiameter = 0, 0
		}
		err := res.read(from.seen, from.marks, p.name, o)
		if err == nil && s.byMarks && s.flat && pass < tiedAgain {
			if s, err = build(res.marksOnFace(), 0); err != nil {
				return nil, err
			}
			continue
		}
		if err != nil || !s.NoScale || o.numbersOnly {
			return res.orNil(err)
		}
		// What holes are is told in mm; with the scale that the lengths gave,
		// it may be told better.
		zoom := res.Adjustment.Zoom
		if pass > 0 && math.Abs(zoom-1) < 0.01 || pass == 4 {
			return res, nil
		}
		x, _ := s.Plane.MMPerPx(middle(p.picture))
		if s, err = build(from.marks, x*zoom); err != nil {
			return nil, err
		}
	}
}

// scale is the picture's scaling as far as it is known without its marks, and
// how to build it with them.
func (p *Seen) scale(opts Options) (way, *Scaling, error) {
	build, err := p.chooseWay(opts)
	if err != nil {
		return nil, nil, err
	}
	s, err := build(nil, 0)
	return build, s, err
}

// Numbers reads the picture for the holes' numbers alone, by which known
// distances and the hole at 0° are given: these are left aside. Where nothing
// else gives the picture's scale, its millimetres are a guess, and unscaled is
// true.
func (p *Seen) Numbers(opts Options) (res *Result, unscaled bool, err error) {
	opts.numbersOnly = true
	res, err = p.Read(opts)
	if errors.Is(err, ErrScale) {
		opts.unscaled = true
		res, err = p.Read(opts)
	}
	return res, res != nil && res.Scaling.NoScale, err
}

// frame is the printed frame in the picture; nil where there is none.
func (p *Seen) frame(printed calib.PrintedBars) (*calib.FrameView, error) {
	if !p.framed || p.printed != printed {
		p.view, p.frameError = calib.FindFrame(p.picture, printed)
		p.framed, p.printed = true, printed
	}
	return p.view, p.frameError
}

// search finds the marks, unless they are known.
func (p *Seen) search(s *Scaling, opts Options) (*search, error) {
	if s.flat && p.above != nil && reflect.DeepEqual(p.aboveBy, opts.ofView()) {
		return p.above, nil
	}
	from := s.lookFrom(p.picture)
	if from.flat == nil && p.upright != nil {
		return p.upright, nil
	}
	seen, marks, err := from.find()
	if err != nil {
		return nil, err
	}
	found := &search{from, seen, marks}
	if from.flat == nil {
		p.upright = found
	}
	if s.flat {
		p.above, p.aboveBy = found, opts.ofView()
	}
	return found, nil
}

// ofView are the options that a photograph's view from above depends on.
func (o Options) ofView() Options {
	return Options{
		DPI: o.DPI, Ties: o.Ties, Sheet: o.Sheet, Printed: o.Printed, ScannerFile: o.ScannerFile,
		AboveMM: o.AboveMM, AboveU95: o.AboveU95, LensFile: o.LensFile, LensFolder: o.LensFolder,
		FromBehind: o.FromBehind,
	}
}
