package pattern

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// scanner is one with errors of its own, drawn from what home scanners have:
// the same model and figures as calib.Scan.
type scanner struct {
	u, errs [sharedTerms]float64
	random  *rand.Rand
}

func newScanner(random *rand.Rand) *scanner {
	s := &scanner{u: [sharedTerms]float64{0.002 / math.Sqrt2, 0.002 * math.Sqrt2, 0.0006}, random: random}
	for t, u := range s.u {
		s.errs[t] = u * random.NormFloat64()
	}
	return s
}

// scan is the reading of a face's holes whose page lies on the glass turned and
// shifted. own (mm) is what each coordinate is wrong by.
func (s *scanner) scan(t testing.TB, name string, face []r2.Vec, turnDeg, own float64) Named {
	t.Helper()
	sin, cos := math.Sincos(turnDeg * degree)
	shift := r2.Vec{X: 100 * s.random.Float64(), Y: 100 * s.random.Float64()}
	var rings []Ring
	choice := Choice{Outer: map[int]int{}, Bore: len(face), Rim: -1, Circle: true}
	for i, v := range append(slices.Clone(face), r2.Vec{X: 0.1}) {
		page := r2.Add(shift, r2.Vec{X: cos*v.X - sin*v.Y, Y: sin*v.X + cos*v.Y})
		ring := Ring{ID: i + 1, Diameter: 9, CentreCov: [2][2]float64{{own * own, 0}, {0, own * own}}, DiameterU: 0.1, RimSeen: 1}
		seen := r2.Add(page, r2.Vec{X: own * s.random.NormFloat64(), Y: own * s.random.NormFloat64()})
		for k, m := range sharedMoves(page, false) {
			seen = r2.Add(seen, r2.Scale(s.errs[k], m))
			ring.Shared = append(ring.Shared, r2.Scale(s.u[k], m))
			ring.SharedDiameter = append(ring.SharedDiameter, 0)
		}
		ring.Centre = seen
		rings = append(rings, ring)
		if i < len(face) {
			choice.Holes = append(choice.Holes, i)
		} else {
			rings[i].Diameter = 40
		}
	}
	r, err := New(rings, choice, Options{
		Source: Source{File: name, SHA256: name, Kind: "scan", WidthPx: 100, HeightPx: 100},
		Scale:  Scale{Method: "dpi of the file", MMPerPxX: 0.1, MMPerPxY: 0.1, URel: 0.002},
	})
	if err != nil {
		t.Fatal(err)
	}
	return Named{name, r}
}

// gearbox is the press's: uneven, so that every hole is known by its place.
func gearbox() []r2.Vec {
	var face []r2.Vec
	for _, deg := range []float64{94, 154, 214, 281, 334, 34} {
		face = append(face, polar(48, deg))
	}
	return face
}

func combined(t testing.TB, opts CombineOptions, in ...Named) *Combination {
	t.Helper()
	c, err := Combine(in, opts)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Reading.check(); err != nil {
		t.Fatal(err)
	}
	return c
}

// The part of a covariance that all holes share is found again.
func TestSharedVariances(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		s := newScanner(random)
		_, m := drawnFace(random)
		if m.Holes < 4 {
			continue
		}
		at, _ := drawnFace(random)
		if len(at) < 4 {
			continue
		}
		r := s.scan(t, "a", at, 360*random.Float64(), 0.02).Reading
		for _, side := range []*Reading{r, turnedOver(r)} {
			got := sharedVariances(side)
			for k, u := range s.u {
				if math.Abs(math.Sqrt(got[k])/u-1) > 0.02 { // the errors stretch what they are computed from
					t.Errorf("%s, term %d: %g, not %g", side.View, k, math.Sqrt(got[k]), u)
				}
			}
		}
	}
}

