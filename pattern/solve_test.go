package pattern

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

func apart(from, to int, mm float64) Distance {
	return Distance{From: from, To: to, Value: mm, Over: Centres}
}

func solved(t testing.TB, m Measured) *Solution {
	t.Helper()
	s, err := Solve(m)
	if err != nil {
		t.Fatalf("%+v: %v", m, err)
	}
	if err := s.Reading.check(); err != nil {
		t.Fatal(err)
	}
	return s
}

// Three chords alone give the pitch circle.
func TestSolveThreeChordsAgainstPublishedValues(t *testing.T) {
	for _, row := range reference(t, "three-chords.csv") {
		a, b, c := number(t, row, "a"), number(t, row, "b"), number(t, row, "c")
		s := solved(t, Measured{Between: []Distance{apart(1, 2, a), apart(2, 3, b), apart(3, 1, c)}, DefaultU: 1e-3})
		want, tolerance := number(t, row, "pcd"), number(t, row, "tolerance")
		if got := s.Reading.PitchCircle.Diameter; math.Abs(got-want) > math.Max(tolerance, 1e-8) {
			t.Errorf("%s: %g, %g, %g give %.9g, not %.9g", row["source"], a, b, c, got, want)
		}
	}
}

// The chords of equal spaces give the pitch circle: all of them, without
// saying that they are equal, and one of them with it.
func TestSolveAgainstSpacingTable(t *testing.T) {
	for _, row := range reference(t, "chord-factors.csv") {
		n, factor := int(number(t, row, "spaces")), number(t, row, "chord_over_pcd")
		rounding := 100 * 0.00006 / factor // the table has four decimals
		var all []Distance
		for i := range n {
			all = append(all, apart(i+1, (i+1)%n+1, 100*factor))
		}
		for name, m := range map[string]Measured{
			"all chords": {Between: all},
			"one chord":  {Holes: n, Even: true, Between: []Distance{apart(1, 2, 100*factor)}},
		} {
			if n > 30 && name == "all chords" {
				continue // the same, slowly
			}
			s := solved(t, m)
			if got := s.Reading.PitchCircle.Diameter; math.Abs(got-100) > rounding {
				t.Errorf("%d spaces, %s: PCD %.4f, not 100 ±%.4f", n, name, got, rounding)
			}
			for _, g := range s.Reading.Gaps {
				if math.Abs(*g.AngleDeg-360/float64(n)) > 1e-4 {
					t.Errorf("%d spaces, %s: a gap of %.5f°", n, name, *g.AngleDeg)
				}
			}
		}
	}
}

// Four chords of neighbours: the circumradius of a cyclic quadrilateral after
// Parameshvara (15th century; geometry textbooks, from memory).
func TestSolveFourChordsInClosedForm(t *testing.T) {
	for _, q := range [][4]float64{{52, 56, 39, 60}, {25, 39, 52, 60}, {48, 47, 60, 33}, {7, 15, 20, 24}} {
		a, b, c, d := q[0], q[1], q[2], q[3]
		p := (a + b + c + d) / 2
		want := math.Sqrt((a*b+c*d)*(a*c+b*d)*(a*d+b*c)/((p-a)*(p-b)*(p-c)*(p-d))) / 2
		s := solved(t, Measured{Between: []Distance{apart(1, 2, a), apart(2, 3, b), apart(3, 4, c), apart(4, 1, d)}})
		if got := s.Reading.PitchCircle.Diameter; math.Abs(got-want) > 1e-6 {
			t.Errorf("%v: PCD %.7f, not %.7f", q, got, want)
		}
		if s.Spare != 0 {
			t.Errorf("%v: %d to spare", q, s.Spare)
		}
	}
}

