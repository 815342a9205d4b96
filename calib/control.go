package calib

import (
	"fmt"
	"math"

	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Control is a point whose place is known both in the picture and on the
// sheet that it belongs to (photogrammetry's control point).
type Control struct {
	Name string // for a person to find it again, for example "dot 7"
	Px   r2.Vec
	MM   r2.Vec // x right, y up, looking at the sheet

	// Standard uncertainties of either place, along each axis. A SigmaPx of
	// zero stands for half a pixel, or where there is a Mark for what the
	// scatter of its edge points says.
	SigmaPx, SigmaMM float64

	// Mark, when given, is the circular mark whose centre this point is. Px is
	// then found from its edge points: they are put on the sheet, a circle is
	// fitted there, and its centre taken back to the picture, until it stays
	// (J. Heikkilä, "Geometric camera calibration using circular control
	// points", IEEE TPAMI 22 (2000) 1066–1077).
	Mark *vision.Mark
}

// ControlSet is what is known of a picture with control points.
type ControlSet struct {
	Controls        []Control
	WidthPx, HighPx int // of the picture

	// Scan says that the picture comes off a flatbed: it has no perspective
	// and no lens, its axes are about equally scaled and about square. Two
	// points are then enough; a photograph needs four.
	Scan bool

	Lens    *Lens   // the camera's profile; nil: none
	FocalPx float64 // focal length in pixels of this picture, by its EXIF; 0: not known

	// What is wrong with all millimetres of the controls at once, as relative
	// standard uncertainties: with their size (ScaleU), and with how x compares
	// to y (AxesU). ScaleName is what the budget calls the former; "" is "print
	// scale".
	ScaleU, AxesU float64
	ScaleName     string

	// The controls lie AboveMM nearer to the camera than the face does
	// (negative: farther away), known to AboveU, one standard uncertainty. The
	// place on the face is then where the line of sight goes on to.
	AboveMM, AboveU float64

	// FlatU is how far (mm, rms over the controls, one standard uncertainty)
	// the sheet may be off flat by bending as a whole.
	FlatU float64
}

// Names of the errors that all marks of a picture with controls share, besides
// those of a scan.
const (
	EdgeLocation = "edge location" // of the controls
	LensError    = "lens"
	PrintScale   = "print scale"
	HeightOffset = "height offset"
	FocalLength  = "focal length"
	Flatness     = "flatness"
)

// ControlResidual is how far a control lies from where the fit has it.
type ControlResidual struct {
	Name   string
	At     r2.Vec // px, in the picture; for a mark as refined
	Px, MM r2.Vec // observed less fitted
	Used   bool   // false for one that was dropped
}

// FocalFrom says where a focal length comes from.
type FocalFrom string

const (
	FocalProfile   FocalFrom = "lens profile"
	FocalEXIF      FocalFrom = "EXIF"
	FocalEstimated FocalFrom = "estimated from the tilted view"
	FocalAssumed   FocalFrom = "assumed, a typical phone's"
)

// ControlFit says how well controls and picture agree.
type ControlFit struct {
	Residuals    []ControlResidual
	RMSPx, RMSMM float64  // of those used, along one axis, with the fitted parameters taken off the count
	Outliers     []string // those that do not agree with the others and were left out
	Factor       float64  // by which the residuals exceed what was supposed; 1 where they do not

	K1, K2     float64 // radial distortion, with directions in units of FocalPx
	LensFitted int     // how many of them were fitted to this picture's points alone

	FocalPx   float64
	FocalURel float64
	FocalFrom FocalFrom

	// The camera's place over the sheet (mm, z towards it), how far its axis is
	// from upright, and how much larger (relative) everything on the face is for
	// each mm that the sheet lies above it. Zero for a scan.
	Camera        [3]float64
	TiltDeg       float64
	MMPerMMHeight float64

	// NotFlat says that the residuals follow a bent sheet better than chance
	// would let them (F test at 0.1 %), and BendMM how far it is from flat, rms
	// over the controls; with few or badly spread points it is not known.
	NotFlat bool
	BendMM  float64

	Warnings []string // in plain words, for the person who took the picture
}

// FromControls returns the plane of a picture from points of known place.
//
// For a photograph a homography is fitted, with radial distortion where the
// points show it: k1 from eight points on, k2 from twelve, each if its F test
// passes at 0.1 %. Otherwise a distortion that may be there enters the
// uncertainty. With a profile, the lens is known beforehand as well as the
// profile says, and the points may improve on that. Points that contradict
// the others are dropped from eight points on, or, of six or seven, one.
//
// The covariance is that of the whole adjustment. Where residuals are larger
// than the standard uncertainties of the points allow, these are scaled up,
// with Student's t for the few that there are.
//
// Beyond the horizon, and where a lens's polynomial has turned back, the
// plane's MM is not a number; Sees tells.
func FromControls(method string, set ControlSet) (*Plane, ControlFit, error) {
	if err := set.check(); err != nil {
		return nil, ControlFit{}, fmt.Errorf("%s: %w", method, err)
	}
	f := &controlFit{set: set, controls: append([]Control(nil), set.Controls...)}
	for i := range f.controls {
		f.used = append(f.used, true)
		if c := &f.controls[i]; c.SigmaPx == 0 {
			c.SigmaPx = pointedPx
		}
	}
	if set.Scan {
		f.sheet = newScanMap(set)
	} else {
		f.sheet = newPhotoMap(set)
	}
	if err := f.fit(); err != nil {
		return nil, ControlFit{}, fmt.Errorf("%s: %w", method, err)
	}
	plane, report, err := f.plane(method)
	if err != nil {
		return nil, ControlFit{}, fmt.Errorf("%s: %w", method, err)
	}
	return plane, report, nil
}

// pointedPx is the standard uncertainty of a pixel that a person points at.
const pointedPx = 0.5

// Sees says whether the plane has a place for a point of the picture: a
// photograph has none beyond the horizon.
func (p *Plane) Sees(px r2.Vec) bool { return finite(p.MM(px)) }

// controlMap maps between the picture and the controls' sheet. It has parameters
// that an adjustment finds.
type controlMap struct {
	toPx func(p []float64, mm r2.Vec) (r2.Vec, bool)
	toMM func(p []float64, px r2.Vec) (r2.Vec, bool)

	names     []string // which error each parameter is
	start     []float64
	step      []float64 // for derivatives; 0: not fitted
	prior     []float64
	precision *mat.SymDense
	own       int // the parameters that only the controls give, from the last on

	// begin sets the start from the controls; it fails where they do not
	// determine the map.
	begin func(s *controlMap, controls []Control) error
}

var nowhere = r2.Vec{X: math.NaN(), Y: math.NaN()}
