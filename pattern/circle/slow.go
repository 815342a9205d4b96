package circle

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// arcs is the number of stretches of rim whose mean distances are compared.
const arcs = 12

// SlowSigma returns the standard deviation that independent points of unit
// weight would need so that the mean distances of whole arcs (a twelfth of
// the rim each) from the circle scatter as they do. It is what belongs into
// Cov when neighbouring points err together (a pencil stroke, a fibre of the
// paper): their number is then not the number of independent looks. It is
// never less than what the points' own scatter says.
//
// This is the method of batch means: the variance of means of stretches
// longer than the correlation, times their weight, estimates the spectral
// density at low frequencies, which is what moves the centre.
func (f Fit) SlowSigma(points []r2.Vec) float64 {
	var weight, sum [arcs]float64
	own, n := 0.0, 0
	for i, p := range points {
		w := f.Weights[i]
		if w <= 0 {
			continue
		}
		v := r2.Sub(p, f.Centre)
		turn := math.Atan2(v.Y, v.X)/(2*math.Pi) + 1
		a := int(turn*arcs) % arcs
		d := f.Distance(p)
		weight[a] += w
		sum[a] += w * d
		own += w * d * d
		n++
	}
	slow, filled := 0.0, 0
	for a := range arcs {
		if weight[a] > 0 {
			slow += sum[a] * sum[a] / weight[a]
			filled++
		}
	}
	variance := 0.0
	if n > 3 {
		variance = own / float64(n-3)
	}
	if filled > 3 {
		variance = math.Max(variance, slow/float64(filled-3))
	}
	return math.Sqrt(variance)
}
