package vision

import (
	"math"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// tornStrength is the mean slope on a circle (level px) whose edge changes shade
// on the way round, in grey levels a pixel: paper that tore along a part of a hole's
// rim shows what lies behind it there, so that the rim is the step down that others
// are along one arc and a step up along the rest. The slopes of the two arcs, which
// cancel in a mean over the rim, are added up. It is 0 where one arc is not seen.
//
// The arc of a rim of slopes s is the one of the largest sum (J. Bentley, "Programming
// pearls: algorithm design techniques", CACM 27, 1984), here on a ring.
func (l level) tornStrength(at r2.Vec, radius, sign float64) float64 {
	const n = 2 // as FindAlong looks at whole rims
	u := unroll(l, circle.Circle{Centre: at, Radius: radius}, oval{}, sharpenSectors, float64(n)/2, 1)
	best := 0.0
	for i := range n {
		var slopes []float64
		for _, p := range u.profile {
			if p != nil && i+1 < len(p) {
				slopes = append(slopes, sign*(p[i+1]-p[i]))
			}
		}
		along, across := twoArcs(slopes)
		if share := along - across; -across >= leastTornArc*share && along >= leastTornArc*share {
			best = math.Max(best, share/float64(len(u.profile)))
		}
	}
	return best
}

// leastTornArc is how much of the strength of a torn rim is that of its weaker arc.
const leastTornArc = 0.2

// twoArcs parts a ring of values into two arcs, the one with the largest sum and
// the rest, and returns the sums of both.
func twoArcs(v []float64) (largest, rest float64) {
	total := 0.0
	for _, x := range v {
		total += x
	}
	// The arc lies within the ring as it is cut open, or what it leaves does.
	most, least := 0.0, 0.0
	high, low := 0.0, 0.0
	for _, x := range v {
		high, low = math.Max(high+x, 0), math.Min(low+x, 0)
		most, least = math.Max(most, high), math.Min(least, low)
	}
	largest = math.Max(most, total-least)
	return largest, total - largest
}
