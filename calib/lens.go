package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Lens is the profile of a camera at one focal length: how directions become
// pixels, in Brown's terms (see optics), and how surely.
type Lens struct {
	WidthPx, HighPx int // of the pictures it was made from; the focal lengths are in their pixels

	FX, FY, CX, CY float64 // px
	K1, K2, K3     float64
	P1, P2         float64

	// Cov is the covariance of FX, FY, CX, CY, K1, K2, K3, P1, P2, zero for
	// those that were not fitted.
	Cov *mat.SymDense

	RMSPx    float64 // by how much the points that it was made from were off, as the length of the miss
	Pictures int     // how many it was made from
}

// lensParams is how many parameters a profile has, in the order of Cov.
const lensParams = pH

func (l *Lens) params() []float64 {
	return []float64{l.FX, l.FY, l.CX, l.CY, l.K1, l.K2, l.K3, l.P1, l.P2}
}

// prepare makes the lens known beforehand to the fit of a picture of w × h
// pixels.
func (l *Lens) prepare(m *controlMap, w, h int) {
	sx, sy := float64(w)/float64(l.WidthPx), float64(h)/float64(l.HighPx)
	by := [lensParams]float64{sx, sy, sx, sy, 1, 1, 1, 1, 1}
	var open []int
	for i, v := range l.params() {
		m.start[i] = v * by[i]
		m.step[i] = 0
		if l.Cov != nil && l.Cov.At(i, i) > 0 {
			open = append(open, i)
			m.step[i] = 1e-3 * by[i] * math.Sqrt(l.Cov.At(i, i))
		}
	}
	if len(open) == 0 {
		return
	}
	cov := mat.NewSymDense(len(open), nil)
	for a, i := range open {
		for b := a; b < len(open); b++ {
			j := open[b]
			v := by[i] * by[j] * l.Cov.At(i, j)
			if a == b {
				v *= 1 + 1e-6 // fx and fy may be one
			}
			cov.SetSym(a, b, v)
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(cov) || chol.InverseTo(&inverse) != nil {
		for _, i := range open { // taken as exact rather than as unknown
			m.step[i] = 0
		}
		return
	}
	for a, i := range open {
		for b := a; b < len(open); b++ {
			m.precision.SetSym(i, open[b], inverse.At(a, b))
		}
	}
}
