package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// sidePass is one look along a side: on a level where the side is at most
// long pixels, the edge is expected within near of where the look before saw
// it; the slope across it is smoothed over sigma.
type sidePass struct{ long, near, sigma float64 }

var sidePasses = []sidePass{{700, 3, 1.3}, {1600, 2.5, 1.3}, {1e9, 3, 1.3}}

const (
	cornerShare  = 0.08 // of a side, left out at either end: an ID-1 card's corners are rounded over 0.06 of its short side
	mostStations = 400
	acrossStep   = 0.5  // px of the level, between samples across a side
	leastOnSide  = 0.35 // of the stations must lie on the side
)

// bowed is the line between two corners, bent as a lens bends it: at share t
// of the way the edge lies Poly evaluated at 2t-1 outside of it.
type bowed struct {
	a, b r2.Vec // picture px
	poly [3]float64
}

func (s bowed) unit() (along, out r2.Vec) {
	along = r2.Unit(r2.Sub(s.b, s.a))
	return along, r2.Vec{X: along.Y, Y: -along.X}
}

func (s bowed) off(t float64) float64 {
	v := 2*t - 1
	return s.poly[0] + v*(s.poly[1]+v*s.poly[2])
}

// measureQuad measures the four sides of an outline found on level l, each on
// ever finer levels.
func (p *pyramid) measureQuad(l level, o outline) (Quad, bool) {
	q := Quad{Score: o.score}
	var sides [4]bowed
	ok := [4]bool{}
	each(4, func(i int) {
		sides[i] = bowed{a: l.up(o.corner[i]), b: l.up(o.corner[(i+1)%4])}
		q.Sides[i], ok[i] = p.measureSide(&sides[i], o.lighter[i])
	})
	if ok != [4]bool{true, true, true, true} {
		return q, false
	}
	for i := range sides {
		// Corners are where the straight lines that the sides fit best meet;
		// the bow is not extrapolated.
		c, ok := meet(sides[(i+3)%4].chord(), sides[i].chord())
		if !ok {
			return q, false
		}
		q.Corner[i] = c
	}
	q.bowed = sides
	return q, true
}

// chord is the straight line along a side.
func (s bowed) chord() edgeLine {
	along, out := s.unit()
	half := r2.Norm(r2.Sub(s.b, s.a)) / 2
	// The side's mean line: v² is a third on average.
	at := r2.Add(r2.Scale(0.5, r2.Add(s.a, s.b)), r2.Scale(s.poly[0]+s.poly[2]/3, out))
	n := r2.Unit(r2.Sub(out, r2.Scale(s.poly[1]/half, along)))
	return edgeLine{normal: n, rho: r2.Dot(n, at)}
}

// measureSide follows one side. lighter says whether the sheet is lighter
// than its ground there.
func (p *pyramid) measureSide(s *bowed, lighter bool) (Side, bool) {
	along, out := s.unit()
	long := r2.Norm(r2.Sub(s.b, s.a))
	sign := 1.0 // of the slope outwards
	if lighter {
		sign = -1
	}
	var side Side
	for _, pass := range sidePasses {
		l := p.levels[len(p.levels)-1]
		for _, k := range p.levels {
			if long*math.Max(k.sx, k.sy) <= pass.long {
				l = k
				break
			}
		}
		scale := (l.sx + l.sy) / 2
		n := min(max(int(long*scale/4), 24), mostStations)
		kernel := slopeKernel(acrossStep, pass.sigma)
		looks := make([]station, 0, n)
		for k := range n {
			t := cornerShare + (1-2*cornerShare)*(float64(k)+0.5)/float64(n)
			width := long * (1 - 2*cornerShare) / float64(n)
			at := r2.Add(s.a, r2.Add(r2.Scale(t*long, along), r2.Scale(s.off(t), out)))
			looks = append(looks, l.across(at, along, out, t, width, sign, pass, kernel))
		}
		var ok bool
		if side, ok = s.fit(looks, along, out, long, 1/scale); !ok {
			return Side{}, false
		}
	}
	side.Contrast *= -sign
	return side, true
}

// station is the edge found at one place along a side.
type station struct {
	ok       bool
	t        float64
	at       r2.Vec
	off      float64 // px of the picture, outside of where it was expected
	strength float64
}

