package pattern

import (
	"math"
	"slices"
)

// OnPaper returns the rings of a scan with the bore's centre where the edge of its
// chamfer tells it: of two edges that were measured as one neither is where the
// mark's centre is. The bore's diameter is then doubtful by what the larger edge
// may have added.
func OnPaper(rings []Ring, choice Choice) []Ring {
	b, m := choice.Bore, choice.Mouth
	if b < 0 || m < 0 {
		return rings
	}
	out := slices.Clone(rings)
	out[b].Centre, out[b].CentreCov, out[b].Shared = rings[m].Centre, rings[m].CentreCov, rings[m].Shared
	out[b].DiameterU = math.Hypot(rings[b].DiameterU, rings[b].mixedU(rings[m]))
	return out
}

// mixedU is how much smaller, as a standard uncertainty in mm, the diameter of an
// edge may be that was measured as one with a larger one: of points of which a
// share lies on the larger the mean is off by 2√(share/(1−share)) times their
// scatter, and as far as the larger one is, where they are half and half.
func (r Ring) mixedU(larger Ring) float64 {
	return math.Min(2*r.Scatter, larger.Diameter-r.Diameter)
}
