package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

func evenRing(n int, pcd float64) []r2.Vec {
	p := make([]r2.Vec, n)
	for i := range p {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p[i] = r2.Vec{X: pcd / 2 * cos, Y: pcd / 2 * sin}
	}
	return p
}

func nTimes(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// alike is a covariance of independent places.
func alike(u float64, n int) *mat.SymDense {
	c := mat.NewSymDense(2*n, nil)
	for i := range 2 * n {
		c.SetSym(i, i, u*u)
	}
	return c
}

func evenJoint(n int, u float64) Joint {
	return Joint{
		Face:  Holes{At: evenRing(n, 96), Cov: alike(u, n)},
		Part:  Holes{At: evenRing(n, 96)},
		Bolts: nTimes(8, n), PartHoles: nTimes(9, n),
	}
}

func BenchmarkMateDraws(b *testing.B) {
	j := evenJoint(8, 0.1)
	e := j.newEnsemble(1, 10000, 1)
	for b.Loop() {
		m, _, _ := j.match(e.reach())
		e.misfits(m)
	}
}
