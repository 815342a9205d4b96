package read

import (
	"math"
	"testing"
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