// By hand: with the pitch circle known, each gap is 2 asin(chord ÷ PCD), and
// its uncertainty follows from that function's two derivatives.
func TestSolveKnownPitchCircleByHand(t *testing.T) {
	m := Measured{PCD: 96, PCDU: 0.05, Holes: 4, Between: []Distance{apart(1, 2, 48), apart(2, 3, 60), apart(3, 4, 40)}, OnCircleU: 1e-4}
	for i := range m.Between {
		m.Between[i].U = 0.03
	}
	s := solved(t, m)
	for i, d := range m.Between {
		sin := d.Value / 96
		slope := 2 / (96 * math.Sqrt(1-sin*sin))
		want, u95 := 2*math.Asin(sin)/degree, 2*math.Hypot(slope*0.03, slope*sin*0.05)/degree
		g := s.Reading.Gaps[i]
		if math.Abs(*g.AngleDeg-want) > 1e-6 || math.Abs(*g.AngleU95Deg/u95-1) > 1e-3 {
			t.Errorf("gap %s: %.6f° ±%.6f°, not %.6f° ±%.6f°", d.Name(), *g.AngleDeg, *g.AngleU95Deg, want, u95)
		}
	}
}

// Over the edges, outside less inside is twice the holes' diameter, and their
// mean is the distance of the centres.
func TestSolveOverEdgesAndPins(t *testing.T) {
	over := func(from, to int, mm float64, over Over, pin float64) Distance {
		return Distance{From: from, To: to, Value: mm, Over: over, Pins: [2]float64{pin, pin}}
	}
	s := solved(t, Measured{Between: []Distance{
		over(1, 2, 57, Outside, 0), over(1, 2, 39, Inside, 0), over(2, 3, 57, Outside, 0), over(3, 1, 40, Inside, 8)}})
	r := s.Reading
	for i, h := range r.Holes {
		// (57 − 39)/2, with u(d)² = (u² + u²)/4
		if math.Abs(h.Diameter-9) > 1e-9 || math.Abs(h.DiameterU95-0.05/math.Sqrt2) > 1e-9 {
			t.Errorf("hole %d: %.6f ±%.6f", i+1, h.Diameter, h.DiameterU95)
		}
	}
	want, _ := ThreeChords(48, 48, 48)
	if math.Abs(r.PitchCircle.Diameter-want) > 1e-9 {
		t.Errorf("PCD %.6f, not %.6f", r.PitchCircle.Diameter, want)
	}
}

// drawnFace is a face with holes off its pitch circle as makers leave them,
// and the distances that somebody measures on it.
func drawnFace(random *rand.Rand) (at []r2.Vec, m Measured) {
	n := 3 + random.IntN(6)
	radius := 20 + 80*random.Float64()
	var gaps []float64
	sum := 0.0
	for range n {
		g := 0.4 + random.Float64()
		gaps = append(gaps, g)
		sum += g
	}
	a := 0.0
	for _, g := range gaps {
		at = append(at, polar(radius+OnCircleU95/2*random.NormFloat64(), a))
		a += g * 360 / sum
	}
	m.Holes = n
	measure := func(i, j int) {
		mm := r2.Norm(r2.Sub(at[i], at[j])) + CaliperU95/2*random.NormFloat64()
		m.Between = append(m.Between, apart(i+1, j+1, mm))
	}
	for i := range n {
		measure(i, (i+1)%n)
	}
	for range 1 + random.IntN(n) {
		i := random.IntN(n)
		measure(i, (i+1+random.IntN(n-1))%n)
	}
	if random.IntN(2) == 0 {
		c, _ := pitchCircle(at)
		m.PCD = 2*c.Radius + CaliperU95/2*random.NormFloat64()
	}
	return at, m
}

