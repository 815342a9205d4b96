package thread

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// Every tabulated value that a formula gives is checked against the formula.
func TestThreadTable(t *testing.T) {
	names := map[string]bool{}
	for _, th := range Threads() {
		d := th.Designation()
		if names[d] {
			t.Errorf("%s stands in the table twice", d)
		}
		names[d] = true
		if th.Source == "" || th.How != "seen" && th.How != "formula" && th.How != "memory" {
			t.Errorf("%s names no source", d)
		}
		if back, err := Find(d); err != nil || back != th {
			t.Errorf("%s is not found by its name: %v, %v", d, back, err)
		}
		switch {
		case th.Series == BASmall:
			// BS 93: p = 0.9ⁿ and d = 6 p^1.2, to two significant digits.
			n, err := strconv.Atoi(strings.TrimSuffix(th.Size, " BA"))
			if err != nil {
				t.Fatal(err)
			}
			p := math.Pow(0.9, float64(n))
			if p2, d2 := twoDigits(p), twoDigits(6*math.Pow(p, 1.2)); th.Pitch != p2 || th.Major != d2 {
				t.Errorf("%s: %g × %g, by the formula %g × %g", d, th.Major, th.Pitch, d2, p2)
			}
		case th.TPI > 0:
			if want := sizeInches(t, th.Size); math.Abs(th.Major/inch-want) > 1e-6 {
				t.Errorf("%s: %g in, its name says %g", d, th.Major/inch, want)
			}
		default:
			if want, _ := strconv.ParseFloat(th.Size[1:], 64); th.Major != want {
				t.Errorf("%s: %g mm", d, th.Major)
			}
		}
		b := th.Basic()
		if !(0 < b.MinorBolt && b.MinorBolt <= b.Minor && b.Minor < b.Pitch && b.Pitch < b.Major) {
			t.Errorf("%s: %+v", d, b)
		}
		if ratio := th.Pitch / th.Major; ratio > 0.31 || ratio < 0.01 {
			t.Errorf("%s: its pitch is %.3f of its diameter", d, ratio)
		}
	}
	if len(names) < 300 {
		t.Errorf("only %d threads", len(names))
	}
	// In each series the pitch grows with the diameter; sizes with several
	// pitches, which fine ones have, are left out.
	last := map[Series]Thread{}
	for _, th := range Threads() {
		before, ok := last[th.Series]
		last[th.Series] = th
		if !ok || th.Series == Fine || th.Series == BASmall || th.Series == BSC {
			continue
		}
		if th.Major <= before.Major || th.Pitch < before.Pitch-1e-9 {
			t.Errorf("%s after %s", th.Designation(), before.Designation())
		}
	}
}

func twoDigits(v float64) float64 {
	k := math.Pow(10, 1-math.Floor(math.Log10(v)))
	return math.Round(v*k) / k
}

// sizeInches is what an inch size's name says: 3/8 is 0.375, #10 is 0.190 by
// 0.060 + 0.013 n (ASME B1.1).
func sizeInches(t *testing.T, size string) float64 {
	if n, ok := strings.CutPrefix(size, "#"); ok {
		v, err := strconv.ParseFloat(n, 64)
		if err != nil {
			t.Fatal(err)
		}
		return 0.060 + 0.013*v
	}
	sum := 0.0
	for _, part := range strings.Fields(size) {
		a, b, isFraction := strings.Cut(part, "/")
		v, err := strconv.ParseFloat(a, 64)
		if err != nil {
			t.Fatal(err)
		}
		if isFraction {
			w, err := strconv.ParseFloat(b, 64)
			if err != nil {
				t.Fatal(err)
			}
			v /= w
		}
		sum += v
	}
	return sum
}

// The depths of the forms against the geometry that defines them: a V of 60°
// of which 5/8 are left (ISO 68-1), one of 55° of which 2/3 are (BS 84), and
// one of 47.5° rounded by 0.2681683 p at both ends (BS 93, seen).
func TestForms(t *testing.T) {
	for _, f := range []Form{ISO60, Whitworth, BA, Cycle} {
		h := 0.5 / math.Tan(f.half()) // of the sharp V, in pitches
		switch f {
		case ISO60:
			if math.Abs(f.Depth-5./8*h) > 1e-9 || math.Abs(f.pitchDown()-0.649519) > 1e-6 || math.Abs(2*f.RootMale-1.226869) > 1e-6 || math.Abs(2*f.Depth-1.082532) > 1e-6 {
				t.Errorf("%+v", f)
			}
		case Whitworth:
			if math.Abs(f.Depth-2./3*h) > 1e-6 {
				t.Errorf("%+v: %g", f, 2./3*h)
			}
		case BA:
			if math.Abs(f.Depth-(h-2*0.2681683)) > 1e-5 {
				t.Errorf("%+v: %g", f, h-2*0.2681683)
			}
		default:
			if !(f.Depth < h && f.Depth > 0.5) {
				t.Errorf("%+v", f)
			}
		}
	}
}