// With one scanner, more rubbings make angles better and the size no better;
// with several, the size too.
func TestCombineSharedScaleDoesNotShrink(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	s := newScanner(random)
	var in []Named
	for k := range 9 {
		in = append(in, s.scan(t, fmt.Sprint(k), gearbox(), 3*float64(k), 0.03))
	}
	one := in[0].PitchCircle.DiameterU95
	shared := 2 * 96 * 0.002 / math.Sqrt2
	c := combined(t, CombineOptions{}, in...)
	if got := c.Reading.PitchCircle.DiameterU95; got < shared || got > one {
		t.Errorf("nine rubbings on one scanner: PCD ±%.4f; one: ±%.4f, of which the scanner's %.4f", got, one, shared)
	}
	if got := c.Reading.Scale.URel; math.Abs(got/(0.002/math.Sqrt2)-1) > 0.1 {
		t.Errorf("scale known to %.5f, not %.5f", got, 0.002/math.Sqrt2)
	}
	each := combined(t, CombineOptions{Independent: true}, in...)
	if got := each.Reading.PitchCircle.DiameterU95; got > one/2.5 {
		t.Errorf("nine scanners: PCD ±%.4f, one: ±%.4f", got, one)
	}
}

// One caliper measurement given for every rubbing stays one: the size gets no
// better than it.
func TestCombineKnownPitchCircleDoesNotShrink(t *testing.T) {
	s := newScanner(rand.New(rand.NewPCG(21, 22)))
	known := func(name string) Named {
		var rings []Ring
		choice := Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Mouth: -1, Circle: true}
		for i, h := range s.scan(t, name, gearbox(), 0, 0.02).Holes {
			ring := Ring{ID: i + 1, Centre: r2.Vec{X: h.X, Y: h.Y}, Diameter: 9, CentreCov: [2][2]float64{{0.0004, 0}, {0, 0.0004}}}
			for k, m := range sharedMoves(ring.Centre, false) {
				ring.Shared = append(ring.Shared, r2.Scale(s.u[k], m))
				ring.SharedDiameter = append(ring.SharedDiameter, 0)
			}
			rings, choice.Holes = append(rings, ring), append(choice.Holes, i)
		}
		r, err := New(rings, choice, Options{Source: Source{File: name, SHA256: name, Kind: "scan"}, KnownPCD: 96, KnownPCDU: 0.025, Scale: Scale{Method: "dpi of the file", URel: 0.002}})
		if err != nil {
			t.Fatal(err)
		}
		if !r.knownSize() {
			t.Fatalf("scale by %q", r.Scale.Method)
		}
		return Named{name, r}
	}
	c := combined(t, CombineOptions{}, known("a"), known("b"), known("c"), known("d"))
	if got := c.Reading.PitchCircle.DiameterU95; got < 0.047 || got > 0.056 {
		t.Errorf("PCD ±%.4f from one measurement to ±0.05", got)
	}
	if c.P < poorP {
		t.Errorf("they do not agree: %s", c.Doubt)
	}
	r := s.scan(t, "e", gearbox(), 0, 0.02)
	if _, err := Combine([]Named{{"all", c.Reading}, r}, CombineOptions{}); err != nil {
		t.Error(err)
	}
	if _, err := Combine([]Named{{"all", c.Reading}, known("a")}, CombineOptions{}); err == nil || !strings.Contains(err.Error(), "already holds a") {
		t.Errorf("a twice: %v", err)
	}
}

// Pages turned to one another on the glass tell what the scanner's axes differ
// by: turned by 90°, long one way is long the other way.
func TestCombineTurnedPagesTellTheAxes(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	angleU := func(turn float64) float64 {
		s := newScanner(random)
		c := combined(t, CombineOptions{}, s.scan(t, "a", gearbox(), 0, 0.01), s.scan(t, "b", gearbox(), turn, 0.01))
		return *c.Reading.Gaps[1].AngleU95Deg
	}
	if same, turned := angleU(0), angleU(90); turned > same/3 {
		t.Errorf("a gap's angle ±%.4f° with both pages one way up, ±%.4f° with one turned", same, turned)
	}
}

