package thread

import (
	"errors"
	"fmt"
	"math"
)

// Value is what was measured, with its expanded uncertainty (k = 2). A zero
// value was not measured.
type Value struct{ V, U95 float64 }

func (v Value) given() bool { return v.V != 0 }

// Measured is what is known of a thread; any part of it may be missing.
type Measured struct {
	Pitch    Value // mm
	Major    Value // mm, over the bolt's crests
	Minor    Value // mm, between the crests of a hole or nut
	FlankDeg Value // between the flanks
}

// What a measurement without a ± may be wrong by (k = 2): common practice.
const (
	CalliperU95 = 0.05 // mm, over crests
	InsideU95   = 0.10 // mm, between the crests of a hole, where jaws sit badly
	FlankU95    = 2    // degrees, by a gauge held against the light
	seen        = 0.1  // mm, the smallest gap between leaf and thread that one sees
	leaf        = 10   // mm, over which a leaf of a pitch gauge lies on the thread
)

// GaugeU95 is what a pitch (mm) that was found by the leaf that fits may be
// wrong by: the leaf lies on so many teeth, and a gap at the last of them is
// seen or not.
func GaugeU95(pitch float64) float64 {
	return seen / math.Max(1, math.Floor(leaf/pitch))
}

// Completed fills in what a measurement without a ± may be wrong by.
func (m Measured) Completed() Measured {
	fill := func(v *Value, u float64) {
		if v.given() && v.U95 == 0 {
			v.U95 = u
		}
	}
	fill(&m.Pitch, GaugeU95(m.Pitch.V))
	fill(&m.Major, CalliperU95)
	fill(&m.Minor, InsideU95)
	fill(&m.FlankDeg, FlankU95)
	return m
}

// ErrMeasured says that what was measured cannot be.
var ErrMeasured = errors.New("these cannot be the measures of a thread")

// Check refuses what no thread of the tables can be near to.
func (m Measured) Check() error {
	for _, v := range []struct {
		what    string
		v       Value
		lo, hi  float64
		unit    string
		example string
	}{
		{"pitch", m.Pitch, 0.05, 10, "mm", "give it in mm as --pitch 1.5, or as threads per inch: --tpi 16"},
		{"major diameter", m.Major, 0.2, 200, "mm", "give the diameter over the bolt's crests in mm, as 9.4"},
		{"minor diameter", m.Minor, 0.1, 200, "mm", "give the diameter between the hole's crests in mm, as 8.1"},
		{"flank angle", m.FlankDeg, 20, 100, "degrees", "threads have 47.5°, 55° or 60° between their flanks"},
	} {
		switch {
		case !v.v.given():
		case math.IsNaN(v.v.V) || v.v.V < v.lo || v.v.V > v.hi:
			return fmt.Errorf("%w: a %s of %.4g %s is none; %s", ErrMeasured, v.what, v.v.V, v.unit, v.example)
		case !(v.v.U95 >= 0) || v.v.U95 > v.v.V/2:
			return fmt.Errorf("%w: ±%.4g on a %s of %.4g %s is no measurement", ErrMeasured, v.v.U95, v.what, v.v.V, v.unit)
		}
	}
	p, d, h := m.Pitch, m.Major, m.Minor
	switch {
	case !p.given() && !d.given() && !h.given():
		return fmt.Errorf("%w: nothing was measured; give a pitch, a major or a minor diameter", ErrMeasured)
	case p.given() && d.given() && p.V-p.U95 > 0.4*(d.V+d.U95):
		return fmt.Errorf("%w: a pitch of %.4g mm is too coarse for a diameter of %.4g mm; is it in threads per inch (--tpi)?", ErrMeasured, p.V, d.V)
	case p.given() && h.given() && p.V-p.U95 > 0.7*(h.V+h.U95):
		return fmt.Errorf("%w: a pitch of %.4g mm is too coarse for a hole of %.4g mm; is it in threads per inch (--tpi)?", ErrMeasured, p.V, h.V)
	case d.given() && h.given() && h.V-h.U95 > d.V+d.U95:
		return fmt.Errorf("%w: the hole's minor diameter, %.4g mm, is above the bolt's major one, %.4g mm; are they of one thread, and the right way round?", ErrMeasured, h.V, d.V)
	case d.given() && h.given() && h.V+h.U95 < 0.5*(d.V-d.U95):
		return fmt.Errorf("%w: a hole of %.4g mm is far too small for a bolt of %.4g mm; measure both again", ErrMeasured, h.V, d.V)
	}
	return nil
}
