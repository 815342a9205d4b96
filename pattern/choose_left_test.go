package pattern

import (
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// A clear circle of the face that no rule takes for a hole is told, for it may be
// one; one beyond the rim, or of which half the edge is seen, is not.
func TestClearMarkLeftOutIsTold(t *testing.T) {
	for _, c := range []struct {
		name     string
		away     float64 // mm from the middle
		diameter float64
		seen     float64
		want     bool
	}{
		{"close beside a hole", 35.8, 12, 1, true}, // as near as no two holes are supposed to be
		{"seen by half", 35.8, 12, 0.5, false},
		{"beyond the rim", 75, 17, 1, false},
	} {
		f := rub(73)
		f.holes(96, 12, even6...)
		f.add("rim", middle, 130).Contrast = -25
		f.add("odd", r2.Add(middle, polar(c.away, 20)), c.diameter).RimSeen = c.seen
		choice := f.choose(t, ChooseOptions{})
		if told := slices.ContainsFunc(choice.Warnings, func(w string) bool { return strings.HasPrefix(w, "left out, though") }); told != c.want {
			t.Errorf("%s: told %v, want %v: %q", c.name, told, c.want, choice.Warnings)
		}
	}
}