// What is stated holds the truth as often as it says, for pages of one scanner
// turned at random.
func TestCombineCoverage(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	within, all := map[string]int{}, map[string]int{}
	doubted, trials := 0, 500
	for range trials {
		s := newScanner(random)
		at, _ := drawnFace(random)
		if len(at) < 4 {
			at = gearbox()
		}
		var in []Named
		for k := range 2 + random.IntN(3) {
			turn := 360 * random.Float64()
			if random.IntN(3) == 0 {
				turn = 4 * random.NormFloat64() // as people lay paper on the glass
			}
			in = append(in, s.scan(t, fmt.Sprint(k), at, turn, 0.01+0.03*random.Float64()))
		}
		c, err := Combine(in, CombineOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if c.P < poorP {
			doubted++
		}
		r := c.Reading
		count := func(what string, off, u95 float64) {
			all[what]++
			if math.Abs(off) <= u95 {
				within[what]++
			}
		}
		circle, _ := pitchCircle(at)
		count("PCD", r.PitchCircle.Diameter-2*circle.Radius, r.PitchCircle.DiameterU95)
		// The combined numbers begin anywhere: laid on the truth for names.
		way := pairings(r.points(), at, false, 2)[0]
		for _, h := range r.Chords {
			a, b := at[way.to[h.From-1]], at[way.to[h.To-1]]
			count("chords", h.Chord-r2.Norm(r2.Sub(a, b)), h.ChordU95)
		}
		direction := func(i int) float64 {
			v := r2.Sub(at[way.to[i]], circle.Centre)
			return math.Atan2(v.Y, v.X) / degree
		}
		for i, h := range r.Holes[1:] {
			count("angles", math.Remainder(*h.AngleDeg-direction(i+1)+direction(0), 360), *h.AngleU95Deg)
		}
		off := r2.Norm(r2.Sub(r2.Vec{X: 0.1}, circle.Centre))
		count("bore offset", *r.Bore.Offset-off, *r.Bore.OffsetU95)
	}
	for what, n := range all {
		share := float64(within[what]) / float64(n)
		t.Logf("%s: %.1f %% of %d within their ±", what, 100*share, n)
		most := 0.97
		if what == "bore offset" {
			most = 0.98 // it cannot be negative: see TestLengthCoverage
		}
		if share < 0.93 || share > most {
			t.Errorf("%s: %.1f %% of %d within their ±, 95 %% is meant", what, 100*share, n)
		}
	}
	t.Logf("doubted %d of %d", doubted, trials)
	if share := float64(doubted) / float64(trials); share < 0.02 || share > 0.08 {
		t.Errorf("%.1f %% of right readings doubted, 5 %% is meant", 100*share)
	}
}

// A rubbing that slipped is named, and its hole.
func TestCombineNamesTheOutlier(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	named := 0
	for range 50 {
		s := newScanner(random)
		bad := random.IntN(3)
		hole := random.IntN(6)
		var in []Named
		for k := range 3 {
			face := gearbox()
			if k == bad {
				face[hole] = r2.Add(face[hole], polar(0.35, 360*random.Float64()))
			}
			in = append(in, s.scan(t, fmt.Sprintf("%d.json", k), face, 10*random.NormFloat64(), 0.02))
		}
		c, err := Combine(in, CombineOptions{})
		if err != nil && !errors.Is(err, ErrDisagree) {
			t.Fatal(err)
		}
		if c.Parts[bad].Outlier && strings.HasPrefix(c.Doubt, in[bad].Name+" ") {
			named++
		}
		for k, p := range c.Parts {
			if p.Outlier && k != bad {
				t.Errorf("%d is blamed, not %d", k, bad)
			}
		}
	}
	if named < 45 {
		t.Errorf("the wrong rubbing was named in %d of 50", named)
	}
}

func TestCombineSaysWhatIsWrong(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 14))
	s := newScanner(random)
	scan := func(name string, face []r2.Vec) Named { return s.scan(t, name, face, 20, 0.02) }
	mirrored := gearbox()
	for i := range mirrored {
		mirrored[i].X = -mirrored[i].X
	}
	smaller := gearbox()
	for i := range smaller {
		smaller[i] = r2.Scale(0.9, smaller[i])
	}
	near := gearbox()
	near[3] = polar(48, 281.8)
	far := gearbox()
	far[3] = polar(48, 286)
	a, b := scan("a.json", gearbox()), scan("b.json", gearbox())
	hand := func(name string) Named {
		sol := solved(t, Measured{PCD: 96 + float64(len(name)), Between: []Distance{apart(1, 2, 50), apart(2, 3, 40), apart(3, 4, 60)}})
		return Named{name, sol.Reading}
	}
	for name, c := range map[string]struct {
		in   []Named
		says []string
	}{
		"one":              {[]Named{a}, []string{"two or more"}},
		"the same":         {[]Named{a, a}, []string{"same picture"}},
		"another size":     {[]Named{a, scan("c.json", smaller)}, []string{"not readings of one face", "c.json", "is the scale of one wrong?"}},
		"another hole":     {[]Named{a, scan("c.json", far)}, []string{"disagree", "of c.json lies 4.2", "of a.json"}},
		"a hole off":       {[]Named{a, scan("c.json", near)}, []string{"disagree", "a.json and c.json", "a third rubbing"}},
		"mirrored":         {[]Named{a, scan("c.json", mirrored)}, []string{"mirror image", "c.json", "--from-behind"}},
		"twice by hand":    {[]Named{hand("x"), hand("xy")}, []string{"by hand", "one boltrose solve"}},
		"zero not there":   {[]Named{a, b}, []string{"hole 9"}},
		"hand and another": {[]Named{a, hand("x")}, []string{"disagree"}},
	} {
		opts := CombineOptions{}
		if name == "zero not there" {
			opts.Zero = 9
		}
		_, err := Combine(c.in, opts)
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		for _, words := range c.says {
			if !strings.Contains(err.Error(), words) {
				t.Errorf("%s: %q is not in: %v", name, words, err)
			}
		}
	}
}

