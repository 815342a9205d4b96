package samples

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Rays from straight above meet the thread between root and crest, a pitch on at
// the same height, and nothing beside it or past its ends.
func TestLaidScrew(t *testing.T) {
	const turn = 30.0
	l := LaidScrew{Screw: Screw{Major: 12, Pitch: 1.75, FlankDeg: 60, Depth: 0.61, Crest: 0.125, Length: 40}, X: 5, Y: -3, Base: 2, Turn: turn}
	o := newLaidScrew(l, 1)
	sin, cos := math.Sincos(turn * math.Pi / 180)
	down := func(along, across float64) (float64, bool) {
		h, ok := o.meet(r3.Vec{X: 5 + along*cos - across*sin, Y: -3 + along*sin + across*cos, Z: 300}, r3.Vec{Z: -1})
		return h.at.Z, ok
	}
	lowest, highest := math.Inf(1), 0.0
	for k := range 100 {
		u := -10 + 0.1*float64(k)
		z, ok := down(u, 0)
		next, ok2 := down(u+l.Pitch, 0)
		if !ok || !ok2 || math.Abs(z-next) > 0.002 {
			t.Fatalf("at %g mm the thread is %g mm high, a pitch on %g mm", u, z, next)
		}
		lowest, highest = math.Min(lowest, z), math.Max(highest, z)
	}
	if math.Abs(highest-14) > 0.01 || math.Abs(lowest-(14-0.61*1.75)) > 0.03 {
		t.Errorf("crests at %g mm, roots at %g mm", highest, lowest)
	}
	for _, off := range [][2]float64{{0, 6.05}, {0, -6.05}, {20.1, 0}, {-20.1, 0}} {
		if z, ok := down(off[0], off[1]); ok {
			t.Errorf("%v from its middle it is %g mm high", off, z)
		}
	}
	// By a lamp at 45° its shadow lies beside it, on the far side only.
	lamp := r3.Vec{Y: 1, Z: 1}
	level := newLaidScrew(LaidScrew{Screw: l.Screw}, 1)
	if lit, dark := level.shadow(r3.Vec{Y: 9}, lamp), level.shadow(r3.Vec{Y: -9}, lamp); lit != 1 || dark != 0 {
		t.Errorf("%g and %g of the light", lit, dark)
	}
	if far := level.shadow(r3.Vec{X: 30, Y: -9}, lamp); far != 1 {
		t.Errorf("%g of the light past its end", far)
	}
}
