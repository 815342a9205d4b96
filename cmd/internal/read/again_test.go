package read

import (
	"slices"
	"testing"

	"boltrose/pattern"
	"boltrose/vision"
)

// Each size that several holes have is looked for by its clearest hole; one
// odd circle, clear as it may be, is no size.
func TestSizes(t *testing.T) {
	r := &Result{}
	for _, h := range []struct{ d, score, seen float64 }{{9, 20, 0.8}, {9.2, 20, 1}, {6, 12, 1}, {27, 60, 1}, {5.8, 9, 1}, {8.9, 15, 1}} {
		r.Rings = append(r.Rings, pattern.Ring{Diameter: h.d, Score: h.score, RimSeen: h.seen})
	}
	if got := r.sizes([]int{0, 1, 2, 3, 4, 5}); !slices.Equal(got, []int{1, 2}) {
		t.Errorf("sizes by the holes %v", got)
	}
}

// A hole is ragged beside the best ones, even where most are.
func TestRagged(t *testing.T) {
	r := &Result{}
	for _, scatter := range []float64{0.4, 0.5, 3, 3.2, 3.1, 0.45, 3} {
		r.seen = append(r.seen, vision.Mark{Radius: 100, Scatter: scatter})
	}
	all := []int{0, 1, 2, 3, 4, 5, 6}
	for i, want := range []bool{false, false, true, true, true, false, true} {
		if r.ragged(i, all) != want {
			t.Errorf("hole %d of scatter %g: %v", i, r.seen[i].Scatter, !want)
		}
	}
}
