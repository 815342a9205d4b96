package thread

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func best(t *testing.T, m Measured) (*Identified, string) {
	t.Helper()
	id, err := Identify(m)
	if err != nil {
		t.Fatal(err)
	}
	if len(id.Candidates) == 0 {
		return id, ""
	}
	return id, id.Candidates[0].Designation()
}

func groupOf(id *Identified) string {
	var s []string
	for _, g := range id.Ambiguous {
		for _, t := range g {
			s = append(s, t.Designation())
		}
	}
	return strings.Join(s, ", ")
}

// Pairs that the trade knows as alike (common practice), and the usual
// confusions.
func TestIdentify(t *testing.T) {
	tpi := func(n float64) Value { return Value{V: inch / n} }
	for _, c := range []struct {
		what  string
		m     Measured
		first string
		group string
	}{
		{"UNC and BSW at 16 threads", Measured{Pitch: tpi(16), Major: Value{V: 9.4}}, "3/8-16 UNC", "3/8-16 UNC, 3/8-16 BSW"},
		{"decided by the angle", Measured{Pitch: tpi(16), Major: Value{V: 9.4}, FlankDeg: Value{V: 55, U95: 2}}, "3/8-16 BSW", ""},
		{"1/2 inch is not alike", Measured{Pitch: tpi(12), Major: Value{V: 12.6}}, "1/2-12 BSW", ""},
		{"13 threads", Measured{Pitch: tpi(13), Major: Value{V: 12.6}}, "1/2-13 UNC", ""},
		{"three with 26", Measured{Pitch: tpi(26), Major: Value{V: 6.3}}, "1/4-26 BSF", "1/4-26 BSF, 1/4-26 BSC, 1/4-26 BSB"},
		{"M8", Measured{Pitch: Value{V: 1.25}, Major: Value{V: 7.85}}, "M8x1.25", ""},
		{"M8 worn by a tenth", Measured{Pitch: Value{V: 1.25}, Major: Value{V: 7.68}}, "M8x1.25", ""},
		{"0 BA and M6", Measured{Pitch: Value{V: 1}, Major: Value{V: 5.9}}, "M6x1", "M6x1, 0 BA"},
		{"0 BA by its angle", Measured{Pitch: Value{V: 1}, Major: Value{V: 5.9}, FlankDeg: Value{V: 48, U95: 3}}, "0 BA", ""},
		{"a hole for M10", Measured{Pitch: Value{V: 1.5}, Minor: Value{V: 8.5}}, "M10x1.5", ""},
		{"a strained bolt", Measured{Pitch: Value{V: 1.756, U95: 0.01}, Major: Value{V: 11.8}}, "M12x1.75", ""},
		{"number ten", Measured{Pitch: tpi(32), Major: Value{V: 4.8}}, "#10-32 UNF", "#10-32 UNF, M5x0.8, 3/16-32 BSF, 3/16-32 BSC"},
	} {
		id, first := best(t, c.m)
		if first != c.first || groupOf(id) != c.group {
			t.Errorf("%s: %s (%s), want %s (%s)", c.what, first, groupOf(id), c.first, c.group)
		}
	}
}

// Wear is believed on one side only: a bolt that is too thick, a hole that is
// too narrow or a pitch that is too short is out where the other way is not.
func TestWearIsOneSided(t *testing.T) {
	m8, _ := Find("M8")
	bolt, _ := m8.Bolt("")
	hole, _ := m8.Nut("")
	const off = 0.15
	in := func(m Measured) bool { return m8.against(m.Completed()).Out == "" }
	for what, pair := range map[string][2]Measured{
		"crests": {{Major: Value{V: bolt.Major[0] - off}}, {Major: Value{V: bolt.Major[1] + off}}},
		"hole":   {{Minor: Value{V: hole.Minor[1] + 0.2}}, {Minor: Value{V: hole.Minor[0] - 0.2}}},
		"pitch":  {{Pitch: Value{V: 1.256, U95: 0.002}}, {Pitch: Value{V: 1.244, U95: 0.002}}},
	} {
		if !in(pair[0]) || in(pair[1]) {
			t.Errorf("%s: worn %v, the other way %v", what, in(pair[0]), in(pair[1]))
		}
	}
}

// Of those that fit alike, the commoner come first: M10x1, which ISO 262 selects,
// before M9x1, which only ISO 261 has.
func TestCommonFirst(t *testing.T) {
	id, first := best(t, Measured{Pitch: Value{V: 1}})
	place := func(name string) int {
		return slices.IndexFunc(id.Candidates, func(c Candidate) bool { return c.Designation() == name })
	}
	if first != "M6x1" || place("M10x1") < 0 || place("M10x1") > place("M9x1") {
		t.Errorf("%s first, M10x1 at %d, M9x1 at %d", first, place("M10x1"), place("M9x1"))
	}
}

