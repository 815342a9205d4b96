package circle

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The middle is the one that sorting gives, also of values that are alike.
func TestMedian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOf(rapid.OneOf(rapid.Float64Range(-1e9, 1e9), rapid.SampledFrom([]float64{0, 1, 2}))).Draw(t, "values")
		want := 0.0
		if sorted := slices.Sorted(slices.Values(v)); len(sorted) > 0 {
			want = sorted[len(sorted)/2]
		}
		if got := Median(v); got != want {
			t.Fatalf("the middle of %v is %g, want %g", v, got, want)
		}
	})
}
