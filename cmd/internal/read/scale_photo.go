package read

import (
	"fmt"
	"slices"
	"strings"

	"boltrose/calib"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// What paper on a face does, as standard uncertainties; common practice.
const (
	paperFlatU  = 0.2 // mm, off flat by bending as a whole
	paperAboveU = 0.1 // mm, of the paper's and the glue's thickness
)

// tieWay is the scale by points that a person knows.
func tieWay(pic *vision.Picture, opts Options) (way, error) {
	n := len(opts.Ties)
	photo := isPhoto(pic) || n >= 4 && (pic.DPI == ([2]float64{}) || defaultDPI(pic.DPI))
	switch {
	case photo && n < 4:
		return nil, fmt.Errorf("%w: a photograph needs four known points (--tie) or more, spread around the holes, not %d", ErrScale, n)
	case n < 2:
		return nil, fmt.Errorf("%w: give two known points (--tie) or more for a scan, as far apart as the holes, and four or more for a photograph", ErrScale)
	}
	return func(marks []vision.Mark, _ float64) (*Scaling, error) {
		controls, err := calib.Ties(opts.Ties, marks)
		if err != nil {
			return nil, fmt.Errorf("--tie: %w", err)
		}
		size := pic.Grey.Rect.Size()
		for _, c := range controls {
			if c.Px.X < 0 || c.Px.Y < 0 || c.Px.X > float64(size.X) || c.Px.Y > float64(size.Y) {
				return nil, fmt.Errorf("--tie %s: the picture has %d × %d pixels, and this one is outside; give pixels first, then mm", c.Name, size.X, size.Y)
			}
		}
		kind := "as a photo"
		if !photo {
			kind = "as a scan"
		}
		set, note, err := controlSet(pic, opts, controls, !photo)
		if err != nil {
			return nil, err
		}
		s, fit, err := fromControls(fmt.Sprintf("%d known points, %s", n, kind), set)
		if err != nil {
			return nil, err
		}
		s.Why, s.byMarks = "you gave --tie", true
		inMarks := 0
		for _, c := range controls {
			if c.Mark != nil {
				inMarks++
			}
		}
		s.Notes = slices.Concat([]string{fmt.Sprintf("%d of the %d known points lie in marks and mean their centres", inMarks, n)}, note, s.Notes)
		if !photo && fit.Factor > 3 {
			s.Warnings = append(s.Warnings, "the known points do not fit a scan: is one of them wrong, or is this a photograph?")
		}
		return s, nil
	}, nil
}

// controlSet is what all points of known place in a picture share. note says
// which lens profile it has.
func controlSet(pic *vision.Picture, opts Options, controls []calib.Control, scan bool) (set calib.ControlSet, note []string, err error) {
	set = calib.ControlSet{
		Controls: controls, WidthPx: pic.Grey.Rect.Dx(), HighPx: pic.Grey.Rect.Dy(), Scan: scan,
		AboveMM: opts.AboveMM, AboveU: opts.AboveU95 / 2,
	}
	if scan {
		return set, nil, opts.noPhoto()
	}
	lens, which, err := lensOf(pic, opts)
	if which != "" {
		note = []string{which}
	}
	set.Lens = lens
	return set, note, err
}

// noPhoto refuses what is said of a photograph where there is a scan.
func (o Options) noPhoto() error {
	switch {
	case o.aboveGiven():
		return fmt.Errorf("--above is for photographs: on a scanner's glass nothing lies above the face")
	case o.LensFile != "":
		return fmt.Errorf("--lens is for photographs: a scanner has none to correct")
	}
	return nil
}

func fromControls(method string, set calib.ControlSet) (*Scaling, calib.ControlFit, error) {
	plane, fit, err := calib.FromControls(method, set)
	if err != nil {
		return nil, fit, fmt.Errorf("%w: %w", ErrScale, err)
	}
	s := &Scaling{Plane: plane, Warnings: fit.Warnings, flat: !set.Scan}
	s.Notes = append(s.Notes, fmt.Sprintf("the points lie %.2f px or %.3f mm off what was fitted (rms)", fit.RMSPx, fit.RMSMM))
	if len(fit.Outliers) > 0 {
		s.Notes = append(s.Notes, "left out, because they contradict the others: "+strings.Join(fit.Outliers, ", "))
	}
	if !set.Scan {
		s.Notes = append(s.Notes, photoNotes(fit.TiltDeg, fit.FocalPx, fmt.Sprintf("%s, ±%.0f %%", fit.FocalFrom, 200*fit.FocalURel), fit.K1)...)
		s.Notes = append(s.Notes, heightNote("the known points", fit.MMPerMMHeight, set.AboveMM, set.AboveU)...)
	}
	return s, fit, nil
}

func photoNotes(tilt, focal float64, from string, k1 float64) []string {
	return []string{
		fmt.Sprintf("the camera's axis was tilted %.1f° against the face's normal", tilt),
		fmt.Sprintf("focal length %.0f px (%s), radial distortion k1 %+.4f", focal, from, k1),
	}
}

// heightNote says what each millimetre of height would cost where nobody said
// how high the points lie over the face.
func heightNote(what string, perMM, above, aboveU float64) []string {
	if above != 0 || aboveU > paperAboveU || perMM == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%s are taken to lie in the face; each mm that they lie above it would make every length here %.2f %% too small: give --above MM", what, 100*perMM)}
}

// frameWay is the scale by a printed frame; nil where there is none and
// nobody said so.
func (p *Seen) frameWay(opts Options) (way, error) {
	pic := p.picture
	view, err := p.frame(opts.Printed)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrScale, err)
	}
	if view == nil {
		if opts.Printed != (calib.PrintedBars{}) {
			return nil, fmt.Errorf("%w: --printed is of a printed frame, and none is seen in the picture; have all of its border in it, sharp, or leave --printed out", ErrScale)
		}
		return nil, nil
	}
	return func([]vision.Mark, float64) (*Scaling, error) {
		set, note, err := controlSet(pic, opts, view.Controls, false)
		if err != nil {
			return nil, err
		}
		set.ScaleU, set.AxesU, set.ScaleName = view.ScaleU, view.AxesU, calib.PrintScale
		set.FlatU = paperFlatU
		if !opts.aboveGiven() {
			set.AboveU = paperAboveU
		}
		s, _, err := fromControls("printed frame", set)
		if err != nil {
			return nil, err
		}
		s.Why = "a printed frame is in the picture"
		s.Warnings = append(append([]string(nil), view.Warnings...), s.Warnings...)
		s.Notes = slices.Concat([]string{fmt.Sprintf("frame for %s paper, %d of its %d dots measured", view.Frame.Paper.Name, len(view.Controls), len(view.Controls)+view.Hidden)}, note, s.Notes)
		if opts.Printed == (calib.PrintedBars{}) {
			s.Notes = append(s.Notes, "the printer is trusted to ±0.6 %: measure the two bars with calipers and give --printed X,Y")
		}
		x, y := view.Frame.Within() // the dots are circles too, and would crowd out the holes
		s.window = r2.Box{Min: r2.Vec{X: -x, Y: -y}, Max: r2.Vec{X: x, Y: y}}
		s.own, err = frameOwns(view, set, s.Plane)
		return s, err
	}, nil
}

// frameOwns tells which marks are the frame's own dots, or lie among them.
func frameOwns(view *calib.FrameView, set calib.ControlSet, face *calib.Plane) (func(vision.Mark) bool, error) {
	sheet := face
	if set.AboveMM != 0 {
		set.AboveMM, set.AboveU = 0, 0 // on the sheet itself
		var err error
		if sheet, _, err = calib.FromControls("printed frame", set); err != nil {
			return nil, err
		}
	}
	return func(m vision.Mark) bool { return view.Border(sheet.MM(m.Centre)) }, nil
}

// onFace says whether a mark lies on the face: not those of the scale itself,
// nor what a photograph sees beyond the face's horizon.
func (s *Scaling) onFace(m vision.Mark) bool { return s.sees(m) && (s.own == nil || !s.own(m)) }

func (s *Scaling) sees(m vision.Mark) bool {
	for _, e := range append([]r2.Vec{m.Centre}, m.Edge...) {
		if !s.Plane.Sees(e) {
			return false
		}
	}
	return true
}
