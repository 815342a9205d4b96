package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// cut is a lower bound of the minimax misfit at every angle θ of the part:
// level − x cos θ − y sin θ.
type cut struct{ level, x, y float64 }

func (c cut) at(theta float64) float64 {
	sin, cos := math.Sincos(theta)
	return c.level - c.x*cos - c.y*sin
}

// lowest is the angle at which the cut is lowest.
func (c cut) lowest() float64 { return math.Atan2(c.y, c.x) }

// sample is the misfit of the best shift at one angle, with the cut that
// touches it there.
type sample struct {
	theta, f float64
	shift    r2.Vec
	cut
	on support

	// Between this angle and the next sample's: the proven lower bound and
	// where it lies.
	lowNext, nextAt float64
}

// turning is the problem of one assignment: from[i] of the part, turned and
// shifted, is to come within room[i] of to[i].
type turning struct {
	to, from []r2.Vec
	room     []float64
	v        []r2.Vec // scratch
	samples  []sample // scratch
	sharp    bool     // bounds hold the pairs too
}

// at finds the best shift at an angle: the centre of the smallest circle that
// encloses the differences.
func (p *turning) at(theta float64) sample {
	sin, cos := math.Sincos(theta)
	p.v = p.v[:0]
	for i, q := range p.from {
		p.v = append(p.v, r2.Vec{X: p.to[i].X - cos*q.X + sin*q.Y, Y: p.to[i].Y - sin*q.X - cos*q.Y})
	}
	t, f, on := enclose(p.v, p.room)
	s := sample{theta: theta, f: f, shift: t, on: on}
	for k := range on.n {
		i, w, u := on.at[k], on.weight[k], on.unit[k]
		s.level += w * (r2.Dot(u, p.to[i]) - p.room[i])
		s.x += w * r2.Dot(u, p.from[i])
		s.y += w * r2.Dot(u, r2.Vec{X: -p.from[i].Y, Y: p.from[i].X})
	}
	return s
}

// start is the angle of the least-squares fit of from to to.
func (p *turning) start() float64 {
	var mt, mf r2.Vec
	for i := range p.to {
		mt, mf = r2.Add(mt, p.to[i]), r2.Add(mf, p.from[i])
	}
	n := 1 / float64(len(p.to))
	mt, mf = r2.Scale(n, mt), r2.Scale(n, mf)
	sin, cos := 0.0, 0.0
	for i := range p.to {
		a, b := r2.Sub(p.from[i], mf), r2.Sub(p.to[i], mt)
		cos += r2.Dot(a, b)
		sin += r2.Cross(a, b)
	}
	return math.Atan2(sin, cos)
}

// maxSamples ends the search where the misfit hardly changes over a wide range
// of angles, as it may for a part nothing like the face. After sharpFrom the
// bounds are worked out with more care, which costs more each.
const (
	maxSamples = 500
	sharpFrom  = 16
)

// best minimises over all angles and shifts. It stops when the minimum is
// known to within tolerance, or to be no less than enough; low is the proven
// lower bound of the minimum.
//
// The support that proves the misfit at one angle proves a sinusoid below it
// at all angles. Between two neighbouring samples the minimum is therefore no
// lower than where the higher of their two sinusoids is lowest, and that is
// where the next sample is taken (Kelley's cutting planes, which here hold
// globally although the problem is not convex).
func (p *turning) best(start, tolerance, enough float64) (best sample, low float64) {
	best = p.at(start)
	p.samples, p.sharp = append(p.samples[:0], best), false
	p.bound(0)
	for len(p.samples) < maxSamples {
		if len(p.samples) == sharpFrom {
			p.sharp = true
			for i := range p.samples {
				p.bound(i)
			}
		}
		lowest := 0
		for i := range p.samples {
			if p.samples[i].lowNext < p.samples[lowest].lowNext {
				lowest = i
			}
		}
		low = math.Min(p.samples[lowest].lowNext, best.f)
		if low >= best.f-tolerance || low >= enough {
			return best, low
		}
		s := p.at(p.samples[lowest].nextAt)
		if s.f < best.f {
			best = s
		}
		p.samples = slices.Insert(p.samples, lowest+1, s)
		p.bound(lowest)
		p.bound(lowest + 1)
	}
	return best, low
}