// Limits are in order, bolts lie within the basic profile and nuts outside it.
func TestLimitsInOrder(t *testing.T) {
	for _, th := range Threads() {
		b := th.Basic()
		for _, class := range th.BoltClasses() {
			l, err := th.Bolt(class)
			if err != nil {
				t.Fatal(err)
			}
			if !(l.Major[0] < l.Major[1] && l.Major[1] <= b.Major+1e-9 && l.Pitch[0] < l.Pitch[1] && l.Pitch[1] <= b.Pitch+1e-9 && l.Pitch[0] > b.MinorBolt) {
				t.Errorf("%s %s: %+v of %+v", th.Designation(), class, l, b)
			}
		}
		for _, class := range th.NutClasses() {
			l, err := th.Nut(class)
			if err != nil {
				t.Fatal(err)
			}
			if !(l.Minor[0] < l.Minor[1] && l.Minor[0] >= b.Minor-1e-9 && l.Minor[1] < b.Major && l.Pitch[0] < l.Pitch[1] && l.Pitch[0] >= b.Pitch-1e-9 && l.Pitch[1] < b.Major) {
				t.Errorf("%s %s: %+v of %+v", th.Designation(), class, l, b)
			}
		}
		if _, err := th.Bolt("9z"); err == nil {
			t.Errorf("%s has a class 9z", th.Designation())
		}
		for _, percent := range []float64{60, th.UsualEngagement()} {
			for _, d := range th.TapDrills(percent) {
				step := 0.2 // mm, half the widest step between drills
				if d.Diameter < 14.5 {
					step = 0.13
				}
				if step = math.Max(step, 0.25); math.Abs(d.Diameter-th.TapDrillMM(percent)) > step && th.Major < 78 {
					t.Errorf("%s: %s for %.3f", th.Designation(), d.Name, th.TapDrillMM(percent))
				}
			}
		}
		for _, f := range th.AcrossFlats() {
			if f.MM < 1.3*th.Major || f.MM > 2.9*th.Major {
				t.Errorf("%s: %g across flats", th.Designation(), f.MM)
			}
		}
	}
}

// Drill sizes rise as their numbers fall and as their letters do, and each is
// near to the other's neighbours.
func TestDrillTable(t *testing.T) {
	lastNumber, lastLetter := 1e9, 0.0
	for _, r := range rows(drillCSV) {
		d := r.mm(2)
		if r[3] == "" || r[4] != "seen" && r[4] != "memory" {
			t.Errorf("%s names no source", r[0])
		}
		if r[0][0] == '#' {
			if d >= lastNumber || lastNumber < 100 && lastNumber-d > 0.35 {
				t.Errorf("%s is %g mm after %g", r[0], d, lastNumber)
			}
			lastNumber = d
		} else {
			if d <= lastLetter || lastLetter > 0 && d-lastLetter > 0.36 {
				t.Errorf("%s is %g mm after %g", r[0], d, lastLetter)
			}
			lastLetter = d
		}
	}
}

// Other ways to write a name, and names of none or several.
func TestFind(t *testing.T) {
	for name, want := range map[string]string{
		"m8": "M8x1.25", "M8": "M8x1.25", "M8×1": "M8x1", "m10 x 1,25": "M10x1.25", "3/8-16unc": "3/8-16 UNC", "3/8 bsw": "3/8-16 BSW",
		"2ba": "2 BA", "#10-32": "#10-32 UNF", "No. 10-32": "#10-32 UNF", "1 1/8-8 UN": "1 1/8-8 UN", "1/4-26 bsf": "1/4-26 BSF", "1/2-12": "1/2-12 BSW",
	} {
		if got, err := Find(name); err != nil || got.Designation() != want {
			t.Errorf("%s: %s, %v; want %s", name, got.Designation(), err, want)
		}
	}
	for _, name := range []string{"", "M", "M9000", "3/8", "1/4-26", "BA", "x", "M8x9", "\x00"} {
		if got, err := Find(name); err == nil {
			t.Errorf("%q is %s", name, got.Designation())
		}
	}
}
