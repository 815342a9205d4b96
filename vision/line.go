package vision

import (
	"math"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// A rim is a line where a slope of the other sign and at least oppositeSlope
// times as steep follows the edge.
const oppositeSlope = 0.6

// samplingVariance is what the sampling of a profile adds to its smoothing
// (level px²): pixels, the places between them, and the steps of the kernel.
// Seen on lines of one pixel; see TestFindThinLine.
const samplingVariance = 0.45

// onLine returns the rim with its points on the edge, should it be that of a
// drawn line and not a step: two edges back to back, which the smoothing of
// the slopes pushes apart. d are the slopes that it was located by, of the
// given sign, smoothed over sigma.
//
// The slope of a line of width w, smoothed by a Gaussian of σ, is steepest at
// ±y from its middle, where artanh(q)/q = (y/σ)² with q = w/2y: never nearer
// than σ, however thin the line. The edge itself is y(1 − q) nearer to the
// middle.
func (r rim) onLine(u unrolled, d [][]float64, sign, sigma float64) rim {
	apart, steep := r.oppositeEdge(u, d, sign, sigma)
	if apart > 0 {
		r.ink, r.inkSteep = apart, steep
	}
	if steep < oppositeSlope {
		return r
	}
	y := math.Abs(apart) / 2
	ratio := y / math.Sqrt(sigma*sigma+samplingVariance)
	r.thin = ratio < thinLine
	return r.moved(math.Copysign(y*(1-lineShare(ratio*ratio)), apart))
}

// thinLine is the y/σ below which the width of a line is not well known.
const thinLine = 1.3

// oppositeEdge returns how far outwards (level px) from the rim the steepest edge
// of the other sign runs along it, and how steep that is beside the rim's own; 0
// where none does.
func (r rim) oppositeEdge(u unrolled, d [][]float64, sign, sigma float64) (apart, steep float64) {
	reach := int(4 * sigma / u.step)
	mean := make([]float64, 2*reach+1) // slopes about the edge
	n := 0
	for i, s := range r.sector {
		sin, cos := math.Sincos(u.direction(s))
		out := u.oval.towards(sin, cos)
		at := (r2.Norm(r2.Sub(r.points[i], u.about.Centre)) - u.inner - out) / u.step
		k := int(at) - reach
		if math.Abs(r.fit.Distance(r.points[i])-out) > sigma || k < 0 || k+len(mean) >= u.samples {
			continue
		}
		n++
		p, f := d[s][k:], at-math.Floor(at)
		for j := range mean {
			mean[j] += sign * (p[j] + f*(p[j+1]-p[j]))
		}
	}
	if 4*n < r.sectors || !(mean[reach] > 0) {
		return 0, 0
	}
	best := 0.0
	for j := 1; j+1 < len(mean); j++ {
		a, b, c := -mean[j-1], -mean[j], -mean[j+1]
		if b <= best || b < a || b < c {
			continue
		}
		best, apart = b, float64(j-reach)
		if bend := a - 2*b + c; bend < 0 {
			apart += (a - c) / (2 * bend)
		}
	}
	return apart * u.step, best / mean[reach]
}

// lineShare returns the q that artanh(q)/q is v of; 0 where none is.
func lineShare(v float64) float64 {
	lo, hi := 0.0, 1.0
	for range 40 {
		if q := (lo + hi) / 2; math.Atanh(q) < v*q {
			lo = q
		} else {
			hi = q
		}
	}
	return lo
}

// mostOval is how far, relative to its radius, a rim's point may be off its
// circle and still say how oval it is.
const mostOval = 0.03

// ovalness returns how oval the rim is, on a level that many times as fine.
func (r rim) ovalness(finer float64) oval {
	var o oval
	n := 0.0
	for _, p := range r.points {
		v, off := r2.Sub(p, r.fit.Centre), r.fit.Distance(p)
		if math.Abs(off) > mostOval*r.fit.Radius {
			continue
		}
		unit := r2.Unit(v)
		o.at0 += off * (unit.X*unit.X - unit.Y*unit.Y)
		o.at45 += off * 2 * unit.X * unit.Y
		n++
	}
	k := 2 * finer / math.Max(n, 1)
	return oval{k * o.at0, k * o.at45}
}

// moved moves the rim outwards.
func (r rim) moved(by float64) rim {
	points := make([]r2.Vec, len(r.points))
	for i, p := range r.points {
		from := r2.Sub(p, r.fit.Centre)
		points[i] = r2.Add(p, r2.Scale(by/r2.Norm(from), from))
	}
	r.points = points
	r.fit.Circle = circle.Circle{Centre: r.fit.Centre, Radius: r.fit.Radius + by}
	return r
}
