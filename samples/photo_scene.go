package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// photoScene is a photograph made ready to be looked at ray by ray.
type photoScene struct {
	Photo
	eye      *eye
	sheet    *laidSheet // nil for none
	cavities []cavity
	things   []thing
	screw    *laidScrew // nil for none
	rings    []float32  // slope of the turned marks by radius
	scratch  []mark
	axis     r2.Vec
	grain    []float32
	lamp     r3.Vec // where it stands, mm
	toLamp   r3.Vec // its direction at the origin
	white    [3]float32
}

// cavity is a hole or the bore: a stack of cones and cylinders about an axis.
type cavity struct {
	centre r2.Vec
	top    float64 // radius in the face
	parts  []cavityPart
	depth  float64
	thread float64 // pitch, mm, 0 for none
	key    float64 // half the width of a keyway, 0 for none
	bore   bool
}

// cavityPart goes from one depth and radius to another.
type cavityPart struct{ depth0, radius0, depth1, radius1 float64 }

func newPhotoScene(p Photo) *photoScene {
	p = p.sane()
	s := &photoScene{Photo: p, eye: newEye(p.Camera), axis: p.Face.axis(), grain: grainTile()}
	if p.Sheet != nil {
		s.sheet = layOut(*p.Sheet)
	}
	if !p.NoFace {
		for _, h := range p.Face.Holes {
			s.cavities = append(s.cavities, drilled(h, p.Metal.Depth))
		}
		if b := p.Face.Bore; b != nil {
			r := b.Diameter / 2
			c := cavity{centre: r2.Vec{X: b.X, Y: b.Y}, top: r, bore: true, key: b.Keyway / 2}
			c.depth = max(2*p.Metal.Depth, 0.7*b.Diameter)
			if b.Outer > b.Diameter {
				c.top = b.Outer / 2
				c.parts = append(c.parts, cavityPart{0, c.top, c.top - r, r})
			}
			c.parts = append(c.parts, cavityPart{c.top - r, r, c.depth, r})
			s.cavities = append(s.cavities, c)
		}
	}
	for i, t := range p.Things {
		s.things = append(s.things, newThing(t, hash(p.Seed+uint64(i)+77)))
	}
	if p.Screw != nil {
		s.screw = newLaidScrew(*p.Screw, p.Seed)
	}
	s.turn()
	s.scratch = s.photoScratches()
	height := p.Light.Height * math.Pi / 180
	sin, cos := math.Sincos(p.Light.From * math.Pi / 180)
	s.toLamp = r3.Vec{X: math.Cos(height) * cos, Y: math.Cos(height) * sin, Z: math.Sin(height)}
	s.lamp = r3.Scale(p.Light.Distance, s.toLamp)
	w := p.Light.Warm
	s.white = [3]float32{float32(1 + 0.13*w), 1, float32(1 - 0.2*w)}
	return s
}

func drilled(h Hole, depth float64) cavity {
	c := cavity{centre: r2.Vec{X: h.X, Y: h.Y}, top: h.Diameter / 2, depth: depth}
	r := h.Diameter / 2
	at := 0.0
	if h.Outer > h.Diameter {
		c.top = h.Outer / 2
		at = h.deep()
		if h.Counterbore {
			c.parts = append(c.parts, cavityPart{0, c.top, at, c.top})
		} else {
			c.parts = append(c.parts, cavityPart{0, c.top, at, r})
		}
	}
	c.depth = max(depth, at+2)
	c.parts = append(c.parts, cavityPart{at, r, c.depth, r})
	if h.Threaded {
		c.thread = 0.15 * h.Diameter // coarse threads of this size have about that
	}
	return c
}

// deep is how far below the face the hole's own rim lies: a chamfer goes down
// at 45°, a spot face by a millimetre.
func (h Hole) deep() float64 {
	switch {
	case h.Outer <= h.Diameter:
		return 0
	case h.Counterbore:
		return 1
	}
	return (h.Outer - h.Diameter) / 2
}