// What is stated holds the truth as often as it says, and measurements that
// are all right are doubted no more often than meant.
func TestSolveCoverage(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	within, all := map[string]int{}, map[string]int{}
	doubted, refused, faces := 0, 0, 800
	for range faces {
		at, m := drawnFace(random)
		s, err := Solve(m)
		if errors.Is(err, ErrContradiction) {
			refused++
			continue
		}
		if err != nil {
			t.Fatalf("%+v: %v", m, err)
		}
		if s.P < poorP {
			doubted++
		}
		count := func(what string, truth, got, u95 float64) {
			all[what]++
			if math.Abs(truth-got) <= u95 {
				within[what]++
			}
		}
		c, _ := pitchCircle(at)
		count("PCD", 2*c.Radius, s.Reading.PitchCircle.Diameter, s.Reading.PitchCircle.DiameterU95)
		direction := func(i int) float64 { v := r2.Sub(at[i], c.Centre); return math.Atan2(v.Y, v.X) / degree }
		for i, h := range s.Reading.Holes[1:] {
			count("angles", 0, math.Remainder(*h.AngleDeg-direction(i+1)+direction(0), 360), *h.AngleU95Deg)
		}
		for _, g := range s.Reading.Chords {
			count("chords", r2.Norm(r2.Sub(at[g.From-1], at[g.To-1])), g.Chord, g.ChordU95)
		}
	}
	for what, n := range all {
		share := float64(within[what]) / float64(n)
		t.Logf("%s: %.1f %% of %d within their ±", what, 100*share, n)
		if share < 0.93 || share > 0.97 {
			t.Errorf("%s: %.1f %% of %d within their ±, 95 %% is meant", what, 100*share, n)
		}
	}
	t.Logf("doubted %d, refused %d of %d", doubted, refused, faces)
	if share := float64(doubted+refused) / float64(faces); share < 0.03 || share > 0.07 {
		t.Errorf("%.1f %% of right measurements doubted, 5 %% is meant", 100*share)
	}
	if refused > faces/200 {
		t.Errorf("%d of %d right sets of measurements refused", refused, faces)
	}
}

// A wide gap is taken to be where nothing was measured, and that is said.
func TestSolveTakesNoWideGapUnasked(t *testing.T) {
	s := solved(t, Measured{PCD: 96, Between: []Distance{apart(1, 2, 48), apart(2, 3, 60)}})
	if g := *s.Reading.Gaps[2].AngleDeg; math.Abs(g-(300-2*math.Asin(60./96)/degree)) > 1e-6 || len(s.Notes) != 1 {
		t.Errorf("the last gap is %.3f°, notes %q", g, s.Notes)
	}
	// An obtuse triangle has one, and says nothing of it.
	s = solved(t, Measured{Between: []Distance{apart(1, 2, 30), apart(2, 3, 30), apart(3, 1, 50)}})
	if g := *s.Reading.Gaps[2].AngleDeg; !(g > 180) || len(s.Notes) != 0 {
		t.Errorf("the last gap is %.3f°, notes %q", g, s.Notes)
	}
}

// One wrong measurement among enough others is named, and no other one.
func TestSolveNamesTheCulprit(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	named, wrong, missed := 0, 0, 0
	for range 150 {
		at, m := drawnFace(random)
		n := len(at)
		for i := range n { // one chord over the next hole each: well checked
			m.Between = append(m.Between, apart(i+1, (i+2)%n+1, r2.Norm(r2.Sub(at[i], at[(i+2)%n]))))
		}
		bad := random.IntN(n)
		m.Between[bad].Value += 1
		s, err := Solve(m)
		switch {
		case s == nil || !errors.Is(err, ErrContradiction):
			missed++
		case strings.HasPrefix(s.Doubt, m.Between[bad].Name()+" "):
			named++
		case strings.Contains(s.Doubt, "likely wrong"):
			wrong++
		}
	}
	t.Logf("named %d, wrongly named %d, not seen %d of 150", named, wrong, missed)
	if named < 125 || wrong > 3 || missed > 3 {
		t.Errorf("named %d, wrongly named %d, not seen %d of 150", named, wrong, missed)
	}
}

