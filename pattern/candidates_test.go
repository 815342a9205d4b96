package pattern

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The table in the program is the table with its sources.
func TestStandardsAreTheTable(t *testing.T) {
	rows := reference(t, "flange-patterns.csv")
	if len(rows) != len(standards) {
		t.Fatalf("%d rows, %d standards", len(rows), len(standards))
	}
	for i, row := range rows {
		s := standards[i]
		want := standard{row["standard"] + " " + row["name"], number(t, row, "pcd"), row["unit"] == "in", int(number(t, row, "holes")), row["source"]}
		if s != want {
			t.Errorf("%+v, want %+v", s, want)
		}
	}
}

// Every published flange, read by a scanner as good as its PCD's ± allows, is
// among the first candidates; the measured value stays.
func TestPublishedFlangesAreFound(t *testing.T) {
	for _, row := range reference(t, "flange-patterns.csv") {
		unit := map[string]float64{"mm": 1, "in": inch}[row["unit"]]
		pcd, n := unit*number(t, row, "pcd"), int(number(t, row, "holes"))
		found := 0
		const draws = 20
		for k := range draws {
			random := rand.New(rand.NewPCG(uint64(k), 7))
			r := simulated(t, random, pcd, anyEven(random, n), 0.03, 0.02)
			before := *r.PitchCircle
			r.Guess()
			if *r.PitchCircle != before {
				t.Fatal("the measured value was replaced")
			}
			at := slices.IndexFunc(r.Candidates.PCD, func(c PCDCandidate) bool {
				return c.Text == row["standard"]+" "+row["name"] && math.Abs(c.MM-pcd) < 1e-9 && c.Source == row["source"]
			})
			if at == 0 {
				found++
			}
		}
		if found < draws*80/100 {
			t.Errorf("%s %s: first %d times of %d", row["standard"], row["name"], found, draws)
		}
	}
}

// What was drawn round is ranked first, or nearly, whenever the ± can tell.
func TestRoundValuesAreFound(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 4))
	for _, c := range []struct {
		pcd  float64
		text string
	}{{96, "96 mm"}, {120, "120 mm"}, {75, "75 mm"}, {101.6, "4 in"}, {95.25, "3 3/4 in"}} {
		first, listed := 0, 0
		const draws = 60
		for range draws {
			// Irregular, so that no standard comes between.
			r := simulated(t, random, c.pcd, []float64{90, 150, 210, 277, 330, 30}, 0.03, 0.02)
			for i, q := range r.Candidates.PCD {
				if q.Text == c.text {
					listed++
					if i == 0 {
						first++
					}
				}
			}
		}
		t.Logf("%s: listed %d, first %d of %d", c.text, listed, first, draws)
		if listed < draws*85/100 {
			t.Errorf("%s is listed %d times of %d", c.text, listed, draws)
		}
	}
}

func TestAngleCandidates(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 4))
	right, total := 0, 0
	for range 60 {
		r := simulated(t, random, 96, []float64{90, 150, 210, 277, 330, 30}, 0.02, 0.015)
		for _, a := range r.Candidates.Angles {
			want := []float64{0, 60, 120, 187, 240, 300}[a.Hole-1]
			if total++; a.Deg == want {
				right++
			}
		}
	}
	if total < 250 || right < total*85/100 {
		t.Errorf("%d of %d are right", right, total)
	}
}

func TestInchText(t *testing.T) {
	for k, want := range map[int]string{64: "1 in", 96: "1 1/2 in", 240: "3 3/4 in", 33: "33/64 in", 241: "3 49/64 in", 2: "1/32 in"} {
		if got := inchText(k); got != want {
			t.Errorf("%d/64: %s, want %s", k, got, want)
		}
	}
}

// All candidates lie within the stated ± unless they say otherwise, their
// shares are in order, and all of half a millimetre and a 64th are counted.
func TestCandidatesLieWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		r := read(t, withScale(rings, rapid.SampledFrom([]float64{0, 0.0003, 0.002}).Draw(t, "scale"), rings[0].Centre), choice, Options{})
		c, d, u := r.Candidates, r.PitchCircle.Diameter, r.PitchCircle.DiameterU95
		share := math.Inf(1)
		for i, q := range c.PCD {
			if q.Beyond != (math.Abs(q.Off) > u+1e-9) || math.Abs(q.MM-d-q.Off) > 1e-9 || q.Share > share || q.Share < 0 {
				t.Fatalf("candidate %d of %g ± %g: %+v", i, d, u, q)
			}
			share = q.Share
		}
		steps := 0
		for _, step := range []float64{0.5, inch / 64} {
			steps += int(math.Floor((d+u)/step+1e-9) - math.Ceil((d-u)/step-1e-9) + 1)
		}
		if steps > 0 && len(c.PCD) > 0 && (c.PCDCount < steps || c.PCDCount > steps+5) {
			t.Fatalf("%d candidates for %g ± %g, want about %d", c.PCDCount, d, u, steps)
		}
		for _, a := range c.Angles {
			h := r.Holes[a.Hole-1]
			off := math.Mod(a.Deg-*h.AngleDeg+540, 360) - 180
			if math.Abs(off-a.Off) > 1e-6 || a.Beyond != (math.Abs(a.Off) > *h.AngleU95Deg+1e-9) || math.Abs(math.Mod(a.Deg+1e-9, a.Step)) > 1e-6 {
				t.Fatalf("hole %d at %g° ± %g°: %+v", h.ID, *h.AngleDeg, *h.AngleU95Deg, a)
			}
		}
	})
}
