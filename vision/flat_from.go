package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// From is where a point of the picture lies in the flat: the opposite of
// Point. larger is how many times as long a short length is there.
func (f *Flat) From(p r2.Vec) (q r2.Vec, larger float64) {
	h := f.toPx
	a, b, e := h[0]-p.X*h[6], h[1]-p.X*h[7], p.X*h[8]-h[2]
	c, d, g := h[3]-p.Y*h[6], h[4]-p.Y*h[7], p.Y*h[8]-h[5]
	det := a*d - b*c
	q = r2.Vec{X: (e*d - b*g) / det, Y: (a*g - e*c) / det}
	x := r2.Sub(f.Point(r2.Vec{X: q.X + 0.5, Y: q.Y}), f.Point(r2.Vec{X: q.X - 0.5, Y: q.Y}))
	y := r2.Sub(f.Point(r2.Vec{X: q.X, Y: q.Y + 0.5}), f.Point(r2.Vec{X: q.X, Y: q.Y - 0.5}))
	return q, 1 / math.Sqrt(math.Abs(r2.Cross(x, y)))
}