// What it says when something is missing or wrong, for a person to act on.
func TestSolveSaysWhatToDo(t *testing.T) {
	sixths := func(third float64, more ...Distance) []Distance {
		return append([]Distance{apart(1, 2, 48), apart(2, 3, 48), apart(3, 4, third), apart(4, 5, 48), apart(5, 6, 48), apart(6, 1, 48)}, more...)
	}
	var inside []Distance // hole 4 lies 1 mm inside the circle
	place := func(i int) r2.Vec {
		if i == 4 {
			return polar(47, 240)
		}
		return polar(48, float64(60*i))
	}
	for i := 1; i <= 6; i++ {
		for j := 1; j < i; j++ {
			inside = append(inside, apart(j, i, r2.Norm(r2.Sub(place(i), place(j)))))
		}
	}
	for name, c := range map[string]struct {
		m    Measured
		says []string
	}{
		"no distance to a hole": {Measured{PCD: 96, Holes: 4, Between: []Distance{apart(1, 2, 48), apart(2, 3, 48)}},
			[]string{"no distance was measured to hole 4", "Measure one more, for example"}},
		"two loose holes": {Measured{PCD: 96, Holes: 6, Between: []Distance{apart(1, 2, 48), apart(2, 3, 48), apart(3, 4, 48)}},
			[]string{"holes 5, 6 are not tied to the others", "Measure two more"}},
		"straight across": {Measured{PCD: 96, Between: []Distance{apart(1, 3, 96), apart(1, 2, 48)}},
			[]string{"hole 3 hangs by one distance, 1-3", "2-3"}},
		"no size": {Measured{Holes: 4, Between: []Distance{apart(1, 2, 48), apart(2, 3, 48), apart(3, 4, 48)}},
			[]string{"the pitch circle's diameter does not follow", "Measure one more, for example"}},
		"two patterns fit": {Measured{PCD: 96, Between: []Distance{apart(1, 2, 48), apart(1, 3, 90), apart(1, 4, 70)}},
			[]string{"two patterns fit", "Measure"}},
		"edges instead of centres": {Measured{PCD: 96, Diameter: 9, Between: sixths(57)},
			[]string{"too much", "3-4 may be wrong", "over the outer edges"}},
		"swapped digits": {Measured{PCD: 96, Between: sixths(48, apart(1, 4, 96), apart(1, 3, 83.14), apart(4, 6, 81.34))},
			[]string{"4-6 is likely wrong", "the others say 83.1", "81.34 for 83.14"}},
		"nothing to tell by": {Measured{PCD: 97.5, Between: []Distance{apart(1, 2, 48), apart(2, 3, 60), apart(3, 4, 40), apart(4, 5, 50), apart(5, 6, 45), apart(6, 1, 44)}},
			[]string{"too little", "any one of these may be wrong", "1-2, 2-3, 3-4", "PCD"}},
		"a hole off the circle": {Measured{Between: inside},
			[]string{"hole 4", "off the pitch circle", "--on-circle"}},
		"longer than the circle": {Measured{PCD: 96, Between: sixths(105)}, []string{"3-4 is 105 mm", "outer edges"}},
		"no triangle":            {Measured{Between: []Distance{apart(1, 2, 10), apart(2, 3, 10), apart(3, 1, 35)}}, []string{"3-1 is not shorter"}},
		"no polygon":             {Measured{Between: []Distance{apart(1, 2, 10), apart(2, 3, 10), apart(3, 4, 10), apart(4, 1, 35)}}, []string{"no pattern has these distances, because 4-1"}},
		"two holes":              {Measured{PCD: 96, Between: []Distance{apart(1, 2, 48)}}, []string{"opposite each other"}},
		"nothing":                {Measured{}, []string{"nothing was measured"}},
		"pitch circle alone":     {Measured{PCD: 96, Holes: 3}, []string{"do not fix the pattern"}},
		"hole beyond":            {Measured{Holes: 3, Between: []Distance{apart(1, 5, 10)}}, []string{"hole 5, but there are 3"}},
		"holes of no size":       {Measured{Between: []Distance{{From: 1, To: 2, Value: 57, Over: Outside}, {From: 2, To: 3, Value: 57, Over: Outside}, {From: 1, To: 3, Value: 57, Over: Outside}}}, []string{"a hole's diameter"}},
		"no number":              {Measured{PCD: math.NaN(), Between: sixths(48)}, []string{"cannot be NaN"}},
	} {
		_, err := Solve(c.m)
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

// handFacts are what a solution says, by the numbers the holes had before
// they were renumbered.
func handFacts(r *Reading, old func(int) int) map[string]float64 {
	f := map[string]float64{"PCD": r.PitchCircle.Diameter, "PCD ±": r.PitchCircle.DiameterU95}
	for _, c := range r.Chords {
		a, b := old(c.From), old(c.To)
		name := fmt.Sprintf("%d-%d", min(a, b), max(a, b))
		f[name], f[name+" ±"] = c.Chord, c.ChordU95
		f[name+" angle"], f[name+" angle ±"] = *c.AngleDeg, *c.AngleU95Deg
	}
	return f
}

func TestSolveMovesWithTheNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, m := drawnFace(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)))
		s, err := Solve(m)
		if err != nil {
			return // one in a thousand is refused
		}
		n := m.Holes
		by, mirror := rapid.IntRange(0, n-1).Draw(t, "by"), rapid.Bool().Draw(t, "mirror")
		zoom := rapid.SampledFrom([]float64{1, 1 / 25.4, 25.4}).Draw(t, "unit")
		renumber := func(i int) int {
			if mirror {
				i = n + 1 - i
			}
			return (i-1+by)%n + 1
		}
		old := map[int]int{}
		for i := 1; i <= n; i++ {
			old[renumber(i)] = i
		}
		other := m
		other.PCD *= zoom
		other.DefaultU, other.OnCircleU = zoom*CaliperU95/2, zoom*OnCircleU95/2
		other.Between = nil
		for _, d := range m.Between {
			other.Between = append(other.Between, Distance{From: renumber(d.To), To: renumber(d.From), Value: zoom * d.Value, Over: Centres})
		}
		s2, err := Solve(other)
		if err != nil {
			t.Fatalf("%+v became %+v: %v", m, other, err)
		}
		want, got := handFacts(s.Reading, func(i int) int { return i }), handFacts(s2.Reading, func(i int) int { return old[i] })
		for name, w := range want {
			factor := zoom
			if strings.Contains(name, "angle") {
				factor = 1
			}
			if math.Abs(got[name]-factor*w) > 1e-4*factor*math.Max(1, math.Abs(w)) {
				t.Fatalf("%s: %.7f became %.7f", name, w, got[name])
			}
		}
	})
}