// turn makes the slopes of the turned marks by radius.
func (s *photoScene) turn() {
	pitch, depth := s.Face.FeedPitch, s.Face.FeedDepth
	if pitch == 0 || s.NoFace {
		return
	}
	reach := 150.0
	if s.Face.Rim != nil {
		reach = s.Face.Rim.Diameter/2 + 2
	}
	n := int(reach / ringStep)
	s.rings = make([]float32, n)
	seed := hash(s.Seed + 40)
	for i := range s.rings {
		r := float64(i) * ringStep
		a := 2 * math.Pi * (r/pitch + 0.2*noise1(seed, r/3))
		v := math.Sin(a)*(0.7+0.3*noise1(seed+1, r/1.3)) + 0.9*noise1(seed+2, r/(0.6*pitch)) + 0.5*noise1(seed+3, r/0.12)
		s.rings[i] = float32(0.16 * depth * v)
	}
}

// photoScratches are straight scratches in the face, in face coordinates.
func (s *photoScene) photoScratches() []mark {
	if s.NoFace {
		return nil
	}
	rng := newRand(s.Seed, 41)
	reach := s.Face.reach()
	var list []mark
	for range s.Face.Scratches {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		a := r2.Add(s.axis, r2.Scale(reach*math.Sqrt(rng.Float64()), r2.Vec{X: cos, Y: sin}))
		sin, cos = math.Sincos(2 * math.Pi * rng.Float64())
		b := r2.Add(a, r2.Scale(4+26*rng.Float64(), r2.Vec{X: cos, Y: sin}))
		list = append(list, mark{kind: scratch, a: a, b: b, half: 0.04 + 0.09*rng.Float64(), value: 0.4 + 0.5*rng.Float64()})
	}
	return list
}

// surface is what a ray has met.
type surface int

const (
	nothing surface = iota
	metal
	wall
	ledge // a floor inside a hole
	rimSide
	ground
	paper
	object
	screw
)

// hit is where a ray ends.
type hit struct {
	on   surface
	id   int32 // differs where an edge lies between
	at   r3.Vec
	n    r3.Vec  // outward
	s    r2.Vec  // on paper: sheet coordinates
	ink  int     // on paper: see ink
	k    int     // of a cavity or thing
	deep float64 // below the face, in a cavity
}

// trace follows a ray from above.
func (s *photoScene) trace(from, d r3.Vec) hit {
	if d.Z > -1e-6 {
		return hit{}
	}
	if s.screw != nil {
		if h, ok := s.screw.meet(from, d); ok {
			return h
		}
	}
	if len(s.things) > 0 {
		if h, ok := s.traceThings(from, d); ok {
			return h
		}
	}
	var onSheet hit
	sheetAt := math.Inf(1)
	if s.sheet != nil {
		p, t := s.sheet.meet(from, d)
		if t > 0 && s.sheet.beside(p) < 0 {
			sheetAt = t
			onSheet = hit{on: paper, s: p, at: r3.Add(from, r3.Scale(t, d))}
			onSheet.n = s.sheet.normal(onSheet.at)
			onSheet.ink = s.sheet.ink(p)
			onSheet.id = 1000 + int32(onSheet.ink)
			if onSheet.at.Z >= 0 {
				return onSheet
			}
		}
	}
	t := -from.Z / d.Z
	q := r2.Vec{X: from.X + t*d.X, Y: from.Y + t*d.Y}
	v := r2.Vec{X: -d.X / d.Z, Y: -d.Y / d.Z} // per mm of depth
	below := s.traceFace(q, v)
	if sheetAt < math.Inf(1) && onSheet.at.Z > below.at.Z {
		return onSheet
	}
	return below
}