// slope is how fast the least misfit changes as a hole's slot grows along a
// unit vector, by the envelope theorem: only what proves the minimum counts.
// That is the support at the best angle, or, where the misfit has a kink
// there, this one and that on the kink's other side, weighted so that a turn
// changes nothing.
func (p *turning) slope(best sample, hole int, toward r2.Vec) float64 {
	of := func(s sample) (byTurn, byLength float64) {
		sin, cos := math.Sincos(s.theta)
		for k := range s.on.n {
			if s.on.at[k] == hole {
				byLength -= s.on.weight[k] * r2.Dot(s.on.unit[k], toward)
			}
		}
		return s.x*sin - s.y*cos, byLength
	}
	turn, length := of(best)
	at := slices.IndexFunc(p.samples, func(s sample) bool { return s.theta == best.theta })
	n := len(p.samples)
	if turn < 0 {
		at += 2 // the kink is on the right
	}
	otherTurn, otherLength := of(p.samples[(at-1+n)%n])
	if turn*otherTurn >= 0 {
		return length
	}
	return (turn*otherLength - otherTurn*length) / (turn - otherTurn)
}

// bound sets the lower bound between sample i and the next.
func (p *turning) bound(i int) {
	a := &p.samples[i]
	b, end := p.samples[0], p.samples[0].theta+2*math.Pi
	if i+1 < len(p.samples) {
		b, end = p.samples[i+1], p.samples[i+1].theta
	}
	a.lowNext, a.nextAt = lowestBetween(a.cut, b.cut, a.theta, end)
	if !p.sharp {
		return
	}
	for _, s := range []sample{*a, b} {
		if f, theta := p.lowestOf(s.on, a.theta, end); f > a.lowNext {
			a.lowNext, a.nextAt = f, theta
		}
	}
	if a.nextAt <= a.theta || a.nextAt >= end {
		a.nextAt = (a.theta + end) / 2
	}
}

// lowestOf returns a lower bound of the misfit over [from, to] by the holes of
// a support alone, and where it lies.
//
// Of two holes it is exact: their misfit is half of how far the difference of
// their places is from that of the part's, turned, and has one minimum. Where
// two holes of a side all but coincide, that hardly changes with the angle, and
// sinusoids would need a great many samples to follow it. Three holes that
// coincide are enclosed the same way at all angles, but for how far apart they
// are.
func (p *turning) lowestOf(on support, from, to float64) (f, theta float64) {
	f = math.Inf(-1)
	for a := range on.n {
		for b := range a {
			i, j := on.at[a], on.at[b]
			fixed, turned := r2.Sub(p.to[i], p.to[j]), r2.Sub(p.from[i], p.from[j])
			along := math.Atan2(r2.Cross(turned, fixed), r2.Dot(turned, fixed)) // the best angle
			at := along + 2*math.Pi*math.Ceil((from-along)/(2*math.Pi))         // the first from there on
			if at > to {
				at = from
				if math.Cos(to-along) > math.Cos(from-along) {
					at = to
				}
			}
			d := r2.Norm(r2.Sub(fixed, r2.Rotate(turned, at, r2.Vec{})))
			if v := (d - p.room[i] - p.room[j]) / 2; v > f {
				f, theta = v, at
			}
		}
	}
	if on.n < 3 {
		return f, theta
	}
	var fixed, turned []r2.Vec
	var room []float64
	for _, i := range on.at {
		fixed, turned, room = append(fixed, p.to[i]), append(turned, p.from[i]), append(room, p.room[i])
	}
	_, apart, _ := enclose(fixed, make([]float64, 3))
	if _, v, _ := enclose(turned, room); v-apart > f {
		f, theta = v-apart, from
	}
	return f, theta
}

// lowestBetween returns where in [from, to] the higher of two cuts is lowest.
func lowestBetween(a, b cut, from, to float64) (f, theta float64) {
	f = math.Inf(1)
	try := func(at float64) {
		if v := math.Max(a.at(at), b.at(at)); v < f {
			f, theta = v, at
		}
	}
	inside := func(at float64) {
		turns := math.Floor((at - from) / (2 * math.Pi))
		if at -= turns * 2 * math.Pi; at > from && at < to {
			try(at)
		}
	}
	try(from)
	try(to)
	inside(a.lowest())
	inside(b.lowest())
	// They cross where (a.x − b.x) cos θ + (a.y − b.y) sin θ = a.level − b.level.
	x, y, l := a.x-b.x, a.y-b.y, a.level-b.level
	if r := math.Hypot(x, y); math.Abs(l) < r {
		mid, half := math.Atan2(y, x), math.Acos(l/r)
		inside(mid + half)
		inside(mid - half)
	}
	return f, theta
}
