package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// edge is one circular edge of the metal under the paper. Distances s from it
// are positive on the metal.
type edge struct {
	centre  r2.Vec // glass
	radius  float64
	outside bool    // the metal ends there: it lies inside the circle
	floor   float64 // contact of paper with what lies beyond the edge
	ledge   float64 // darkest part of the gap beside a step, 0 for none
	key     float64 // half the width of a keyway
	keyX    r2.Vec  // direction of the keyway

	// By angle on the glass, from right towards down:
	wander []float32 // mm by which the edge lies out of round, towards the metal
	line   []float32 // extra lead on the edge, as a multiple of the pressure
	thread []float32 // lead on the thread's first turn inside the rim
	grease []float32 // dirt on the edge, as an exposure
	spread []float32 // mm over which that dirt lies
}

// contactBand is how far from an edge its contact differs from plain metal or
// plain void, mm.
const contactBand = 2.2

// edges are the circles of the face as paper on top of it feels them.
func (s *scene) edges() []*edge {
	var list []*edge
	add := func(x, y, diameter float64) *edge {
		e := &edge{centre: s.place.glass(r2.Vec{X: x, Y: y}), radius: diameter / 2}
		list = append(list, e)
		return e
	}
	rng := newRand(s.Seed, 5)
	floor := func() float64 { return (0.02 + 0.07*rng.Float64()) * s.dirt }
	for _, h := range s.Face.Holes {
		inner := add(h.X, h.Y, h.Diameter)
		// Paper over a small hole is stiff enough to take some lead.
		inner.floor = floor() + 0.06*s.dirt*math.Exp(-h.Diameter/6) + 0.2*h.Blocked
		s.finish(inner, rng.Uint64(), 1, h.Threaded)
		if h.Outer > h.Diameter {
			outer := add(h.X, h.Y, h.Outer)
			outer.floor = 0.38
			if h.Counterbore {
				outer.floor, outer.ledge = 0.6, 0.85
			}
			s.finish(outer, rng.Uint64(), 1, false)
		}
	}
	if b := s.Face.Bore; b != nil {
		e := add(b.X, b.Y, b.Diameter)
		e.floor = floor()
		e.key = b.Keyway / 2
		e.keyX = r2.Vec{X: -s.place.sin, Y: -s.place.cos} // the face's up
		s.finish(e, rng.Uint64(), 1.1, false)
		if b.Outer > b.Diameter {
			outer := add(b.X, b.Y, b.Outer)
			outer.floor = 0.38
			s.finish(outer, rng.Uint64(), 1, false)
		}
	}
	if rim := s.Face.Rim; rim != nil {
		e := add(rim.X, rim.Y, rim.Diameter)
		e.outside = true
		e.floor = floor() + 0.05*s.dirt
		s.finish(e, rng.Uint64(), 1.1, false)
	}
	return list
}

// finish gives an edge its line of lead, its wander and its dirt.
func (s *scene) finish(e *edge, seed uint64, line float64, threaded bool) {
	n := max(256, int(2*math.Pi*e.radius/0.08))
	e.wander, e.line = make([]float32, n), make([]float32, n)
	if threaded {
		e.thread = make([]float32, n)
	}
	if s.Style == Grease {
		e.grease, e.spread = make([]float32, n), make([]float32, n)
	}
	strokes := []float64{s.StrokeAngle}
	if s.Cross > 0 {
		strokes = append(strokes, s.CrossAngle)
	}
	threadStart := 2 * math.Pi * lattice(seed, 1, 1)
	for k := range n {
		a := 2 * math.Pi * float64(k) / float64(n)
		sin, cos := math.Sincos(a)
		// Noise along the rim, periodic because it is noise in the plane
		// read round the circle.
		along := func(part uint64, mm float64) float64 {
			return noise2(hash(seed+part), e.radius*cos/mm, e.radius*sin/mm)
		}
		e.wander[k] = float32(s.EdgeWander * along(1, 1.6))
		if threaded {
			e.wander[k] += float32(0.07*along(2, 0.5) + 0.04*along(3, 0.2))
			e.thread[k] = float32(step(0, 0.5, math.Cos(a-threadStart)) * (0.8 + 0.4*along(4, 0.8)))
		}
		push := 0.0
		for _, stroke := range strokes {
			sin, cos := math.Sincos(-stroke * math.Pi / 180)
			across := cos*math.Cos(a) + sin*math.Sin(a)
			if e.outside {
				across = -across
			}
			// Most lead is scraped off where the pencil climbs onto the edge
			// square to it, less where it drops off, least along it.
			push += (0.4 + 0.5*math.Abs(across) + 0.45*across) / float64(len(strokes))
		}
		e.line[k] = float32(line * s.EdgeLine * 1.9 * push * math.Exp(0.38*along(5, 2.2)+0.2*along(6, 0.6)))
		if e.grease != nil {
			e.grease[k] = float32(greaseAmount(along(7, 4.2), along(8, 0.7)))
			e.spread[k] = float32(s.EdgeLineWidth * math.Exp(0.2*along(9, 4)+0.06*along(10, 0.8)))
		}
	}
}

