package pattern

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// The parts of a reading that follow from the centres and diameters in its
// own coordinates and their joint covariance.

const degree = math.Pi / 180

func (p *assembly) u95(gradient ...partial) float64 {
	return coverage * uncertainty(p.cov, gradient...)
}

func (p *assembly) diameterU95(i int) float64 {
	at := 2*len(p.parts) + i
	return coverage * math.Hypot(uncertainty(p.cov, partial{at, 1}), p.opts.DiameterBiasU)
}

// covAt is the covariance of the vector from part i (−1: the origin) to j.
func (p *assembly) covAt(i, j int) cov2 {
	var x, y []partial
	if i >= 0 {
		x, y = append(x, partial{2 * i, -1}), append(y, partial{2*i + 1, -1})
	}
	x, y = append(x, partial{2 * j, 1}), append(y, partial{2*j + 1, 1})
	return cov2{covariance(p.cov, x, x), covariance(p.cov, x, y), covariance(p.cov, y, y)}
}

func (p *assembly) holeTable() []Hole {
	holes := make([]Hole, p.holes)
	for i := range holes {
		q := p.parts[i]
		holes[i] = Hole{
			ID: i + 1,
			X:  p.at[i].X, XU95: p.u95(partial{2 * i, 1}),
			Y: p.at[i].Y, YU95: p.u95(partial{2*i + 1, 1}),
			Diameter: p.d[i], DiameterU95: p.diameterU95(i),
			XPx: q.CentrePx.X, YPx: q.CentrePx.Y,
			RimSeen: q.RimSeen, OnCircle: q.on,
		}
		if q.outer >= 0 {
			d, u := p.d[q.outer], p.diameterU95(q.outer)
			holes[i].OuterDiameter, holes[i].OuterDiameterU95 = &d, &u
		}
	}
	return holes
}

func (p *assembly) feature(i int) *Feature {
	if i < 0 {
		return nil
	}
	q := p.parts[i]
	f := &Feature{
		X: p.at[i].X, XU95: p.u95(partial{2 * i, 1}),
		Y: p.at[i].Y, YU95: p.u95(partial{2*i + 1, 1}),
		Diameter: p.d[i], DiameterU95: p.diameterU95(i),
		XPx: q.CentrePx.X, YPx: q.CentrePx.Y, RimSeen: q.RimSeen,
	}
	if p.hasCircle {
		l, u := p.covAt(-1, i).length(p.at[i])
		f.Offset, f.OffsetU95 = &l, &u
	}
	return f
}

func (p *assembly) circleTable() *PitchCircle {
	c := &PitchCircle{
		Diameter:    2 * p.fitted.Radius,
		DiameterU95: coverage * p.fittedU,
	}
	on := 0
	for _, h := range p.parts[:p.holes] {
		if h.on {
			d := p.fitted.Distance(h.Centre)
			c.RMS += d * d
			on++
		}
	}
	c.RMS = math.Sqrt(c.RMS / float64(on))
	c.XPx, c.YPx = p.originPx.X, p.originPx.Y
	return c
}

// direction is that of part i from the origin (radians, from right, to the
// left) with its derivatives. It is not known, and ok is false, for a hole
// off the circle that may as well be at the centre.
func (p *assembly) direction(i int) (a float64, by []partial, ok bool) {
	v := p.at[i]
	l2 := r2.Norm2(v)
	if l2 == 0 || !p.hasCircle || !p.parts[i].on && math.Sqrt(l2) <= coverage2*p.covAt(-1, i).largest() {
		return 0, nil, false
	}
	return math.Atan2(v.Y, v.X), []partial{{2 * i, -v.Y / l2}, {2*i + 1, v.X / l2}}, true
}

// between is the angle from hole i to hole j, counter-clockwise in [0, 360)
// degrees, with its expanded uncertainty; ok is false where a direction is
// not known.
func (p *assembly) between(i, j int) (deg, u95 float64, ok bool) {
	from, byFrom, ok1 := p.direction(i)
	to, byTo, ok2 := p.direction(j)
	if !ok1 || !ok2 {
		return 0, 0, false
	}
	if i == j {
		return 0, 0, true
	}
	gradient := byTo
	for _, g := range byFrom {
		gradient = append(gradient, partial{g.at, -g.d})
	}
	return fullTurn((to - from) / degree), p.u95(gradient...) / degree, true
}

// fullTurn brings an angle in degrees to [0, 360).
func fullTurn(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a negative angle too small to tell from none
		deg = 0
	}
	return deg
}

// setAngles sets each hole's angle from the one at 0°, and the turn.
func (p *assembly) setAngles(r *Reading) error {
	zero := p.opts.Zero
	if zero == 0 {
		zero = 1
	}
	if zero < 1 || zero > p.holes {
		return fmt.Errorf("hole %d cannot be at 0°: the holes are numbered 1 to %d", zero, p.holes)
	}
	direction, _, ok := p.direction(zero - 1)
	if !ok {
		return fmt.Errorf("hole %d cannot be at 0°: it lies at the pitch circle's centre and has no direction", zero)
	}
	turn := fullTurn(direction / degree)
	r.TurnDeg = &turn
	for i := range r.Holes {
		if deg, u, ok := p.between(zero-1, i); ok {
			r.Holes[i].AngleDeg, r.Holes[i].AngleU95Deg = &deg, &u
		}
	}
	return nil
}

func (p *assembly) span(i, j int) Span {
	l, u := p.covAt(i, j).length(r2.Sub(p.at[j], p.at[i]))
	s := Span{From: i + 1, To: j + 1, Chord: l, ChordU95: u}
	if deg, u, ok := p.between(i, j); ok {
		s.AngleDeg, s.AngleU95Deg = &deg, &u
	}
	return s
}

// gaps lists the neighbours on the pitch circle.
func (p *assembly) gaps() []Span {
	var on []int
	for i := range p.holes {
		if p.parts[i].on {
			on = append(on, i)
		}
	}
	gaps := make([]Span, len(on))
	for k, i := range on {
		gaps[k] = p.span(i, on[(k+1)%len(on)])
	}
	return gaps
}

// chords lists all pairs of holes, with the included angle.
func (p *assembly) chords() []Span {
	chords := make([]Span, 0, p.holes*(p.holes-1)/2)
	for i := range p.holes {
		for j := i + 1; j < p.holes; j++ {
			s := p.span(i, j)
			if s.AngleDeg != nil && *s.AngleDeg > 180 {
				*s.AngleDeg = 360 - *s.AngleDeg
			}
			chords = append(chords, s)
		}
	}
	return chords
}

// warnings are those of the source and of the choice, and what the
// arithmetic has to add.
func (p *assembly) warnings(choice Choice) []string {
	w := []string{}
	w = append(w, p.opts.Warnings...)
	w = append(w, choice.Warnings...)
	w = append(w, p.notes...)
	if !p.hasCircle {
		if p.opts.KnownPCD != 0 {
			w = append(w, "the known pitch circle is not used: no pitch circle is claimed for these holes")
		}
		if p.opts.Zero != 0 {
			w = append(w, fmt.Sprintf("hole %d is not made 0°: without a pitch circle there are no angles", p.opts.Zero))
		}
		return w
	}
	on := 0
	for _, h := range p.parts[:p.holes] {
		if h.on {
			on++
		}
	}
	if on == 2 {
		w = append(w, "two holes do not determine a pitch circle: they are taken to lie opposite each other, with their distance as its diameter")
	}
	return w
}