// A page read from the wrong side is turned over where most are right, and
// that is told.
func TestCombineTurnsOver(t *testing.T) {
	s := newScanner(rand.New(rand.NewPCG(15, 16)))
	mirrored := gearbox()
	for i := range mirrored {
		mirrored[i].X = -mirrored[i].X
	}
	for bad := range 3 {
		var in []Named
		for k := range 3 {
			face := gearbox()
			if k == bad {
				face = mirrored
			}
			in = append(in, s.scan(t, fmt.Sprintf("%d.json", k), face, 50*float64(k), 0.02))
		}
		c := combined(t, CombineOptions{}, in...)
		for k, p := range c.Parts {
			if p.Mirrored != (k == bad) {
				t.Errorf("%d is wrong: %s turned over: %v", bad, p.Name, p.Mirrored)
			}
		}
		if w := strings.Join(c.Reading.Warnings, "\n"); !strings.Contains(w, fmt.Sprintf("%d.json is the mirror image", bad)) {
			t.Errorf("no warning of it: %s", w)
		}
		if way := pairings(c.Reading.points(), gearbox(), false, 1); len(way) == 0 || way[0].count != 6 {
			t.Errorf("%d is wrong: the outcome is no reading of the face", bad)
		}
	}
}

// Holes that one rubbing misses are taken from the others.
func TestCombineMissingHoles(t *testing.T) {
	s := newScanner(rand.New(rand.NewPCG(17, 18)))
	c := combined(t, CombineOptions{},
		s.scan(t, "a.json", gearbox()[1:], 0, 0.02),
		s.scan(t, "b.json", gearbox()[:5], 100, 0.02))
	if len(c.Reading.Holes) != 6 {
		t.Fatalf("%d holes", len(c.Reading.Holes))
	}
	w := strings.Join(c.Reading.Warnings, "\n")
	if !strings.Contains(w, "is only in a.json") || !strings.Contains(w, "is only in b.json") {
		t.Errorf("warnings: %s", w)
	}
	way := pairings(c.Reading.points(), gearbox(), false, 1)
	if len(way) != 1 || way[0].count != 6 {
		t.Errorf("%+v", way)
	}
}

