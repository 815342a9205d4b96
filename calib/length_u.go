package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// lengthVar is the relative variance of the length between the points a and b
// (px): what the plane's errors change of it along its own direction.
func (p *Plane) lengthVar(a, b r2.Vec) float64 {
	along := r2.Sub(p.MM(b), p.MM(a))
	sa, sb := p.Shared(a), p.Shared(b)
	sum := 0.0
	for i := range sa {
		v := r2.Dot(along, r2.Sub(sb[i], sa[i])) / r2.Norm2(along)
		sum += v * v
	}
	return sum
}

// across are the ends (px) of n lengths of 2·reach px through a middle, in
// directions evenly over the half circle.
func across(middle r2.Vec, reach float64, n int) [][2]r2.Vec {
	ends := make([][2]r2.Vec, n)
	for i := range ends {
		sin, cos := math.Sincos(float64(i) * math.Pi / float64(n))
		d := r2.Vec{X: reach * cos, Y: reach * sin}
		ends[i] = [2]r2.Vec{r2.Sub(middle, d), r2.Add(middle, d)}
	}
	return ends
}

// LengthU is the relative standard uncertainty of a length at px that lies in
// the direction in which it is known the least.
func (p *Plane) LengthU(px r2.Vec) float64 {
	const reach = 20 // px, short beside what a length's error changes over
	return p.worstLength(px, reach, 36)
}

func (p *Plane) worstLength(middle r2.Vec, reach float64, directions int) float64 {
	worst := 0.0
	for _, e := range across(middle, reach, directions) {
		worst = math.Max(worst, p.lengthVar(e[0], e[1]))
	}
	return math.Sqrt(worst)
}
