package circle

import (
	"encoding/binary"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// vectors reads points and weights out of bytes, any float64 among them.
func vectors(data []byte) (points []r2.Vec, weights []float64) {
	for len(data) >= 24 && len(points) < 50 {
		number := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(data[8*i:])) }
		points = append(points, r2.Vec{X: number(0), Y: number(1)})
		weights = append(weights, math.Abs(number(2)))
		data = data[24:]
	}
	return points, weights
}

func bytesOf(values ...float64) (b []byte) {
	for _, v := range values {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

// No points make a fit panic, and a fit without an error is a circle with
// finite numbers.
func FuzzFits(f *testing.F) {
	f.Add(bytesOf(1, 7, 1, 2, 6, 1, 5, 8, 1, 7, 7, 1, 9, 5, 1, 3, 7, 1))
	f.Add(bytesOf(1, 0, 1, 0, 1, 1, -1, 0, 1))
	f.Add(bytesOf(1, 1, 1, 2, 2, 1, 3, 3, 1, 4, 4.0000001, 1))
	f.Add(bytesOf(1e200, 0, 1, 0, 1e200, 1, -1e200, 0, 1, 0, -1e200, 1))
	f.Add(bytesOf(1e-200, 0, 1, 0, 1e-200, 1, -1e-200, 0, 1))
	f.Add(bytesOf(math.NaN(), math.Inf(1), 1, 0, 1, 0, -1, 0, math.NaN()))
	f.Add(bytesOf(1, 0, 1e300, 0, 1, 1e-300, -1, 0, 1e300))
	f.Fuzz(func(t *testing.T, data []byte) {
		points, weights := vectors(data)
		finite := func(what string, values ...float64) {
			for _, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s of %v, %v: %v", what, points, weights, values)
				}
			}
		}
		for _, w := range [][]float64{nil, weights} {
			start, err := Algebraic(points, w)
			if err == nil {
				finite("algebraic circle", start.Centre.X, start.Centre.Y, start.Radius)
			}
			if fit, err := LeastSquares(points, w); err == nil {
				finite("circle", fit.Centre.X, fit.Centre.Y, fit.Radius, fit.RMS)
				for i := range fit.Cofactor {
					finite("cofactor", fit.Cofactor[i][:]...)
				}
			}
			for _, floor := range []float64{0, 0.01, 1e9} {
				if fit, err := Robust(start, points, w, floor); err == nil {
					finite("robust circle", fit.Centre.X, fit.Centre.Y, fit.Radius, fit.RMS)
				}
			}
		}
	})
}
