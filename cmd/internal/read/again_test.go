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

// A mark that mixes two edges does not stand for one of them, however near it is;
// one as crisp does.
func TestKnowsMixture(t *testing.T) {
	r := &Result{Marks: []vision.Mark{{Kind: vision.Lighter, Radius: 47, Scatter: 1.4}}}
	crisp := vision.Mark{Kind: vision.Lighter, Radius: 49, Scatter: 0.5}
	if r.knows(crisp) {
		t.Error("a crisp edge is taken for the mixture")
	}
	r.Marks[0].Scatter = 0.6
	if !r.knows(crisp) {
		t.Error("the same edge is taken for another")
	}
}

// What a hole is measured against is the crispest of those that may be of its drill.
func TestCrispest(t *testing.T) {
	r := &Result{}
	r.seen = []vision.Mark{{Radius: 95, Scatter: 3}, {Radius: 100, Scatter: 0.6}, {Radius: 101, Scatter: 0.4}, {Radius: 150, Scatter: 0.2}}
	all := []int{0, 1, 2, 3}
	if best, ok := r.crispest(0, all); !ok || best != 2 {
		t.Errorf("hole %d, %v", best, ok)
	}
	if best, ok := r.crispest(3, all); ok {
		t.Errorf("hole %d is as large as one half larger", best)
	}
}