// traceFace follows a ray that comes to the face's plane at q and goes on by v
// for each mm of depth.
func (s *photoScene) traceFace(q, v r2.Vec) hit {
	up := r3.Vec{Z: 1}
	if s.NoFace {
		return hit{on: ground, id: 2, at: r3.Vec{X: q.X, Y: q.Y}, n: up}
	}
	if rim := s.Face.Rim; rim != nil {
		c := r2.Vec{X: q.X - rim.X, Y: q.Y - rim.Y}
		r := rim.Diameter / 2
		if r2.Norm2(c) > r*r {
			// The face stands out: its side shows if the ray goes inwards.
			if deep, ok := enters(c, v, r); ok && deep < s.Drop {
				p := r2.Add(c, r2.Scale(deep, v))
				return hit{on: rimSide, id: 3, deep: deep,
					at: r3.Vec{X: rim.X + p.X, Y: rim.Y + p.Y, Z: -deep},
					n:  r3.Vec{X: p.X / r, Y: p.Y / r}}
			}
			return hit{on: ground, id: 2, at: r3.Vec{X: q.X + s.Drop*v.X, Y: q.Y + s.Drop*v.Y, Z: -s.Drop}, n: up}
		}
	}
	for k := range s.cavities {
		c := &s.cavities[k]
		rel := r2.Sub(q, c.centre)
		if c.key > 0 {
			if c.keyed(rel) < 0 {
				return c.traceKeyed(k, rel, v)
			}
		} else if r2.Norm2(rel) < c.top*c.top {
			return c.trace(k, rel, v)
		}
	}
	return hit{on: metal, id: 1, at: r3.Vec{X: q.X, Y: q.Y}, n: up}
}

// enters is the depth at which a ray from outside comes to a cylinder.
func enters(c, v r2.Vec, r float64) (float64, bool) {
	a, b := r2.Norm2(v), r2.Dot(c, v)
	if b >= 0 {
		return 0, false
	}
	disc := b*b - a*(r2.Norm2(c)-r*r)
	if disc < 0 {
		return 0, false
	}
	return (-b - math.Sqrt(disc)) / a, true
}

// trace follows a ray into a round cavity; rel is where it passes the face,
// from the cavity's axis.
func (c *cavity) trace(k int, rel, v r2.Vec) hit {
	id := 100 + 8*int32(k)
	for i, part := range c.parts {
		at := r2.Add(rel, r2.Scale(part.depth0, v))
		if i > 0 && r2.Norm2(at) > square(part.radius0) {
			return hit{on: ledge, id: id + 7, k: k, deep: part.depth0,
				at: r3.Vec{X: c.centre.X + at.X, Y: c.centre.Y + at.Y, Z: -part.depth0}, n: r3.Vec{Z: 1}}
		}
		// |at + t v| = radius0 + slope t.
		slope := (part.radius1 - part.radius0) / (part.depth1 - part.depth0)
		qa := r2.Norm2(v) - slope*slope
		qb := r2.Dot(at, v) - part.radius0*slope
		qc := r2.Norm2(at) - square(part.radius0)
		t := math.Inf(1)
		if disc := qb*qb - qa*qc; disc >= 0 && math.Abs(qa) > 1e-12 {
			root := math.Sqrt(disc)
			for _, x := range [2]float64{(-qb - root) / qa, (-qb + root) / qa} {
				if x >= 0 && x < t && part.radius0+slope*x >= 0 {
					t = x
				}
			}
		} else if math.Abs(qa) <= 1e-12 && qb > 0 {
			t = -qc / (2 * qb)
		}
		if t < part.depth1-part.depth0 {
			p := r2.Add(at, r2.Scale(t, v))
			deep := part.depth0 + t
			long := max(r2.Norm(p), 1e-9)
			n := unit(r3.Vec{X: -p.X / long, Y: -p.Y / long, Z: -slope})
			return hit{on: wall, id: id + int32(i), k: k, deep: deep, n: n,
				at: r3.Vec{X: c.centre.X + p.X, Y: c.centre.Y + p.Y, Z: -deep}}
		}
	}
	p := r2.Add(rel, r2.Scale(c.depth, v))
	return hit{on: ledge, id: id + 6, k: k, deep: c.depth, n: r3.Vec{Z: 1},
		at: r3.Vec{X: c.centre.X + p.X, Y: c.centre.Y + p.Y, Z: -c.depth}}
}

// keyed is the distance from a bore with a keyway that points up, negative in
// the opening.
func (c *cavity) keyed(p r2.Vec) float64 {
	depth := c.top + 0.85*c.key // as edge.keyway has it
	slot := box(p.X, p.Y-depth/2, c.key, depth/2)
	return min(r2.Norm(p)-c.top, slot)
}

