package read

import (
	"math"
	"testing"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// A rim that wanders so much more than the others' that chance does not make it is
// left out of what all holes have in common. One that wanders twice as much is not.
func TestAlike(t *testing.T) {
	variance := []float64{1, 1.2, 50, 0.8, 9, 2}
	for _, c := range []struct {
		holes    []int
		together float64
		apart    []int
	}{
		{nil, 0, nil},
		{[]int{0}, 1, nil},
		{[]int{0, 1, 3, 5}, 1.25, nil},
		{[]int{0, 1, 3, 4}, 1, []int{4}},
	} {
		together, apart := alike(variance, c.holes)
		if math.Abs(together-c.together) > 1e-12 {
			t.Errorf("holes %v: %g together, want %g", c.holes, together, c.together)
		}
		for _, h := range c.holes {
			if lies := variance[h] > apart; lies != (len(c.apart) > 0 && h == c.apart[0]) {
				t.Errorf("holes %v: %d of variance %g lies apart: %v", c.holes, h, variance[h], lies)
			}
		}
	}
}

// A bore that wanders far more than the holes keeps its own figure in a scan, where it
// may be two edges in one, and goes with the holes in a photograph, as any that wanders
// about as much does.
func TestBoresFigure(t *testing.T) {
	plane, err := calib.Freehand("", 2000, 1500, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	sigma := func(bore float64, photo bool) float64 {
		r := &Result{Scaling: &Scaling{Plane: plane}, Choice: pattern.Choice{Bore: 3}}
		if photo {
			r.look.flat = &vision.Flat{}
		}
		var circles []calib.Circle
		for _, s := range []float64{0.02, 0.02, 0.02, bore} {
			circles = append(circles, calib.Circle{Diameter: 20, Sigma: s, Cofactor: [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}})
			r.Marks = append(r.Marks, vision.Mark{Centre: r2.Vec{X: 1000, Y: 750}, Radius: 100})
		}
		return math.Sqrt(r.rings(circles, []int{0, 1, 2})[3].CentreCov[0][0])
	}
	if got := sigma(0.2, false); math.Abs(got-0.2) > 1e-9 {
		t.Errorf("a scan's bore that wanders is known to %g mm, want its own 0.2", got)
	}
	together := math.Sqrt((0.2*0.2 + othersCount*0.02*0.02) / (1 + othersCount))
	if got := sigma(0.2, true); math.Abs(got-together) > 1e-9 {
		t.Errorf("a photograph's is known to %g mm, want %g", got, together)
	}
	if got := sigma(0.03, false); !(got < 0.03) {
		t.Errorf("one that wanders about as holes do is known to %g mm, as if by itself", got)
	}
}