// greaseAmount is how much dirt lies on a rim: broken into runs and gaps.
func greaseAmount(long, short float64) float64 {
	return 1.2 * step(-1.6, 0.3, long+0.4*short) * math.Exp(0.3*long+0.35*short)
}

// contact is what the paper finds under a point of the glass.
type contact struct {
	metal  float32 // 1 on plain metal, near 0 over a void
	line   float32 // extra lead from edges
	grease float32 // exposure of dirt
}

// add brings in one edge at distance s (mm, positive on the metal) and angle.
func (s *scene) addEdge(c *contact, e *edge, p r2.Vec) {
	dx, dy := p.X-e.centre.X, p.Y-e.centre.Y
	d := math.Sqrt(dx*dx + dy*dy)
	dist := d - e.radius
	if e.outside {
		dist = -dist
	}
	if e.key > 0 {
		dist = min(dist, e.keyway(dx, dy))
	}
	if dist > contactBand {
		return
	}
	if dist < -contactBand {
		c.metal *= float32(e.floor)
		c.line *= float32(e.floor)
		return
	}
	a := math.Atan2(dy, dx) / (2 * math.Pi)
	if a < 0 {
		a++
	}
	t := a * float64(len(e.wander))
	k := min(int(t), len(e.wander)-1)
	next := k + 1
	if next == len(e.wander) {
		next = 0
	}
	u := float32(t - float64(k))
	between := func(v []float32) float32 { return v[k] + (v[next]-v[k])*u }

	dist -= float64(between(e.wander))
	held := float32(1 / (1 + math.Exp(-4.4*(dist+s.Bridging)/s.soft)))
	beyond := float32(e.floor)
	if e.ledge > 0 {
		gap := (dist + 0.55) / 0.35
		beyond *= 1 - float32(e.ledge*math.Exp(-gap*gap))
	}
	held = beyond + (1-beyond)*held
	c.metal *= held
	c.line *= held
	w := s.EdgeLineWidth
	bump := func(at, width float64) float32 {
		t := (dist - at) / width
		return float32(math.Exp(-t * t))
	}
	// Lead builds up steeply at the edge and fades onto the metal.
	width := 0.33 * w
	if dist > 0.25*w {
		width = 0.75 * w
	}
	c.line += between(e.line) * bump(0.25*w, width) * held
	if e.thread != nil {
		c.line += 0.55 * between(e.thread) * bump(-0.7, 0.22)
	}
	if e.grease != nil {
		// The edge itself prints dark; a thin film on the metal beside it
		// prints faintly and fades.
		c.grease += between(e.grease) * (bump(0.15, float64(between(e.spread))) + 0.05*bump(0.4, 1.1))
	}
}

// keyway is the distance to a slot that runs from the bore's centre outwards.
func (e *edge) keyway(dx, dy float64) float64 {
	along := dx*e.keyX.X + dy*e.keyX.Y
	across := math.Abs(dx*e.keyX.Y - dy*e.keyX.X)
	depth := e.radius + 0.85*e.key // standard keys stand about half their height out of the shaft
	q := r2.Vec{X: across - e.key, Y: math.Abs(along-depth/2) - depth/2}
	out := math.Hypot(max(q.X, 0), max(q.Y, 0))
	return out + min(0, max(q.X, q.Y))
}
