package pattern

import (
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// chamfered tells whether holes of two sizes that hardly differ are of one make,
// the larger measured on the rim of their chamfer and the smaller at its bottom,
// or of two makes, all measured in the face: by which of the two puts them on a
// circle. It returns how deep the smaller lie, which is nothing for two makes.
// It fails where there is no such difference, or the circle does not tell.
func chamfered(rings []Ring, choice Choice) (deep map[int]float64, ok bool) {
	var on []int
	for _, h := range choice.Holes {
		if _, paired := choice.Outer[h]; paired {
			return nil, false // their depth is seen
		}
		if !slices.Contains(choice.OffCircle, h) {
			on = append(on, h)
		}
	}
	if !choice.Circle || len(on) < 5 { // a circle through three tells nothing, and through four little
		return nil, false
	}
	rim := 0.0
	for _, h := range on {
		rim = math.Max(rim, rings[h].Diameter)
	}
	deep = map[int]float64{}
	var flat, raised []r2.Vec
	most := 0.0
	for _, h := range on {
		d := (rim - rings[h].Diameter) / 2
		switch {
		case d > hardly*rim/2:
			return nil, false
		case d < sameEdge*rim/2:
			d = 0
		}
		deep[h] = d
		shift := r2.Scale(d, rings[h].Aside)
		most = math.Max(most, r2.Norm(shift))
		flat, raised = append(flat, rings[h].Centre), append(raised, r2.Sub(rings[h].Centre, shift))
	}
	if most < leastShift {
		return nil, false
	}
	asFlat, asRaised := roundness(flat), roundness(raised)
	switch {
	case asRaised < 0.5*asFlat:
		return deep, true
	case asFlat < 0.5*asRaised:
		return nil, true
	}
	return nil, false
}

// leastShift is what edges at two depths are seen aside of one another, mm, where
// it is worth asking.
const leastShift = 0.1

// roundness is how far points lie off their circle, mm, rms.
func roundness(at []r2.Vec) float64 {
	c, err := circle.LeastSquares(at, nil)
	if err != nil {
		return math.Inf(1)
	}
	sum := 0.0
	for _, p := range at {
		sum += c.Distance(p) * c.Distance(p)
	}
	return math.Sqrt(sum / float64(len(at)))
}