// Whatever is measured, the outcome is a reading or one line.
func FuzzSolve(f *testing.F) {
	f.Add(96.0, uint8(4), false, []byte{1, 2, 48, 2, 3, 48, 3, 4, 50})
	f.Add(0.0, uint8(3), false, []byte{1, 2, 35, 2, 3, 35, 3, 1, 35})
	f.Add(0.0, uint8(0), true, []byte{1, 2, 200, 1, 3, 201})
	f.Add(50.0, uint8(9), false, []byte{1, 2, 1, 2, 65, 40, 131, 1, 35})
	f.Fuzz(func(t *testing.T, pcd float64, holes uint8, even bool, data []byte) {
		m := Measured{PCD: pcd, Holes: int(holes % 13), Even: even, Diameter: float64(holes / 13)}
		for ; len(data) >= 3 && len(m.Between) < 30; data = data[3:] {
			m.Between = append(m.Between, Distance{From: int(data[0] % 13), To: int(data[1] % 13), Value: float64(data[2]),
				Over: []Over{Centres, Centres, Outside, Inside}[data[0]/64]})
		}
		s, err := Solve(m)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "NaN mm a") {
				t.Errorf("%+v: %q", m, err)
			}
			return
		}
		if err := s.Reading.check(); err != nil {
			t.Errorf("%+v: %v", m, err)
		}
		for _, c := range s.Checks {
			if math.IsNaN(c.Adjusted+c.W+c.Checked) || math.IsInf(c.Adjusted+c.W, 0) {
				t.Errorf("%+v: %+v", m, c)
			}
		}
	})
}
