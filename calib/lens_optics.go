package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// optics is a camera without its place: how a direction becomes a pixel. A
// direction is n = (x/z, y/z) in the camera's axes (x right, y down, z ahead);
// with r² = x² + y² of it,
//
//	x' = x·(1 + k1 r² + k2 r⁴ + k3 r⁶) + 2 p1 xy + p2 (r² + 2x²)
//	y' = y·(1 + k1 r² + k2 r⁴ + k3 r⁶) + p1 (r² + 2y²) + 2 p2 xy
//	px = (cx + fx x', cy + fy y')
//
// (D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering
// 37 (1971) 855–866, in the form that computer vision has taken over).
type optics struct {
	fx, fy, cx, cy float64 // px
	k1, k2, k3     float64
	p1, p2         float64
}

// bend returns the direction that an ideal camera would need in order to see
// n where this one does, and the derivatives of that.
func (o optics) bend(n r2.Vec) (d r2.Vec, jac [2][2]float64) {
	x, y := n.X, n.Y
	q := x*x + y*y
	g := 1 + q*(o.k1+q*(o.k2+q*o.k3))
	slope := o.k1 + q*(2*o.k2+3*q*o.k3)
	d = r2.Vec{
		X: x*g + 2*o.p1*x*y + o.p2*(q+2*x*x),
		Y: y*g + o.p1*(q+2*y*y) + 2*o.p2*x*y,
	}
	cross := 2*x*y*slope + 2*o.p1*x + 2*o.p2*y
	return d, [2][2]float64{
		{g + 2*x*x*slope + 2*o.p1*y + 6*o.p2*x, cross},
		{cross, g + 2*y*y*slope + 6*o.p1*y + 2*o.p2*x},
	}
}

// px returns where the direction n is seen.
func (o optics) px(n r2.Vec) r2.Vec {
	d, _ := o.bend(n)
	return r2.Vec{X: o.cx + o.fx*d.X, Y: o.cy + o.fy*d.Y}
}

// direction is the inverse of px. ok is false where the polynomial has turned
// back, so far outside that it says nothing any more.
func (o optics) direction(px r2.Vec) (n r2.Vec, ok bool) {
	want := r2.Vec{X: (px.X - o.cx) / o.fx, Y: (px.Y - o.cy) / o.fy}
	n = want
	if o.k1 == 0 && o.k2 == 0 && o.k3 == 0 && o.p1 == 0 && o.p2 == 0 {
		return n, finite(n)
	}
	// Newton's steps come from one side and do not pass the first solution
	// where the radial polynomial is convex or concave on the way.
	for range 50 {
		d, j := o.bend(n)
		det := j[0][0]*j[1][1] - j[0][1]*j[1][0]
		if !(det > 1e-3) || !(j[0][0]+j[1][1] > 0) {
			return n, false
		}
		miss := r2.Sub(want, d)
		step := r2.Vec{
			X: (j[1][1]*miss.X - j[0][1]*miss.Y) / det,
			Y: (j[0][0]*miss.Y - j[1][0]*miss.X) / det,
		}
		n = r2.Add(n, step)
		if r2.Norm(step) < 1e-13*(1+r2.Norm(n)) {
			return n, finite(n)
		}
	}
	return n, false
}

func finite(v r2.Vec) bool {
	s := v.X + v.Y
	return !math.IsNaN(s) && !math.IsInf(s, 0) && !math.IsInf(v.X, 0)
}
