package pattern

import (
	"fmt"
	"math"
	"slices"
)

// ThreeChords returns the pitch circle's diameter from the three chords
// between three of its holes, in their unit: a / sin A of the sine rule with
// cos A = (b² + c² − a²) / 2bc of the cosine rule.
//
// It is computed as abc / 2K, which is the same, with the triangle's area K
// after Kahan ("Miscalculating area and angles of a needle-like triangle",
// 2014): the cosine loses all digits where two chords nearly make up the
// third.
func ThreeChords(a, b, c float64) (pcd float64, err error) {
	for _, v := range []float64{a, b, c} {
		if !(v > 0 && v <= maxMM) {
			return 0, fmt.Errorf("a chord cannot be %g: give the distances between three holes' centres", v)
		}
	}
	sides := []float64{a, b, c}
	slices.Sort(sides)
	s, m, l := sides[0], sides[1], sides[2]
	if l >= (m+s)*(1-1e-12) { // rounding alone would make the triangle
		return 0, fmt.Errorf("chords of %g, %g and %g make no triangle: the longest is not shorter than the others together, so measure again", a, b, c)
	}
	area := math.Sqrt((l+(m+s))*(s-(l-m))*(s+(l-m))*(l+(m-s))) / 4
	if pcd = l / area * m * s / 2; !(pcd <= maxMM*maxMM) {
		return 0, fmt.Errorf("the three holes lie all but on a line (chords of %g, %g and %g): take holes further round", a, b, c)
	}
	return pcd, nil
}
