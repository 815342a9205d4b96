package read_test

import (
	"testing"

	"boltrose/samples"
)

// Of a face with two circles of holes, of two sizes and without a rim, all holes are
// read, whichever circle is the clearer: without its second circle half of each of
// these would be missing.
func TestTwoCirclesOfHoles(t *testing.T) {
	face := samples.Ring(6, 96, 9)
	face.Holes = append(face.Holes, samples.Keyed(60, []float64{70, 130, 190, 250, 310, 10}, 5).Holes...)
	for _, seed := range []uint64{6, 14} {
		if n := len(readingOf(t, face, seed, 150).Holes); n != 12 {
			t.Errorf("seed %d: %d holes, want 12", seed, n)
		}
	}
}
