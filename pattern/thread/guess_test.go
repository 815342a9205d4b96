package thread

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The hole of a known bolt brings the bolt up (ISO 273 and ASME B18.2.8, as in
// the table of clearance holes; tapped holes are seen between minor and major).
func TestGuessHole(t *testing.T) {
	names := func(all []HoleGuess) (out []string) {
		for _, g := range all {
			out = append(out, g.Designation)
		}
		return out
	}
	for _, c := range []struct {
		d, u95            float64
		clearance, tapped string // the first of each
	}{
		{9.0, 0.05, "M8", "M10x1.5"},
		{11.0, 0.1, "M10", "M12x1.75"},
		{6.6, 0.1, "M6", "5/16-18 UNC"},
		{13.5, 0.1, "M12", "M16x2"},
	} {
		clearance, tapped := GuessHole(c.d, c.u95)
		if len(clearance) == 0 || clearance[0].Designation != c.clearance {
			t.Errorf("%g: %v", c.d, clearance)
		}
		if c.d == 9.0 && !slices.Contains(names(tapped), c.tapped) {
			t.Errorf("%g: tapped %v", c.d, tapped)
		}
		if len(clearance) > guesses || len(tapped) > guesses {
			t.Errorf("%g: too many guesses", c.d)
		}
	}
	if clearance, tapped := GuessHole(400, 0.5); len(clearance)+len(tapped) != 0 {
		t.Errorf("a bore of 400 mm is for %v or %v", clearance, tapped)
	}
}

// Every clearance hole of the tables, measured well, brings its bolt up.
func TestGuessEveryHole(t *testing.T) {
	for _, c := range Clearances() {
		if !slices.Contains(preferredSizes, c.Size) {
			continue
		}
		got, _ := GuessHole(c.Holes[Normal], 0.02)
		name := c.Size
		if name[0] != 'M' {
			name += " inch"
		}
		if !slices.ContainsFunc(got, func(g HoleGuess) bool { return g.Designation == name }) {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// What is guessed lies near what was measured.
func TestGuessHoleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, u := rapid.Float64Range(0.5, 60).Draw(t, "d"), rapid.Float64Range(0, 1).Draw(t, "u")
		near := max(u, 0.1)
		clearance, tapped := GuessHole(d, u)
		for _, g := range clearance {
			if g.MM < d-near-1e-9 || g.MM > d+near+1e-9 {
				t.Fatalf("%v for %g ±%g", g, d, u)
			}
		}
		for _, g := range tapped {
			th, err := Find(g.Designation)
			if err != nil || d < th.Basic().Minor-near-1e-9 || d > th.Major+near+1e-9 {
				t.Fatalf("%v for %g ±%g: %v", g, d, u, err)
			}
		}
	})
}
