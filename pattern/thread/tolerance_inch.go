package thread

import "math"

const inch = 25.4

// unified are the tolerances of ASME B1.1, whose tables are its formulas
// rounded to 0.0001 in (limits of the hole's minor diameter to 0.001 in from
// No. 6 on).
func (t Thread) unified(class string, bolt bool) tolerances {
	d, p := t.Major/inch, t.Pitch/inch
	// The length of engagement that the tables rest on.
	engaged := d
	if t.Series == UNEF {
		engaged = math.Min(9*p, d)
	}
	two := 0.0015*math.Cbrt(d) + 0.0015*math.Sqrt(engaged) + 0.015*math.Cbrt(p*p)
	two = math.Round(two*1e6) / 1e6 // as the standard computes, before it multiplies
	wider := map[byte]float64{'1': 1.5, '2': 1, '3': 0.75}[class[0]]
	tol := tolerances{pitch: wider * two}
	if bolt {
		if class[0] != '3' {
			tol.off = 0.3 * two
		}
		tol.major = 0.060 * math.Cbrt(p*p)
		if class[0] == '1' {
			tol.major = 0.090 * math.Cbrt(p*p)
		}
	} else {
		tol.pitch *= 1.3
		tol.minor = unifiedMinor(d, p, class[0] == '3')
	}
	tenth := func(v float64) float64 { return math.Round(v*1e4) / 1e4 * inch }
	return tolerances{off: tenth(tol.off), major: tenth(tol.major), pitch: tenth(tol.pitch), minor: tol.minor * inch}
}

// unifiedMinor is the tolerance of a hole's minor diameter, inches.
func unifiedMinor(d, p float64, three bool) float64 {
	small := 0.05*math.Cbrt(p*p) + 0.03*p/d - 0.002
	if three {
		least := 0.12 * p
		if 1/p >= 12.9 {
			least = 0.23*p - 1.5*p*p
		}
		return math.Max(math.Min(small, 0.394*p), least)
	}
	large := 0.25*p - 0.4*p*p
	switch {
	case d < 0.25:
		return math.Max(math.Min(small, 0.394*p), large)
	case 1/p < 4:
		return 0.15 * p
	}
	return large
}

// whitworth are the tolerances of BS 84 without its allowance for coating, and
// with the length of engagement equal to the diameter (formulas from memory).
func (t Thread) whitworth(class string, bolt bool) tolerances {
	d, p := t.Major/inch, t.Pitch/inch
	unit := 0.002*math.Cbrt(d) + 0.003*math.Sqrt(d) + 0.005*math.Sqrt(p)
	wider := map[string]float64{"close": 2. / 3, "medium": 1, "free": 1.5, "normal": 1.5}[class]
	tol := tolerances{pitch: wider * unit}
	if bolt {
		tol.major = wider*unit + 0.01*math.Sqrt(p)
	} else {
		tol.minor = 0.2*p + 0.007
		switch {
		case 1/p > 25:
			tol.minor = 0.2*p + 0.004
		case 1/p > 21:
			tol.minor = 0.2*p + 0.005
		}
	}
	return tolerances{major: tol.major * inch, pitch: tol.pitch * inch, minor: tol.minor * inch}
}

// association are the tolerances of BS 93 (from memory).
func (t Thread) association(bolt bool) tolerances {
	p := t.Pitch
	if !bolt {
		return tolerances{pitch: 0.12*p + 0.03, minor: 0.375 * p}
	}
	return tolerances{major: 0.2 * p, pitch: 0.1*p + 0.025}
}
