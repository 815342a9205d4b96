package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// A LaidScrew is a stud that lies in a photograph as a solid: what is seen of
// it is its helix under true perspective, half its diameter nearer to the
// camera than what it lies on. Its head and shank are left out.
type LaidScrew struct {
	Screw
	X, Y float64 // the middle of its axis, mm on the face
	Base float64 // height above the face of what it lies on, mm
	Turn float64 // which way its tip points
}

func (l LaidScrew) sane() LaidScrew {
	l.X, l.Y, l.Base, l.Turn = within(l.X, maxLength), within(l.Y, maxLength), within(l.Base, 100), math.Mod(within(l.Turn, 1e9), 360)
	l.Major, l.Pitch = orElse(l.Major, 10, 1, 100), orElse(l.Pitch, 1.5, 0.2, 10)
	l.Length, l.FlankDeg = orElse(l.Length, 3*l.Major, l.Pitch, 500), orElse(l.FlankDeg, 60, 20, 100)
	l.Depth, l.Crest, l.Round = clamp(l.Depth, 0, 0.8), clamp(l.Crest, 0, 0.5), clamp(l.Round, 0, 0.3)
	l.Worn, l.Rough, l.Grease = clamp(l.Worn, 0, 1), clamp(l.Rough, 0, 0.2), clamp(l.Grease, 0, 1)
	return l
}

// laidScrew is made ready to be met by rays. Its own coordinates are mm from
// the tip along the axis, across it, and up.
type laidScrew struct {
	scene         threadScene
	tip           r3.Vec
	along, across r3.Vec
}

func newLaidScrew(l LaidScrew, seed uint64) *laidScrew {
	l.Head, l.Shank = 0, 0
	o := &laidScrew{scene: threadScene{ThreadScan: ThreadScan{Screw: l.Screw, Seed: seed}, long: l.Length}}
	o.scene.phase = l.Pitch * newRand(seed, 71).Float64()
	sin, cos := math.Sincos(l.Turn * math.Pi / 180)
	o.along, o.across = r3.Vec{X: -cos, Y: -sin}, r3.Vec{X: sin, Y: -cos}
	middle := r3.Vec{X: l.X, Y: l.Y, Z: l.Base + l.Major/2}
	o.tip = r3.Sub(middle, r3.Scale(l.Length/2, o.along))
	return o
}

// own takes a direction to the screw's own coordinates.
func (o *laidScrew) own(d r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(d, o.along), Y: r3.Dot(d, o.across), Z: d.Z}
}

// outside is how far a point in its own coordinates is from the metal, measured
// across the axis; negative within it.
func (o *laidScrew) outside(p r3.Vec) float64 {
	return hypot(p.Y, p.Z) - o.scene.radius(p.X, math.Atan2(p.Y, p.Z))
}

// meet is where a ray first comes to the metal.
func (o *laidScrew) meet(from, d r3.Vec) (hit, bool) {
	b := o.scene.Screw
	p, v := o.own(r3.Sub(from, o.tip)), unit(o.own(d))
	// Only within the cylinder round it.
	a, half, reach := v.Y*v.Y+v.Z*v.Z, p.Y*v.Y+p.Z*v.Z, b.Major/2+0.1
	room := half*half - a*(p.Y*p.Y+p.Z*p.Z-reach*reach)
	if room <= 0 {
		return hit{}, false
	}
	at := func(t float64) r3.Vec { return r3.Add(p, r3.Scale(t, v)) }
	in, out := (-half-math.Sqrt(room))/a, (-half+math.Sqrt(room))/a
	if at(in).X < -reach && at(out).X < -reach || at(in).X > o.scene.long+reach && at(out).X > o.scene.long+reach {
		return hit{}, false
	}
	step := b.Pitch / 30
	for t := in; t < out; t += step {
		if o.outside(at(t)) > 0 {
			continue
		}
		lo, hi := t-step, t
		for range 12 {
			if m := (lo + hi) / 2; o.outside(at(m)) > 0 {
				lo = m
			} else {
				hi = m
			}
		}
		q := at(hi)
		const e = 0.01
		n := unit(r3.Vec{
			X: o.outside(r3.Add(q, r3.Vec{X: e})) - o.outside(r3.Sub(q, r3.Vec{X: e})),
			Y: o.outside(r3.Add(q, r3.Vec{Y: e})) - o.outside(r3.Sub(q, r3.Vec{Y: e})),
			Z: o.outside(r3.Add(q, r3.Vec{Z: e})) - o.outside(r3.Sub(q, r3.Vec{Z: e})),
		})
		return hit{on: screw, id: 3000, at: r3.Add(o.tip, o.abroad(q)), n: o.abroad(n)}, true
	}
	return hit{}, false
}

// abroad takes a direction from its own coordinates to the face's.
func (o *laidScrew) abroad(d r3.Vec) r3.Vec {
	return r3.Add(r3.Add(r3.Scale(d.X, o.along), r3.Scale(d.Y, o.across)), r3.Vec{Z: d.Z})
}

// shadow is the share of the lamp's light that comes past it to a point beside
// it.
func (o *laidScrew) shadow(p, toLamp r3.Vec) float64 {
	q, v := o.own(r3.Sub(p, o.tip)), o.own(toLamp)
	if q.Z > 0 {
		return 1
	}
	t := -(q.Y*v.Y + q.Z*v.Z) / (v.Y*v.Y + v.Z*v.Z) // nearest to the axis
	near := r3.Add(q, r3.Scale(t, v))
	beyond := max(-near.X, near.X-o.scene.long, hypot(near.Y, near.Z)-o.scene.Screw.Major/2)
	return step(-0.4, 0.4, beyond)
}

func (s *photoScene) shadeScrew(h *hit) rgb {
	c := rgb{0.34, 0.33, 0.31}.times(s.light(h.at, h.n, 1, 1) * (1 + 0.12*s.speck(h.at.X, h.at.Y, 0.5)))
	return c.plus(0.5 * s.Light.Glare * s.glint(h.at, h.n, 30))
}
