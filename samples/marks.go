package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// mark is a straight piece of line on the sheet or on the metal.
type mark struct {
	a, b  r2.Vec // glass
	half  float64
	kind  markKind
	value float64
}

type markKind int

const (
	written markKind = iota // value: exposure, whatever lies under the paper
	scratch                 // value: share of contact lost in its groove
	pit                     // a spot without contact
	crease                  // value: extra pressure taken by the fold's ridge
)

// reach is how far from its line a mark is felt, mm.
func (m mark) reach() float64 { return m.half * 2.6 }

// distance from a point to the mark's line.
func (m mark) distance(p r2.Vec) float64 {
	dx, dy := m.b.X-m.a.X, m.b.Y-m.a.Y
	px, py := p.X-m.a.X, p.Y-m.a.Y
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = min(1, max(0, (px*dx+py*dy)/l))
	}
	px, py = px-t*dx, py-t*dy
	return math.Sqrt(px*px + py*py)
}

// scratches lie anywhere on the face; pits too.
func (s *scene) scratches() []mark {
	rng := newRand(s.Seed, 9)
	var list []mark
	reach := s.radius()
	somewhere := func() r2.Vec {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		d := reach * math.Sqrt(rng.Float64())
		return r2.Vec{X: s.place.origin.X + d*cos, Y: s.place.origin.Y + d*sin}
	}
	for range s.Face.Scratches {
		a := somewhere()
		angle := 2 * math.Pi * rng.Float64()
		half, value := 0.08+0.14*rng.Float64(), 0.5+0.5*rng.Float64()
		// A slip of a tool is slightly bent.
		for range 4 + rng.IntN(6) {
			sin, cos := math.Sincos(angle)
			l := 2 + 4*rng.Float64()
			b := r2.Vec{X: a.X + l*cos, Y: a.Y + l*sin}
			list = append(list, mark{a: a, b: b, half: half, kind: scratch, value: value})
			a = b
			angle += 0.06 * rng.NormFloat64()
		}
	}
	for range s.Face.Pits {
		a := somewhere()
		for range 1 + rng.IntN(4) {
			b := r2.Vec{X: a.X + 0.8*rng.NormFloat64(), Y: a.Y + 0.8*rng.NormFloat64()}
			list = append(list, mark{a: a, b: b, half: 0.2 + 0.6*rng.Float64(), kind: pit, value: 0.5 + 0.45*rng.Float64()})
			a = b
		}
	}
	return list
}

// pushedLead are the streaks left where the pencil's point fell into a hole.
func (s *scene) pushedLead() []mark {
	if s.Style == Grease {
		return nil
	}
	rng := newRand(s.Seed, 10)
	var list []mark
	for _, h := range s.Face.Holes {
		blocked := h.Blocked
		if blocked == 0 {
			continue
		}
		c := s.place.glass(r2.Vec{X: h.X, Y: h.Y})
		for range 2 + int(4*blocked*rng.Float64()+2*blocked) {
			sin, cos := math.Sincos(-s.StrokeAngle*math.Pi/180 + 0.1*rng.NormFloat64())
			v := h.Diameter / 2 * 0.75 * (2*rng.Float64() - 1)
			half := math.Sqrt(max(0, h.Diameter*h.Diameter/4-v*v)) * 0.95
			u0, u1 := -half*rng.Float64(), half*rng.Float64()
			if rng.Float64() < 0.5 {
				u0 = -half
			}
			at := func(u float64) r2.Vec { return r2.Vec{X: c.X + u*cos - v*sin, Y: c.Y + u*sin + v*cos} }
			list = append(list, mark{
				a: at(u0), b: at(u1), half: 0.25 + 0.5*rng.Float64(),
				kind: written, value: blocked * (0.3 + 0.7*rng.Float64()),
			})
		}
	}
	return list
}

// creases are the ridges of the folds, in short pieces of differing strength.
func (s *scene) creases() []mark {
	rng := newRand(s.Seed, 12)
	var list []mark
	for _, l := range s.foldLines() {
		along := r2.Vec{X: -l.normal.Y, Y: l.normal.X}
		long := math.Hypot(s.width, s.height)
		off := 0.0
		point := func(t float64) r2.Vec {
			return r2.Vec{X: l.at.X + t*along.X + off*l.normal.X, Y: l.at.Y + t*along.Y + off*l.normal.Y}
		}
		a := point(-long)
		for t := -long; t < long; t += 2 {
			off = 0.8*off + 0.05*rng.NormFloat64()
			b := point(t + 2)
			list = append(list, mark{a: a, b: b, half: 0.16 + 0.1*rng.Float64(), kind: crease, value: 0.5 + rng.Float64()})
			a = b
		}
	}
	return list
}