// Each thread of the tables, measured without error, is among the candidates
// that fit best.
func TestEveryThreadIsFound(t *testing.T) {
	for _, th := range Threads() {
		bolt, _ := th.Bolt("")
		u := Value{V: th.Pitch, U95: 0.002 * th.Pitch}
		id, err := Identify(Measured{Pitch: u, Major: Value{V: (bolt.Major[0] + bolt.Major[1]) / 2, U95: 0.02}, FlankDeg: Value{V: th.Form().AngleDeg, U95: 1}})
		if err != nil {
			t.Fatalf("%s: %v", th.Designation(), err)
		}
		if !slices.ContainsFunc(id.Candidates, func(c Candidate) bool { return c.Thread == th && c.chi2 < 1e-12 }) {
			t.Errorf("%s is not found", th.Designation())
		}
	}
}

// What cannot be is told in one line.
func TestMeasuredCheck(t *testing.T) {
	for _, c := range []struct {
		m    Measured
		want string
	}{
		{Measured{}, "nothing was measured"},
		{Measured{Pitch: Value{V: -1}}, "is none"},
		{Measured{Pitch: Value{V: 16}}, "--tpi"},
		{Measured{Pitch: Value{V: math.NaN()}}, "is none"},
		{Measured{Major: Value{V: 9999}}, "is none"},
		{Measured{Major: Value{V: 9, U95: 6}}, "no measurement"},
		{Measured{Pitch: Value{V: 5}, Major: Value{V: 6}}, "too coarse"},
		{Measured{Major: Value{V: 8}, Minor: Value{V: 9}}, "right way round"},
		{Measured{Major: Value{V: 20}, Minor: Value{V: 6}}, "far too small"},
		{Measured{Major: Value{V: 8}, FlankDeg: Value{V: 5}}, "flank angle"},
	} {
		_, err := Identify(c.m)
		if !errors.Is(err, ErrMeasured) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: %v", c.m, err)
		}
	}
}

// Drift and gauge: M5 and 10-32 differ by 0.00625 mm a tooth, so that 16 teeth
// make 0.1 mm; of 1.25 mm and 20 threads an inch 5 teeth do.
func TestTell(t *testing.T) {
	find := func(name string) Thread {
		th, err := Find(name)
		if err != nil {
			t.Fatal(err)
		}
		return th
	}
	for _, c := range []struct {
		a, b  string
		drift float64
		teeth int
	}{
		{"M5", "#10-32 UNF", 0.00625, 16}, {"M8", "7/16-20 UNF", 0.02, 5}, {"3/8-16 UNC", "3/8-16 BSW", 0, 0}, {"1/2-13 UNC", "1/2-12 BSW", 0.16282, 1},
	} {
		a, b := find(c.a), find(c.b)
		if d := Drift(a, b); math.Abs(d-c.drift) > 1e-5 || TeethToTell(a, b) != c.teeth || TeethToTell(b, a) != c.teeth {
			t.Errorf("%s, %s: %g a tooth, %d teeth", c.a, c.b, d, TeethToTell(a, b))
		}
	}
	// Common practice: 3/8 UNC and BSW go together, 1/2 UNC and BSW do not;
	// M8 fine and the cycle's 5/16 go together for some turns.
	if b := BindOf(find("3/8-16 UNC"), find("3/8-16 BSW")); !b.Starts || !b.Forever {
		t.Errorf("%+v", b)
	}
	if b := BindOf(find("1/2-13 UNC"), find("1/2-12 BSW")); b.Starts && b.Most > 1.5 {
		t.Errorf("%+v", b)
	}
	if b := BindOf(find("M8x1"), find("5/16-26 BSC")); !b.Starts || b.Turns < 2 || b.Most > 12 {
		t.Errorf("%+v", b)
	}
	if b := BindOf(find("M10"), find("M8")); b.Starts {
		t.Errorf("%+v", b)
	}
	if s := Tell(find("1/4-26 BSF"), find("1/4-26 BSB")); !strings.Contains(s, "same thread") {
		t.Error(s)
	}
	// Either may be the bolt; what a nut is too short to stop is said.
	if s := Tell(find("M5"), find("#10-32 UNF")); !strings.Contains(s, "a bolt M5x0.8 in a nut #10-32 UNF does not start") ||
		!strings.Contains(s, "a bolt #10-32 UNF in a nut M5x0.8 binds after 27 turns or so (at most 37), and a common nut has 5: it may go on") {
		t.Error(s)
	}
	if s := Tell(find("M10"), find("3/8-16 UNC")); !strings.Contains(s, "binds after 5 turns or so (at most 6);") && !strings.HasSuffix(s, "binds after 5 turns or so (at most 6), and a common nut has 5: it may go on as if it were right, and holds on few of its turns") {
		t.Error(s)
	}
	for _, pair := range [][2]string{{"3/8-16 UNC", "3/8-16 BSW"}, {"M5", "#10-32 UNF"}} {
		if s := Tell(find(pair[0]), find(pair[1])); strings.Contains(s, "\n") || !strings.Contains(s, "across flats") {
			t.Error(s)
		}
	}
}

