package circle

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// slowest are the harmonics of the distance along the rim from which
// SlowSigma tells how much the points wander slowly. Harmonic 1 is the
// centre's own, and the fit has taken it out; these are its neighbours.
var slowest = [...]float64{2, 3}

// SlowSigma returns the standard deviation that independent points of unit
// weight would need so that their distances from the circle wander as much
// along the rim, slowly, as they do. It is what belongs into Cov when
// neighbouring points err together (a pencil stroke, a fibre of the paper):
// their number is then not the number of independent looks. It is never less
// than what the points' own scatter says.
//
// The error of the centre is the first harmonic of the points' errors along
// the rim. Its variance is the power of the errors at that harmonic, which is
// estimated from the power of the residuals at the next ones (a periodogram;
// D. Percival and A. Walden, Spectral Analysis for Physical Applications,
// 1993, chapter 6). What moves a rubbed edge, the pencil's pressure above all,
// has no length of its own: its power falls as one over the harmonic (flicker
// noise), so that the power at harmonic k counts k times at harmonic 1. On
// rendered rubbings of every kind the centres' errors bear this out; with the
// power taken as level they are 1.6 times what is stated.
func (f Fit) SlowSigma(points []r2.Vec) float64 {
	total, own, n := 0.0, 0.0, 0
	var project, norm [2 * len(slowest)]float64
	for i, p := range points {
		w := f.Weights[i]
		if w <= 0 {
			continue
		}
		v := r2.Sub(p, f.Centre)
		theta := math.Atan2(v.Y, v.X)
		d := f.Distance(p)
		total += w
		own += w * d * d
		n++
		for k, h := range slowest {
			sin, cos := math.Sincos(h * theta)
			project[2*k] += w * d * cos
			norm[2*k] += w * cos * cos
			project[2*k+1] += w * d * sin
			norm[2*k+1] += w * sin * sin
		}
	}
	if n <= 3 {
		return 0
	}
	// Of white noise of variance s² the amplitude of a harmonic has the
	// variance 2s²/total.
	slow := 0.0
	for k := range project {
		if norm[k] > 0 {
			a := project[k] / norm[k]
			slow += slowest[k/2] * a * a * total / 2 / float64(len(project))
		}
	}
	return math.Sqrt(math.Max(slow, own/float64(n-3)))
}
