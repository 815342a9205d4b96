package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// homography is a projective map of the plane, its last element being 1:
//
//	(h0 x + h1 y + h2, h3 x + h4 y + h5) / (h6 x + h7 y + 1)
type homography [8]float64

// apply also returns the denominator, which is not positive where the point
// lies on or beyond the line that goes to infinity.
func (h homography) apply(p r2.Vec) (q r2.Vec, w float64) {
	w = h[6]*p.X + h[7]*p.Y + 1
	return r2.Vec{X: (h[0]*p.X + h[1]*p.Y + h[2]) / w, Y: (h[3]*p.X + h[4]*p.Y + h[5]) / w}, w
}

// invert solves apply(p) = q. The depth is the denominator at p: not
// positive, or huge, beyond the horizon.
func (h homography) invert(q r2.Vec) (p r2.Vec, w float64) {
	a, b := h[0]-q.X*h[6], h[1]-q.X*h[7]
	c, d := h[3]-q.Y*h[6], h[4]-q.Y*h[7]
	e, f := q.X-h[2], q.Y-h[5]
	det := a*d - b*c
	p = r2.Vec{X: (e*d - b*f) / det, Y: (a*f - e*c) / det}
	return p, h[6]*p.X + h[7]*p.Y + 1
}

// turns is the sign of the area that the map gives to a positive one at p.
func (h homography) turns(p r2.Vec) float64 {
	const s = 1e-4
	o, _ := h.apply(p)
	a, _ := h.apply(r2.Vec{X: p.X + s, Y: p.Y})
	b, _ := h.apply(r2.Vec{X: p.X, Y: p.Y + s})
	return r2.Cross(r2.Sub(a, o), r2.Sub(b, o))
}

// direct is the homography that takes from to to, four points or more, by the
// normalised direct linear transformation (R. Hartley, "In defense of the
// eight-point algorithm", IEEE TPAMI 19 (1997) 580–593). ok is false where the
// points leave it open.
func direct(from, to []r2.Vec) (homography, bool) {
	if len(from) < 4 || len(from) != len(to) {
		return homography{}, false
	}
	cf, sf := extent(from)
	ct, st := extent(to)
	if sf == 0 || st == 0 {
		return homography{}, false
	}
	m := mat.NewDense(max(2*len(from), 9), 9, nil)
	for i := range from {
		x, y := (from[i].X-cf.X)/sf, (from[i].Y-cf.Y)/sf
		u, v := (to[i].X-ct.X)/st, (to[i].Y-ct.Y)/st
		m.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y, -u})
		m.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -v * x, -v * y, -v})
	}
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDThinV) {
		return homography{}, false
	}
	if values := svd.Values(nil); !(values[7] > 1e-7*values[0]) {
		return homography{}, false
	}
	var v mat.Dense
	svd.VTo(&v)
	var g [9]float64
	for i := range g {
		g[i] = v.At(i, 8)
	}
	// T⁻¹ G S with S the normalisation of from and T that of to.
	var out [9]float64
	for r := range 3 {
		a, b, c := g[3*r], g[3*r+1], g[3*r+2]
		out[3*r], out[3*r+1], out[3*r+2] = a/sf, b/sf, c-(a*cf.X+b*cf.Y)/sf
	}
	for k := range 3 {
		out[k] = st*out[k] + ct.X*out[6+k]
		out[3+k] = st*out[3+k] + ct.Y*out[6+k]
	}
	var h homography
	for i := range h {
		if h[i] = out[i] / out[8]; math.IsNaN(h[i]) || math.IsInf(h[i], 0) {
			return homography{}, false
		}
	}
	return h, true
}

// extent returns the middle of points and their rms distance from it along
// either axis.
func extent(points []r2.Vec) (middle r2.Vec, size float64) {
	for _, p := range points {
		middle = r2.Add(middle, r2.Scale(1/float64(len(points)), p))
	}
	for _, p := range points {
		size += r2.Norm2(r2.Sub(p, middle)) / float64(2*len(points))
	}
	return middle, math.Sqrt(size)
}
