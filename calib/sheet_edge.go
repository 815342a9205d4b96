package calib

import (
	"fmt"
	"math"
	"slices"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// A sheet or card is not always where the grey is steepest beside it. One that
// is thick shows its wall on the sides that the camera looks at, and throws a
// shadow: where they are of the tone of its upper face, their edge is taken for
// its own. One that is blown out spreads over what is dark beside it. Each makes
// it seem larger, and all of it too small.

// sideDoubt says how far outside of the upper face's edge the edge that was
// measured lies on one side.
type sideDoubt struct {
	inner  bool    // another edge is seen inside of it, and taken for the upper face's
	wall   float64 // mm, of the wall that may have been taken for the upper face
	spread float64 // mm, the width of an edge at which a blown-out tone ends; 0: it is not blown out
}

// edgeDoubt is how far all in all a pair of opposite sides is measured too far
// apart, mm, and its standard uncertainty.
type edgeDoubt struct {
	apart [4]float64 // mm, how far each side lies outside
	u     [2]float64 // mm, of the sum over the sides of the width and of the height
}

const (
	// Of what a tone goes by on an edge that is seen beside the steepest one.
	leastInner = 0.08
	// px, how near beside the steepest place an extremum of the slope is that
	// one's own: blur, and the halo of a camera's sharpening.
	ownHalo = 3.0
	// Grey level from which on nearly all of a tone is white.
	blown = 254.5
	// How far outwards, at most, a blurred edge of a blown-out tone seems to lie,
	// over its width from nine tenths of the tone to one. An edge blurred by a
	// Gaussian is steepest farther out where it is cut off at white below what it
	// goes by: computed for sheets to four times as bright as white, straight and
	// bent tones, and looks at them smoothed by 0.6 of the blur.
	mostSpread = 0.8
	// The standard uncertainty about nothing of what is the less likely the larger
	// it is, over its limit: a triangular distribution with its peak at nothing,
	// which is not corrected for (JCGM 100:2008, F.2.4.5).
	sooner = 0.408 // 1/√6
	// px, the wall's width from which on it is worth asking.
	leastWallPx = 0.7
)

// standOff takes the sides where the sheet's own edges are likeliest to be, and
// fits the sheet to them anew.
func (s *sheetLines) standOff() (warnings []string, err error) {
	eye := [3]float64{0, 0, math.Inf(1)}
	if !s.set.Scan {
		var seen SheetFit
		if _, _, _, err := s.camera(&seen); err != nil {
			return nil, err
		}
		o, err := poseOf(homography(s.sol.params[pH:]), seen.FocalPx/s.sol.params[pFx])
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrSheet, err)
		}
		eye = [3]float64{s.unit * o.at.X, s.unit * o.at.Y, s.unit * o.at.Z}
	}
	d, warnings := s.doubtEdges(eye)
	s.edgesU = d.u
	s.takeEdges()
	for i := range s.lines {
		s.lines[i].c += d.apart[i]
	}
	return warnings, s.settle(s.sol.params)
}

// doubtEdges looks across the sides for what may have been measured in place of
// the sheet's own edge. eye is where the camera stands over the sheet, mm.
func (s *sheetLines) doubtEdges(eye [3]float64) (d edgeDoubt, warnings []string) {
	thick := s.size.Thickness
	if s.set.Scan { // it lies on the glass with the side that is seen
		thick = 0
	}
	var sides [4]sideDoubt
	isBlown, isDark := false, false
	for i, side := range s.quad.Sides {
		mmPerPx := s.acrossMMPerPx(i)
		wall := thick * s.lines[i].seenFrom(eye)
		reach := (wall + thick) / mmPerPx
		if thick > 0 {
			side, sides[i].inner = inner(side, reach+ownHalo)
			s.quad.Sides[i] = side
		}
		if wall > leastWallPx*mmPerPx && (!sides[i].inner || side.Contrast < 0) {
			sides[i].wall = wall
		}
		if grey := side.Across.Grey; len(grey) > 0 {
			if inside := grey[len(grey)/4]; inside >= blown && side.Contrast > 0 {
				wide := edgeWidth(side.Across, inside)
				sides[i].spread = wide * mmPerPx
				s.drawIn(i, wide*mostSpread/2)
				isBlown = true
			}
		}
	}
	for pair := range 2 {
		a, b := pair, pair+2 // top and bottom, right and left
		most := 0.0
		for _, i := range []int{a, b} {
			q := sides[i]
			// A wall in full light is as white as the face where that is blown out;
			// elsewhere it is sooner of another tone, and what was measured is the
			// face's edge.
			u := sooner * q.wall
			if q.spread > 0 {
				d.apart[i], u = q.wall/2, q.wall/math.Sqrt(12)
			}
			d.u[1-pair] += u + q.spread*mostSpread/math.Sqrt(12)
			most = math.Max(most, -s.quad.Sides[i].Contrast)
		}
		// A dark sheet's shadow may be as dark as it, and hide where it ends; it
		// falls to one side, so that where it is seen on the one it is not on the
		// other. It is as wide as the sheet is thick in light from halfway up, and
		// the sooner narrower.
		if most > 0 && thick > 0 && !sides[a].inner && !sides[b].inner {
			isDark = true
			d.u[1-pair] += sooner * thick
		}
	}
	if isBlown {
		warnings = append(warnings, fmt.Sprintf("the %s is so bright in the picture that its edge is lost in white, and lengths are known the less for it (the ± counts it): take the picture darker, on most phones by touching the %[1]s on the screen", s.size.Name))
	}
	if isDark {
		warnings = append(warnings, fmt.Sprintf("the %s is darker than what it lies on, so that a shadow beside it may hide its edge, and lengths are known the less for it (the ± counts it): turn its lighter side up, or take the picture in light from all sides", s.size.Name))
	}
	return d, warnings
}