// An even pattern looks alike six ways; the pages' own way up decides, and
// that is told.
func TestCombineEvenPattern(t *testing.T) {
	s := newScanner(rand.New(rand.NewPCG(19, 20)))
	var even []r2.Vec
	for i := range 6 {
		even = append(even, polar(48, 95+60*float64(i)))
	}
	c := combined(t, CombineOptions{}, s.scan(t, "a.json", even, 0, 0.05), s.scan(t, "b.json", even, 5, 0.05))
	if math.Abs(c.Parts[1].TurnDeg-5) > 1 {
		t.Errorf("turned by %.1f°", c.Parts[1].TurnDeg)
	}
	if !strings.Contains(strings.Join(c.Reading.Warnings, "\n"), "turns about as well") {
		t.Errorf("warnings: %q", c.Reading.Warnings)
	}
}

// Where the pages of an even pattern were turned, only the person can know; or
// the holes' sizes and the bore, where they tell the turns apart.
func TestCombineEvenPatternTurned(t *testing.T) {
	var even []r2.Vec
	for i := range 6 {
		even = append(even, polar(48, 95+60*float64(i)))
	}
	for _, turn := range []float64{60, 120, 180, 300} {
		s := newScanner(rand.New(rand.NewPCG(21, uint64(turn))))
		in := []Named{s.scan(t, "a.json", even, 0, 0.05), s.scan(t, "b.json", even, turn+8, 0.05), s.scan(t, "c.json", even, 5, 0.05)}
		c := combined(t, CombineOptions{Turned: []float64{0, turn, 0}}, in...)
		if off := math.Remainder(c.Parts[1].TurnDeg-turn-8, 360); math.Abs(off) > 1 {
			t.Errorf("turned by %g°: taken for %.1f°", turn+8, c.Parts[1].TurnDeg)
		}
		if w := strings.Join(c.Reading.Warnings, "\n"); !strings.Contains(w, "as you said") || !strings.Contains(w, fmt.Sprintf("about %.0f° further", turn)) {
			t.Errorf("warnings: %q", w)
		}
	}
	// A bore far off the middle, and two sizes of holes.
	for name, mark := range map[string]func(*Reading, float64){
		"bore": func(r *Reading, turn float64) {
			at := polar(2, turn)
			r.Bore.X, r.Bore.Y = at.X, at.Y
		},
		"sizes": func(r *Reading, turn float64) {
			for i, h := range r.Holes {
				if at := polar(48, 95+turn); math.Hypot(h.X-at.X, h.Y-at.Y) < 5 {
					r.Holes[i].Diameter = 16
				}
			}
		},
	} {
		s := newScanner(rand.New(rand.NewPCG(22, 23)))
		a, b := s.scan(t, "a.json", even, 0, 0.05), s.scan(t, "b.json", even, 120, 0.05)
		mark(a.Reading, 0)
		mark(b.Reading, 120)
		c := combined(t, CombineOptions{}, a, b)
		if math.Abs(c.Parts[1].TurnDeg-120) > 1 || strings.Contains(strings.Join(c.Reading.Warnings, "\n"), "as well") {
			t.Errorf("by its %s: turned by %.1f°, %q", name, c.Parts[1].TurnDeg, c.Reading.Warnings)
		}
	}
	if _, err := Combine([]Named{{"a", gearboxReading(t)}, {"b", gearboxReading(t)}}, CombineOptions{Turned: []float64{1}}); err == nil {
		t.Error("one turn for two readings will do")
	}
}