// Properties of any measurement that can be: the candidates' scores fall and
// with the others' make one; a smaller ± lets no more in.
func TestIdentifyProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		th := rapid.SampledFrom(Threads()).Draw(t, "thread")
		u := rapid.Float64Range(0.0005, 0.02).Draw(t, "u") * th.Pitch
		off := rapid.Float64Range(-2, 2).Draw(t, "off")
		m := Measured{Pitch: Value{V: th.Pitch + off*u, U95: u}}
		if rapid.Bool().Draw(t, "major too") {
			m.Major = Value{V: th.Major * rapid.Float64Range(0.95, 1.02).Draw(t, "major"), U95: 0.05}
		}
		id, err := Identify(m)
		if err != nil {
			t.Skip(err)
		}
		if len(id.Candidates)+len(id.Others) != len(Threads()) {
			t.Fatalf("%d and %d", len(id.Candidates), len(id.Others))
		}
		sum, before := 0.0, math.Inf(1)
		for _, c := range id.Candidates {
			if c.Score > before+1e-12 {
				t.Fatalf("%s scores more than the one before", c.Designation())
			}
			before = c.Score
			sum += c.Score
		}
		for _, c := range id.Others {
			if c.Out == "" {
				t.Fatalf("%s is out for nothing", c.Designation())
			}
			sum += c.Score
		}
		if !(math.Abs(sum-1) < 1e-9) && sum != 0 {
			t.Fatalf("scores make %g", sum)
		}
		m.Pitch.U95 /= 2
		tighter, err := Identify(m)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range tighter.Candidates {
			if !slices.ContainsFunc(id.Candidates, func(o Candidate) bool { return o.Thread == c.Thread }) {
				t.Fatalf("%s is let in by a smaller ±", c.Designation())
			}
		}
	})
}

// Whatever is asked for, finding ends in a thread of that name or in one line.
func FuzzFind(f *testing.F) {
	for _, s := range []string{"M8", "M8x1.25", "3/8-16 UNC", "2 BA", "#10-32", "1 1/8-8 UN", "-", "", "M", "BA"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		th, err := Find(s)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\r\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		if th.Major <= 0 || th.Pitch <= 0 {
			t.Errorf("%q is %+v", s, th)
		}
	})
}

// Turns until a wrong pair binds against the two profiles laid on one another,
// cut into many radii: ridges of one pitch fit into grooves of another as long
// as what they run apart is less than the play to both sides.
func TestBindAgainstProfiles(t *testing.T) {
	for _, c := range [][2]string{
		{"#10-32 UNF", "M5"}, {"M8x1", "5/16-26 BSC"}, {"7/16-20 UNF", "M12x1.25"}, {"1/4-20 UNC", "1/4-20 BSW"}, {"M6", "0 BA"}, {"M10x1.5", "3/8-16 UNC"}, {"3/8-16 UNC", "M10x1.5"},
	} {
		bolt, err := Find(c[0])
		if err != nil {
			t.Fatal(err)
		}
		nut, err := Find(c[1])
		if err != nil {
			t.Fatal(err)
		}
		got := BindOf(bolt, nut)
		male, _ := bolt.Bolt("")
		female, _ := nut.Nut("")
		turns := func(e1, e2 float64) float64 {
			// Where both have flanks.
			lo := math.Max(bolt.Basic().Minor, nut.Basic().Minor) / 2
			hi := math.Min(bolt.Major, nut.Major) / 2
			play := math.Inf(1)
			for k := range 101 {
				r := lo + (hi-lo)*float64(k)/100
				ridge := bolt.Pitch/4 - (r-e1/2)*math.Tan(bolt.Form().half())
				groove := nut.Pitch/4 - (r-e2/2)*math.Tan(nut.Form().half())
				play = math.Min(play, groove-ridge)
			}
			return 2 * play / Drift(bolt, nut)
		}
		middle, most := turns((male.Pitch[0]+male.Pitch[1])/2, (female.Pitch[0]+female.Pitch[1])/2), turns(male.Pitch[0], female.Pitch[1])
		t.Logf("%s in %s: %+v, by the profiles %.1f, at most %.1f", c[0], c[1], got, middle, most)
		switch {
		case Drift(bolt, nut) < 1e-9:
			if got.Starts != (most > 0) {
				t.Errorf("%s in %s: %+v, by the profiles at most %g", c[0], c[1], got, most)
			}
		case !got.Starts:
		case math.Abs(got.Turns-math.Max(middle, 0)) > 1+0.15*middle || math.Abs(got.Most-most) > 1+0.15*most:
			t.Errorf("%s in %s: %+v, by the profiles %.1f, at most %.1f", c[0], c[1], got, middle, most)
		}
	}
}