// traceKeyed walks down by the distance that is certainly free.
func (c *cavity) traceKeyed(k int, rel, v r2.Vec) hit {
	id := 100 + 8*int32(k)
	speed := r2.Norm(v)
	deep := 0.0
	p := rel
	for range 64 {
		free := -c.keyed(p)
		if free < 1e-4 {
			const e = 1e-3
			n := r3.Vec{
				X: c.keyed(r2.Vec{X: p.X - e, Y: p.Y}) - c.keyed(r2.Vec{X: p.X + e, Y: p.Y}),
				Y: c.keyed(r2.Vec{X: p.X, Y: p.Y - e}) - c.keyed(r2.Vec{X: p.X, Y: p.Y + e}),
			}
			if norm(n) < 1e-9 {
				n = r3.Vec{Y: -1}
			}
			return hit{on: wall, id: id, k: k, deep: deep, n: unit(n),
				at: r3.Vec{X: c.centre.X + p.X, Y: c.centre.Y + p.Y, Z: -deep}}
		}
		if speed*(c.depth-deep) < free {
			break
		}
		deep += free / speed
		p = r2.Add(rel, r2.Scale(deep, v))
	}
	p = r2.Add(rel, r2.Scale(c.depth, v))
	return hit{on: ledge, id: id + 6, k: k, deep: c.depth, n: r3.Vec{Z: 1},
		at: r3.Vec{X: c.centre.X + p.X, Y: c.centre.Y + p.Y, Z: -c.depth}}
}

// truth is where everything is seen.
func (s *photoScene) truth() PhotoTruth {
	t := PhotoTruth{Camera: s.Camera, Phone: s.Phone, scene: s}
	onFace := func(x, y, diameter float64) SeenCircle {
		c := SeenCircle{CentreMM: r2.Vec{X: x, Y: y}, Diameter: diameter}
		c.CentrePx = t.ToPx(c.CentreMM)
		return c
	}
	at := func(x, y float64) r3.Vec { return r3.Vec{X: x, Y: y} }
	if !s.NoFace {
		for _, h := range s.Face.Holes {
			c := onFace(h.X, h.Y, h.Diameter)
			c.Outer, c.Deep = h.Outer, h.deep()
			c.Seen = s.seen(h.X, h.Y, max(h.Diameter, h.Outer)/2, at)
			t.Holes = append(t.Holes, c)
		}
		disc := func(d *Disc) *SeenCircle {
			if d == nil {
				return nil
			}
			c := onFace(d.X, d.Y, d.Diameter)
			c.Outer, c.Deep = d.Outer, max(d.Outer-d.Diameter, 0)/2
			c.Seen = s.seen(d.X, d.Y, max(d.Diameter, d.Outer)/2, at)
			return &c
		}
		t.Bore, t.Rim = disc(s.Face.Bore), disc(s.Face.Rim)
	}
	if s.sheet != nil {
		on := func(x, y float64) r3.Vec { return s.sheet.point(r2.Vec{X: x, Y: y}) }
		for _, d := range s.sheet.Dots {
			c := SeenCircle{CentreMM: r2.Vec{X: d.X, Y: d.Y}, Diameter: d.Diameter}
			c.CentrePx, _ = s.eye.project(on(d.X, d.Y))
			c.Seen = s.seen(d.X, d.Y, d.Diameter/2, on)
			t.Dots = append(t.Dots, c)
		}
	}
	return t
}

// seen is the share of a circle that the camera really sees: rays to points
// of its rim are followed and must end there.
func (s *photoScene) seen(x, y, r float64, at func(x, y float64) r3.Vec) float64 {
	const n = 72
	count := 0
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / n)
		p := at(x+r*cos, y+r*sin)
		px, ok := s.eye.project(p)
		if !ok || !s.Camera.inside(px) {
			continue
		}
		d := r3.Sub(p, s.eye.at)
		h := s.trace(s.eye.at, d)
		// Just inside or just outside the rim makes no difference, except
		// for depth on a steep wall.
		if h.on != nothing && h.on != object && r3.Dot(r3.Sub(h.at, p), d) > -0.2*norm(d) {
			count++
		}
	}
	return float64(count) / n
}
