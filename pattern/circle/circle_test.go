package circle

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Points and both results: Gander, Golub, Strebel, BIT 34 (1994) 558–578
// (points from memory; both fits recomputed with an independent library).
func TestPublishedExample(t *testing.T) {
	points := []r2.Vec{{X: 1, Y: 7}, {X: 2, Y: 6}, {X: 5, Y: 8}, {X: 7, Y: 7}, {X: 9, Y: 5}, {X: 3, Y: 7}}
	fit, err := LeastSquares(points, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := Circle{r2.Vec{X: 4.7398, Y: 2.9835}, 4.7142}
	if r2.Norm(r2.Sub(fit.Centre, want.Centre)) > 1e-4 || math.Abs(fit.Radius-want.Radius) > 1e-4 {
		t.Errorf("geometric fit = %+v, want %+v", fit.Circle, want)
	}
}
