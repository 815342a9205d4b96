package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// maxMM bounds every length: nobody lays paper on a kilometre.
const maxMM = 1e6

// maxDegU bounds the uncertainty of an angle. It may exceed a turn: the
// direction is then unknown.
const maxDegU = 1e9

// check finds what makes a reading impossible or inconsistent.
func (r *Reading) check() error {
	n := len(r.Holes)
	switch {
	case r.Schema != Schema:
		return fmt.Errorf("its schema is %.60q, not %q", r.Schema, Schema)
	case r.View != Facing && r.View != FromBehind:
		return fmt.Errorf("view is %.60q, neither %q nor %q", r.View, Facing, FromBehind)
	case r.Pattern != OnCircle && r.Pattern != Free:
		return fmt.Errorf("pattern is %.60q, neither %q nor %q", r.Pattern, OnCircle, Free)
	case n == 0:
		return errors.New("it has no holes")
	case n > MaxHoles:
		return fmt.Errorf("it has %d holes, more than %d", n, MaxHoles)
	case len(r.CovarianceMM2) != 4*n*n:
		return fmt.Errorf("covariance_mm2 has %d numbers where %d holes need %d", len(r.CovarianceMM2), n, 4*n*n)
	case r.Source.WidthPx < 0 || r.Source.HeightPx < 0:
		return errors.New("the source's size in pixels is negative")
	case (r.Pattern == OnCircle) != (r.PitchCircle != nil):
		return fmt.Errorf("pattern is %q, which does not go with its pitch_circle", r.Pattern)
	case (r.PitchCircle != nil) != (r.TurnDeg != nil):
		return errors.New("turn_deg and pitch_circle go together: one is null and the other is not")
	case r.Warnings == nil || r.Gaps == nil || r.Chords == nil:
		return errors.New("a list is null")
	}
	for _, check := range []func() error{r.checkNumbers, r.checkSpans, r.checkCovariance, r.checkBudget, r.checkVerdict, r.checkCandidates} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// checkNumbers looks at each number by itself.
func (r *Reading) checkNumbers() error {
	var err error
	within := func(v, low, high float64, format string, args ...any) {
		if err == nil && !(v >= low && v <= high) {
			err = fmt.Errorf("%s cannot be %g", fmt.Sprintf(format, args...), v)
		}
	}
	// maybe is for numbers that are null together with their uncertainty.
	maybe := func(v, u *float64, low, high, highU float64, format string, args ...any) {
		name := fmt.Sprintf(format, args...)
		if err == nil && (v == nil) != (u == nil) {
			err = fmt.Errorf("%s and its uncertainty go together: one is null and the other is not", name)
		}
		if v != nil && u != nil {
			within(*v, low, high, "%s", name)
			within(*u, 0, highU, "the uncertainty of %s", name)
		}
	}
	const tiny = math.SmallestNonzeroFloat64
	within(r.Scale.MMPerPxX, 0, maxMM, "scale.mm_per_px_x")
	within(r.Scale.MMPerPxY, 0, maxMM, "scale.mm_per_px_y")
	within(r.Scale.URel, 0, 1, "scale.u_rel")
	ids := map[int]bool{}
	for _, h := range r.Holes {
		within(float64(h.ID), 1, math.MaxInt32, "a hole's id")
		if ids[h.ID] && err == nil {
			err = fmt.Errorf("two holes have the id %d", h.ID)
		}
		ids[h.ID] = true
		within(h.X, -maxMM, maxMM, "hole %d's x_mm", h.ID)
		within(h.Y, -maxMM, maxMM, "hole %d's y_mm", h.ID)
		within(h.XU95, 0, maxMM, "hole %d's x_u95_mm", h.ID)
		within(h.YU95, 0, maxMM, "hole %d's y_u95_mm", h.ID)
		within(h.Diameter, tiny, maxMM, "hole %d's diameter_mm", h.ID)
		within(h.DiameterU95, 0, maxMM, "hole %d's diameter_u95_mm", h.ID)
		maybe(h.OuterDiameter, h.OuterDiameterU95, tiny, maxMM, maxMM, "hole %d's outer_diameter_mm", h.ID)
		maybe(h.AngleDeg, h.AngleU95Deg, 0, math.Nextafter(360, 0), maxDegU, "hole %d's angle_deg", h.ID)
		within(h.XPx, -maxMM, maxMM, "hole %d's x_px", h.ID)
		within(h.YPx, -maxMM, maxMM, "hole %d's y_px", h.ID)
		within(h.RimSeen, 0, 1, "hole %d's rim_seen", h.ID)
	}
	for _, f := range []struct {
		name string
		*Feature
	}{{"bore", r.Bore}, {"rim", r.Rim}} {
		if f.Feature == nil {
			continue
		}
		within(f.X, -maxMM, maxMM, "the %s's x_mm", f.name)
		within(f.Y, -maxMM, maxMM, "the %s's y_mm", f.name)
		within(f.XU95, 0, maxMM, "the %s's x_u95_mm", f.name)
		within(f.YU95, 0, maxMM, "the %s's y_u95_mm", f.name)
		within(f.Diameter, tiny, maxMM, "the %s's diameter_mm", f.name)
		within(f.DiameterU95, 0, maxMM, "the %s's diameter_u95_mm", f.name)
		maybe(f.Offset, f.OffsetU95, 0, maxMM, maxMM, "the %s's offset_mm", f.name)
		within(f.XPx, -maxMM, maxMM, "the %s's x_px", f.name)
		within(f.YPx, -maxMM, maxMM, "the %s's y_px", f.name)
		within(f.RimSeen, 0, 1, "the %s's rim_seen", f.name)
	}
	if c := r.PitchCircle; c != nil {
		within(c.Diameter, tiny, maxMM, "the pitch circle's diameter_mm")
		within(c.DiameterU95, 0, maxMM, "the pitch circle's diameter_u95_mm")
		within(c.XPx, -maxMM, maxMM, "the pitch circle's x_px")
		within(c.YPx, -maxMM, maxMM, "the pitch circle's y_px")
		within(c.RMS, 0, maxMM, "the pitch circle's rms_residual_mm")
		within(*r.TurnDeg, 0, math.Nextafter(360, 0), "turn_deg")
	}
	for k, s := range slices.Concat(r.Gaps, r.Chords) {
		widest := 360.0
		if k >= len(r.Gaps) {
			widest = 180
		}
		maybe(s.AngleDeg, s.AngleU95Deg, 0, widest, maxDegU, "the angle from hole %d to %d", s.From, s.To)
		within(s.Chord, 0, maxMM, "the chord from hole %d to %d", s.From, s.To)
		within(s.ChordU95, 0, maxMM, "the uncertainty of the chord from hole %d to %d", s.From, s.To)
	}
	return err
}

// checkSpans compares gaps and chords with the holes. A chord that differs
// from the coordinates tells of a file edited by hand.
func (r *Reading) checkSpans() error {
	byID := map[int]Hole{}
	on := 0
	for _, h := range r.Holes {
		byID[h.ID] = h
		if h.OnCircle {
			on++
		}
	}
	n := len(r.Holes)
	switch {
	case r.PitchCircle == nil && on > 0:
		return errors.New("holes are on_circle without a pitch circle")
	case r.PitchCircle != nil && on < 2:
		return errors.New("a pitch circle needs two holes that are on_circle")
	case len(r.Gaps) != on:
		return fmt.Errorf("it has %d gaps between %d holes on the pitch circle", len(r.Gaps), on)
	case len(r.Chords) != n*(n-1)/2:
		return fmt.Errorf("it has %d chords where %d holes have %d pairs", len(r.Chords), n, n*(n-1)/2)
	}
	if err := r.checkAngles(); err != nil {
		return err
	}
	pairs := map[[2]int]bool{}
	for k, s := range slices.Concat(r.Gaps, r.Chords) {
		a, okA := byID[s.From]
		b, okB := byID[s.To]
		if !okA || !okB || s.From == s.To {
			return fmt.Errorf("there is no chord from hole %d to hole %d", s.From, s.To)
		}
		if k >= len(r.Gaps) {
			pair := [2]int{min(s.From, s.To), max(s.From, s.To)}
			if pairs[pair] {
				return fmt.Errorf("the chord from hole %d to %d is there twice", s.From, s.To)
			}
			pairs[pair] = true
		}
		if d := math.Hypot(b.X-a.X, b.Y-a.Y); math.Abs(d-s.Chord) > 0.001+1e-6*d {
			return fmt.Errorf("the chord from hole %d to %d is %.3f mm, but their coordinates are %.3f mm apart: it was edited by hand", s.From, s.To, s.Chord, d)
		}
	}
	return nil
}

// checkAngles looks at which angles are there, and whether the gaps close.
func (r *Reading) checkAngles() error {
	if r.PitchCircle == nil {
		for _, h := range r.Holes {
			if h.AngleDeg != nil {
				return fmt.Errorf("hole %d has an angle without a pitch circle", h.ID)
			}
		}
		for _, s := range r.Chords {
			if s.AngleDeg != nil {
				return fmt.Errorf("the chord from hole %d to %d has an angle without a pitch circle", s.From, s.To)
			}
		}
		return nil
	}
	turn := 0.0
	for _, g := range r.Gaps {
		if g.AngleDeg == nil {
			return fmt.Errorf("the gap from hole %d to %d has no angle", g.From, g.To)
		}
		turn += *g.AngleDeg
	}
	if math.Abs(turn-360) > 0.01 {
		return fmt.Errorf("the gaps add up to %.3f°, not to 360°", turn)
	}
	return nil
}

// checkCovariance asks for a symmetric matrix without negative eigenvalues,
// to rounding: it is singular by nature, since the origin follows the holes.
func (r *Reading) checkCovariance() error {
	n := 2 * len(r.Holes)
	largest := 0.0
	for i, v := range r.CovarianceMM2 {
		if math.IsNaN(v) || math.Abs(v) > maxMM*maxMM {
			return fmt.Errorf("covariance_mm2 holds %g in row %d", v, i/n+1)
		}
		if i/n == i%n {
			largest = math.Max(largest, v)
		}
	}
	tolerance := 1e-9 * largest
	sigma := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			a, b := r.CovarianceMM2[i*n+j], r.CovarianceMM2[j*n+i]
			if math.Abs(a-b) > tolerance {
				return fmt.Errorf("covariance_mm2 is not symmetric: %g in row %d, column %d and %g across", a, i+1, j+1, b)
			}
			sigma.SetSym(i, j, a)
		}
	}
	for i, h := range r.Holes {
		for k, u := range []float64{h.XU95, h.YU95} {
			at := 2*i + k
			if v := sigma.At(at, at); math.Abs(math.Sqrt(math.Max(v, 0))*coverage-u) > 1e-6+1e-3*u {
				return fmt.Errorf("hole %d's ±%g mm does not go with its variance of %g mm² in covariance_mm2", h.ID, u, v)
			}
		}
	}
	if largest == 0 {
		for _, v := range r.CovarianceMM2 {
			if v != 0 {
				return errors.New("covariance_mm2 has no variances")
			}
		}
		return nil
	}
	for i := range n {
		sigma.SetSym(i, i, sigma.At(i, i)+tolerance*float64(n))
	}
	if ok := new(mat.Cholesky).Factorize(sigma); !ok {
		return errors.New("covariance_mm2 is no covariance: it has a negative eigenvalue")
	}
	return nil
}