// across looks for the steepest place of the wanted sign across the side.
// width is how much of the side is averaged (picture px).
func (l level) across(at, along, out r2.Vec, t, width, sign float64, pass sidePass, kernel []float64) station {
	scale := (l.sx + l.sy) / 2
	const step = acrossStep
	reach := 3*pass.near + 3*pass.sigma
	n := 2*int(reach/step) + 1
	profile := make([]float64, n)
	rays := min(max(int(math.Round(width*scale)), 1), 16)
	for r := range rays {
		shift := width * ((float64(r)+0.5)/float64(rays) - 0.5)
		c := l.down(r2.Add(at, r2.Scale(shift, along)))
		for i := range profile {
			d := (float64(i) - float64(n/2)) * step
			v, ok := l.sample(c.X+d*out.X, c.Y+d*out.Y)
			if !ok {
				return station{t: t}
			}
			profile[i] += v / float64(rays)
		}
	}
	d := slopeAlong(profile, kernel)
	best, k := 0.0, -1
	for i := 1; i+1 < n; i++ {
		v := sign * d[i]
		if v <= 0 || v < sign*d[i-1] || v < sign*d[i+1] {
			continue
		}
		x := (float64(i) - float64(n/2)) * step / pass.near
		if w := v * math.Exp(-x*x/2); w > best {
			best, k = w, i
		}
	}
	if k < 0 {
		return station{t: t}
	}
	a, b, c := sign*d[k-1], sign*d[k], sign*d[k+1]
	shift := 0.0
	if bend := a - 2*b + c; bend < 0 {
		shift = min(max((a-c)/(2*bend), -0.5), 0.5)
	}
	off := (float64(k) + shift - float64(n/2)) * step / scale
	return station{true, t, r2.Add(at, r2.Scale(off, out)), off, b * scale}
}

// slopeKernel is a Gaussian's derivative over samples step apart, with unit
// response to a unit ramp.
func slopeKernel(step, sigma float64) []float64 {
	half := int(math.Ceil(3 * sigma / step))
	kernel := make([]float64, 2*half+1)
	sum := 0.0
	for k := range kernel {
		x := float64(k-half) * step
		kernel[k] = x * math.Exp(-x*x/(2*sigma*sigma))
		sum += x * kernel[k]
	}
	for k := range kernel {
		kernel[k] /= sum
	}
	return kernel
}

// slopeAlong is the smoothed slope of a profile.
func slopeAlong(profile, kernel []float64) []float64 {
	half := len(kernel) / 2
	d := make([]float64, len(profile))
	for i := range d {
		for k, w := range kernel {
			d[i] += w * profile[min(max(i+k-half, 0), len(profile)-1)]
		}
	}
	return d
}

// fit bends the side to the stations, robustly (Tukey's weights).
func (s *bowed) fit(looks []station, along, out r2.Vec, long, px float64) (Side, bool) {
	var seen []station
	var strength []float64
	for _, k := range looks {
		if k.ok {
			seen = append(seen, k)
			strength = append(strength, k.strength)
		}
	}
	if float64(len(seen)) < leastOnSide*float64(len(looks)) || len(seen) < 8 {
		return Side{}, false
	}
	prior := bounded(strength)
	weight := append([]float64(nil), prior...)
	off := make([]float64, len(seen))
	sigma := 0.0
	for round := range 12 {
		a, b := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
		for i, k := range seen {
			v := 2*k.t - 1
			y := r2.Dot(r2.Sub(k.at, s.a), out)
			x := [3]float64{1, v, v * v}
			for r := range 3 {
				b.SetVec(r, b.AtVec(r)+weight[i]*x[r]*y)
				for c := r; c < 3; c++ {
					a.SetSym(r, c, a.At(r, c)+weight[i]*x[r]*x[c])
				}
			}
		}
		var ch mat.Cholesky
		if !ch.Factorize(a) {
			return Side{}, false
		}
		var z mat.VecDense
		if err := ch.SolveVecTo(&z, b); err != nil {
			return Side{}, false
		}
		s.poly = [3]float64{z.AtVec(0), z.AtVec(1), z.AtVec(2)}
		abs := make([]float64, len(seen))
		for i, k := range seen {
			off[i] = r2.Dot(r2.Sub(k.at, s.a), out) - s.off(k.t)
			abs[i] = math.Abs(off[i])
		}
		sigma = math.Max(1.4826*median(abs), 0.03*px)
		limit := 4.7 * sigma
		if round < 3 { // from far to near
			limit *= 1.5
		}
		for i := range weight {
			u := off[i] / limit
			weight[i] = prior[i] * math.Pow(math.Max(0, 1-u*u), 2)
		}
	}
	side := Side{Scatter: sigma, Bow: -s.poly[2]}
	var strong []float64
	on := 0.0
	least := 0.3 * median(strength)
	for i, k := range seen {
		if weight[i] <= 0.05*prior[i] {
			continue
		}
		side.Edge = append(side.Edge, k.at)
		side.Weight = append(side.Weight, weight[i])
		strong = append(strong, k.strength)
		if k.strength >= least {
			on++
		}
	}
	side.Seen = on / float64(len(looks))
	side.Contrast = median(strong)
	return side, len(side.Edge) >= 8 && side.Seen >= leastOnSide && math.Abs(s.poly[2]) < 0.06*long
}