func gearboxReading(t *testing.T) *Reading {
	s := newScanner(rand.New(rand.NewPCG(5, rand.Uint64())))
	return s.scan(t, "x", gearbox(), 0, 0.05).Reading
}

// The outcome does not depend on the order of the readings, on how the face
// lies on the pages, or on the side from which all are seen.
func TestCombineMovesWithTheFace(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64().Draw(rt, "seed")
		turns := []float64{rapid.Float64Range(0, 360).Draw(rt, "a"), rapid.Float64Range(0, 360).Draw(rt, "b"), rapid.Float64Range(0, 360).Draw(rt, "c")}
		s := newScanner(rand.New(rand.NewPCG(seed, 1)))
		var in []Named
		for k, turn := range turns {
			in = append(in, s.scan(t, fmt.Sprint(k), gearbox(), turn, 0.02))
		}
		want, err := Combine(in, CombineOptions{})
		if err != nil {
			return
		}
		facts := func(c *Combination) []float64 {
			f := []float64{c.ChiSquare, c.RepeatMM, c.Reading.PitchCircle.Diameter, c.Reading.PitchCircle.DiameterU95}
			var chords, us []float64
			for _, s := range c.Reading.Chords {
				chords, us = append(chords, s.Chord), append(us, s.ChordU95)
			}
			slices.Sort(chords)
			slices.Sort(us)
			return append(append(f, chords...), us...)
		}
		check := func(what string, got *Combination, err error) {
			if err != nil {
				rt.Fatalf("%s: %v", what, err)
			}
			a, b := facts(want), facts(got)
			for i := range a {
				if math.Abs(a[i]-b[i]) > 1e-4*math.Max(1, math.Abs(a[i])) {
					rt.Fatalf("%s: %.6f became %.6f (%d)", what, a[i], b[i], i)
				}
			}
		}
		got, err := Combine([]Named{in[2], in[0], in[1]}, CombineOptions{})
		check("order", got, err)
		var over []Named
		for _, r := range in {
			over = append(over, Named{r.Name, turnedOver(r.Reading)})
		}
		got, err = Combine(over, CombineOptions{})
		check("turned over", got, err)
	})
}

// Whatever the readings hold, the outcome is a reading or one line.
func FuzzCombine(f *testing.F) {
	f.Add(uint64(1), 0.02, 0.0, uint8(6), uint8(6))
	f.Add(uint64(2), 0.0, 180.0, uint8(2), uint8(3))
	f.Add(uint64(3), 5.0, 33.0, uint8(9), uint8(4))
	f.Fuzz(func(t *testing.T, seed uint64, own, turn float64, n, m uint8) {
		if !(own >= 0 && own < 10) || !(math.Abs(turn) < 1e4) {
			return
		}
		random := rand.New(rand.NewPCG(seed, 2))
		s := newScanner(random)
		face := func(n uint8) (out []r2.Vec) {
			for i := range 2 + int(n%10) {
				out = append(out, polar(20+random.Float64(), 360*float64(i)/float64(2+int(n%10))+own))
			}
			return out
		}
		c, err := Combine([]Named{s.scan(t, "a", face(n), 0, own/50), s.scan(t, "b", face(n), turn, own), s.scan(t, "c", face(m), -turn, own)}, CombineOptions{Independent: seed%2 == 0})
		if err != nil {
			if strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "NaN") {
				t.Errorf("%q", err)
			}
			return
		}
		if err := c.Reading.check(); err != nil {
			t.Error(err)
		}
		if math.IsNaN(c.ChiSquare + c.P + c.RepeatMM + c.RepeatDeg) {
			t.Errorf("%+v", c)
		}
	})
}
