package thread

import (
	"fmt"
	"slices"
	"strings"
)

// Limits are what a tolerance class allows a thread's diameters to be, the
// smallest first, mm. Both are zero where the class does not limit one.
type Limits struct {
	Class    string
	Standard string
	Major    [2]float64
	Pitch    [2]float64
	Minor    [2]float64
}

// BoltClasses and NutClasses are the tolerance classes known for a thread, the
// usual one first.
func (t Thread) BoltClasses() []string { return t.Series.facts().bolt }

// NutClasses are those of a hole or nut.
func (t Thread) NutClasses() []string { return t.Series.facts().nut }

// Bolt returns the limits of an external thread; "" is the usual class.
func (t Thread) Bolt(class string) (Limits, error) { return t.limits(t.BoltClasses(), class, true) }

// Nut returns the limits of an internal thread; "" is the usual class.
func (t Thread) Nut(class string) (Limits, error) { return t.limits(t.NutClasses(), class, false) }

func (t Thread) limits(classes []string, class string, bolt bool) (Limits, error) {
	if class == "" {
		class = classes[0]
	}
	if !slices.Contains(classes, class) {
		return Limits{}, fmt.Errorf("%s has no class %.20q here; it has %s", t.Designation(), class, strings.Join(classes, ", "))
	}
	l := Limits{Class: class, Standard: t.Series.facts().standard}
	b := t.Basic()
	tol := t.tolerances(class, bolt)
	span := func(basic, width float64) [2]float64 {
		if width == 0 {
			return [2]float64{}
		}
		if bolt {
			return [2]float64{basic - tol.off - width, basic - tol.off}
		}
		return [2]float64{basic + tol.off, basic + tol.off + width}
	}
	l.Major, l.Pitch, l.Minor = span(b.Major, tol.major), span(b.Pitch, tol.pitch), span(b.Minor, tol.minor)
	return l, nil
}

// tolerances are a class's: how far off the basic profile its limit of most
// metal lies, and how wide the ranges below are; 0 for no limit. mm.
type tolerances struct{ off, major, pitch, minor float64 }

func (t Thread) tolerances(class string, bolt bool) tolerances {
	switch t.Series.facts().form {
	case ISO60:
		if t.TPI > 0 {
			return t.unified(class, bolt)
		}
		return t.metric(class, bolt)
	case BA:
		return t.association(bolt)
	}
	return t.whitworth(class, bolt)
}