// drawIn takes the edge of a side so many px farther in.
func (s *sheetLines) drawIn(i int, px float64) {
	along := r2.Unit(r2.Sub(s.quad.Corner[(i+1)%4], s.quad.Corner[i]))
	out := r2.Vec{X: along.Y, Y: -along.X}
	edge := slices.Clone(s.quad.Sides[i].Edge)
	for k, p := range edge {
		edge[k] = r2.Sub(p, r2.Scale(px, out))
	}
	s.quad.Sides[i].Edge = edge
}

// seenFrom is how much of the wall below a side is seen from a place over the
// sheet: the width in the sheet's plane of each mm of its height. The middle of
// the side stands for all of it.
func (l sideLine) seenFrom(eye [3]float64) float64 {
	if !(eye[2] > 0) {
		return 0
	}
	return math.Max(0, (l.n.X*eye[0]+l.n.Y*eye[1]-l.c)/eye[2])
}

// acrossMMPerPx is the scale across a side in its middle.
func (s *sheetLines) acrossMMPerPx(i int) float64 {
	h := homography(s.sol.params[pH:])
	at := r2.Scale(s.lines[i].c, s.lines[i].n)
	const step = 1.0 // mm
	a, _ := h.apply(r2.Scale(1/s.unit, at))
	b, _ := h.apply(r2.Scale(1/s.unit, r2.Add(at, r2.Scale(step, s.lines[i].n))))
	u := r2.Sub(s.quad.Corner[(i+1)%4], s.quad.Corner[i])
	across := math.Abs(r2.Cross(r2.Unit(u), r2.Sub(b, a))) * s.sol.params[pFx]
	return step / math.Max(across, 1e-9)
}

// inner is the edge inside of a side, within reach px, that is the upper face's:
// the innermost that does not fade beside the clearest. Where the grey is
// steepest the sheet's foot may lie, or its shadow's end.
func inner(side vision.Side, reach float64) (vision.Side, bool) {
	clearest := math.Abs(side.Contrast)
	for _, b := range side.Beside {
		clearest = math.Max(clearest, math.Abs(b.Contrast))
	}
	for _, b := range side.Beside {
		if b.Out >= -reach && b.Out < -ownHalo && math.Abs(b.Contrast) > leastInner*clearest {
			return b, true
		}
	}
	return side, false
}

// edgeWidth is over how many px the grey goes from nine tenths to a tenth of the
// way from the tone inside down to the darkest just outside.
func edgeWidth(a vision.Across, inside float64) float64 {
	outside, foot := inside, 0
	for i, v := range a.Grey {
		if at := a.At(float64(i)); at > 0 && at <= 2*ownHalo && v < outside {
			outside, foot = v, i
		}
	}
	// The last places, from the foot inwards, at which the grey is above each.
	at := func(share float64) float64 {
		level := outside + share*(inside-outside)
		for i := foot; i > 0; i-- {
			if lo, hi := a.Grey[i], a.Grey[i-1]; hi >= level && hi > lo {
				return a.At(float64(i) - (level-lo)/(hi-lo))
			}
		}
		return a.At(0)
	}
	return at(0.1) - at(0.9)
}
