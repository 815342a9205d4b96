package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// rgb is light: 1 each is a white sheet in full light.
type rgb [3]float32

func (c rgb) times(k float64) rgb {
	f := float32(k)
	return rgb{c[0] * f, c[1] * f, c[2] * f}
}

func (c rgb) plus(k float64) rgb {
	f := float32(k)
	return rgb{c[0] + f, c[1] + f, c[2] + f}
}

func (c rgb) mix(o rgb, share float64) rgb {
	f := float32(share)
	for i := range c {
		c[i] += (o[i] - c[i]) * f
	}
	return c
}

// norm and unit are r3.Norm and r3.Unit without their care for numbers near
// overflow; a vector of no length stays.
func norm(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

func unit(v r3.Vec) r3.Vec { return r3.Scale(1/max(norm(v), 1e-12), v) }

// light is what falls on a surface with a normal, of which a share of the
// lamp's light and a share of the light from everywhere gets there.
func (s *photoScene) light(p, n r3.Vec, lamp, around float64) float64 {
	l := r3.Sub(s.lamp, p)
	q := r3.Norm2(l)
	long := math.Sqrt(q)
	cos := max(0, r3.Dot(n, l)/long)
	direct := cos / s.toLamp.Z * square(s.Light.Distance) / q
	return s.Light.Ambient*(0.5+0.5*n.Z)*around + (1-s.Light.Ambient)*direct*lamp
}

// glint is how nearly a surface mirrors the lamp into the eye, 1 exactly;
// sharp is large for a small highlight.
func (s *photoScene) glint(p, n r3.Vec, sharp float64) float64 {
	h := s.half(p)
	return math.Exp(-sharp * (1 - max(0, r3.Dot(n, h))))
}

// half is the direction midway between lamp and eye.
func (s *photoScene) half(p r3.Vec) r3.Vec {
	return unit(r3.Add(unit(r3.Sub(s.lamp, p)), unit(r3.Sub(s.eye.at, p))))
}

// cloud is noise with features of the given size and finer ones within.
func (s *photoScene) cloud(part uint64, x, y, size float64) float64 {
	seed := hash(s.Seed + part)
	x, y = x/size, y/size
	// Turned against one another, so that no lattice shows.
	return 0.8*noise2(seed, 0.8*x-0.6*y, 0.6*x+0.8*y) + 0.45*noise2(seed+1, 2.5*x+y, 2.5*y-x) + 0.25*noise2(seed+2, 5*x-5*y, 5*x+5*y)
}

// speck is fine noise, -1 to 1, with features of about that size (mm).
func (s *photoScene) speck(x, y, size float64) float64 {
	return float64(2*grainAt(s.grain, x/size*4+311, y/size*4+97) - 1)
}

// covered share of a noise of unit deviation: where it is above this.
func threshold(share float64) float64 { return 2 - 3.6*share }

// shade is the light that comes back from where a ray has ended.
func (s *photoScene) shade(h *hit) rgb {
	switch h.on {
	case metal:
		return s.shadeMetal(h)
	case wall, ledge:
		return s.shadeCavity(h)
	case rimSide:
		k := s.light(h.at, h.n, s.sheetShadow(h.at), 1-0.55*h.deep/s.Drop)
		return s.metalColour().times(0.7 * k * (0.85 + 0.2*s.speck(h.at.Z, math.Atan2(h.n.Y, h.n.X)*0.2, 0.5)))
	case ground:
		return s.shadeGround(h)
	case paper:
		return s.shadePaper(h)
	case object:
		return s.shadeThing(h)
	case screw:
		return s.shadeScrew(h)
	}
	return rgb{0.02, 0.02, 0.02}
}

func (s *photoScene) metalColour() rgb {
	if s.Metal.Painted {
		return rgb{0.045, 0.06, 0.055}
	}
	t := float32(s.Metal.Tone)
	return rgb{t, 0.985 * t, 0.95 * t}
}

func (s *photoScene) shadeMetal(h *hit) rgb {
	x, y := h.at.X-s.axis.X, h.at.Y-s.axis.Y
	r := hypot(x, y)
	radial := r2.Vec{X: 1}
	if r > 1e-6 {
		radial = r2.Vec{X: x / r, Y: y / r}
	}
	slope := 0.0
	if len(s.rings) > 1 {
		t := r / ringStep
		if k := int(t); k+1 < len(s.rings) {
			f := t - float64(k)
			slope = float64(s.rings[k])*(1-f) + float64(s.rings[k+1])*f
		}
		// No turned mark is the same all round.
		slope *= 0.75 + 0.35*noise2(hash(s.Seed+43), 0.09*x, 0.09*y)
	}
	edge, towards := s.burr(h.at)
	n := r3.Vec{X: -slope*radial.X + edge*towards.X, Y: -slope*radial.Y + edge*towards.Y, Z: 1}
	gloss := 0.0
	for i := range s.scratch {
		m := &s.scratch[i]
		d := m.distance(r2.Vec{X: h.at.X, Y: h.at.Y})
		if d < m.half {
			side := (h.at.X-m.a.X)*(m.b.Y-m.a.Y) - (h.at.Y-m.a.Y)*(m.b.X-m.a.X)
			long := hypot(m.b.X-m.a.X, m.b.Y-m.a.Y)
			k := 1.1 * m.value * math.Copysign(1-d/m.half, side) / long
			n.X += k * (m.b.Y - m.a.Y)
			n.Y -= k * (m.b.X - m.a.X)
			gloss += m.value
		}
	}
	n = unit(n)

	shadow := s.sheetShadow(h.at) * s.shadowOfThings(h.at)
	around := s.nearThings(h.at)
	c := s.metalColour()
	fine := 1 + 0.07*s.speck(x, y, 0.5) + 0.05*s.speck(y, x, 3)
	worn := 1 + 0.09*s.cloud(44, x, y, 26)
	c = c.times(0.62 * s.light(h.at, n, shadow, around) * fine * worn)

	half := s.half(h.at)
	if !s.Metal.Painted {
		// What the metal mirrors of the room, and the lamp: turned marks spread
		// it along the radius, so that the highlight is a pair of wedges.
		view := unit(r3.Sub(s.eye.at, h.at))
		mirrored := r3.Sub(r3.Scale(2*r3.Dot(n, view), n), view)
		room := 0.72 + 0.33*noise2(hash(s.Seed+45), 2.3*mirrored.X, 2.3*mirrored.Y)
		room *= 0.15 + 0.85*clamp(1.1*mirrored.Z, 0, 1) // walls are darker than the ceiling
		across := half.Y*radial.X - half.X*radial.Y
		along := half.X*radial.X + half.Y*radial.Y - slope*2
		wedge := math.Exp(-60*across*across - 2.2*along*along)
		tone := s.Metal.Tone
		c = c.plus(0.4 * tone * max(room, 0.1) * around)
		c = c.plus(2.2 * tone * s.Light.Glare * wedge * shadow * (0.85 + 0.3*s.speck(x, y, 1)))
		if edge > 0 || gloss > 0 {
			c = c.plus((gloss + 1.4*edge) * tone * math.Exp(-9*(1-max(0, r3.Dot(n, half)))) * shadow)
		}
	} else {
		c = c.plus(0.05 * around)
		c = c.plus(0.9 * s.Light.Glare * math.Exp(-90*(1-max(0, r3.Dot(n, half)))) * shadow)
	}
	return s.dirty(c, h.at, n, shadow)
}

// dirty puts rust, stains and grease on the metal.
func (s *photoScene) dirty(c rgb, p, n r3.Vec, shadow float64) rgb {
	if s.Face.Pits > 0 {
		// Casting marks: small dark pits.
		share := min(float64(s.Face.Pits)/200, 1)
		c = c.times(1 - 0.75*step(0.25, 0.6, s.cloud(46, p.X, p.Y, 1.6)-threshold(0.25*share)))
	}
	if s.Metal.Rust > 0 {
		at := threshold(s.Metal.Rust)
		v := s.cloud(47, p.X, p.Y, 11) + 0.4*s.speck(p.X, p.Y, 1.2)
		if share := step(at-0.15, at+0.5, v); share > 0 {
			brown := rgb{0.27, 0.125, 0.055}.times((0.75 + 0.35*s.speck(p.Y, p.X, 0.7)) * s.light(p, n, shadow, 1))
			c = c.mix(brown, 0.85*share)
		}
	}
	if s.Metal.Grease > 0 {
		at := threshold(s.Metal.Grease)
		v := s.cloud(48, p.X, p.Y, 19)
		if share := step(at-0.25, at+0.25, v); share > 0 {
			oily := rgb{c[0] * 0.36, c[1] * 0.33, c[2] * 0.25}
			oily = oily.plus(0.35 * s.Light.Glare * s.glint(p, unit(r3.Vec{X: 0.1 * v, Y: 0.1 * s.speck(p.X, p.Y, 9), Z: 1}), 300) * shadow)
			c = c.mix(oily, 0.85*share)
		}
	}
	return c
}

// burr is how much the metal leans over into a hole, or off the rim, beside
// its edge, and which way.
func (s *photoScene) burr(p r3.Vec) (float64, r2.Vec) {
	w := s.Metal.Burr
	if w == 0 {
		return 0, r2.Vec{}
	}
	for k := range s.cavities {
		c := &s.cavities[k]
		x, y := p.X-c.centre.X, p.Y-c.centre.Y
		q := x*x + y*y
		if q > square(c.top+w) || q < c.top*c.top {
			continue
		}
		d := math.Sqrt(q)
		// Handwork: wider here than there.
		wide := w * (0.7 + 0.3*noise2(hash(s.Seed+uint64(k)+50), 1.5*x/c.top, 1.5*y/c.top))
		if lean := 1 - (d-c.top)/max(wide, 1e-3); lean > 0 {
			return 0.8 * lean, r2.Vec{X: -x / d, Y: -y / d}
		}
	}
	if rim := s.Face.Rim; rim != nil {
		x, y := p.X-rim.X, p.Y-rim.Y
		d := hypot(x, y)
		if lean := 1 - (rim.Diameter/2-d)/(1.5*w); lean > 0 {
			return 0.8 * lean, r2.Vec{X: x / d, Y: y / d}
		}
	}
	return 0, r2.Vec{}
}

func (s *photoScene) shadeCavity(h *hit) rgb {
	c := &s.cavities[h.k]
	x, y := h.at.X-c.centre.X, h.at.Y-c.centre.Y
	// How much sky a point down there sees, and whether the lamp does.
	down := h.deep / c.top
	around := 1 / (1 + 0.9*down*down)
	if h.on == wall {
		around *= 0.75
	}
	up := h.deep / s.toLamp.Z
	out := hypot(x+up*s.toLamp.X, y+up*s.toLamp.Y) - c.top
	lamp := 1 - step(-0.1-0.06*h.deep, 0.05+0.06*h.deep, out)
	lamp *= s.shadowOfThings(r3.Vec{X: h.at.X, Y: h.at.Y})
	through := h.on == ledge && h.deep >= c.depth
	if through {
		light := s.light(h.at, h.n, lamp, around)
		k := s.Metal.Behind
		if k > 0.3 {
			light = 1 // it has its own light
		}
		return rgb{1, 0.98, 0.94}.times(light * (0.012 + k) * (1 + 0.1*s.cloud(51, x, y, 4)))
	}
	colour := s.metalColour().times(0.8)
	turned := h.deep
	if h.on == ledge {
		turned = hypot(x, y)
	}
	rough := 1 + 0.16*s.speck(turned, 0.12*math.Atan2(y, x), 0.35)
	tilted := h.n
	if c.thread > 0 && h.on == wall && h.n.Z < 0.3 {
		// The flanks of the thread lean up and down in turn.
		turns := h.deep/c.thread + math.Atan2(y, x)/(2*math.Pi)
		saw := math.Abs(2*(turns-math.Floor(turns))-1)*2 - 1
		tilted = unit(r3.Vec{X: h.n.X, Y: h.n.Y, Z: 1.3 * saw})
		rough *= 0.72 + 0.3*saw
	}
	k := s.light(h.at, tilted, lamp, around) * rough
	got := colour.times(k)
	if c.bore {
		// Bores are ground; a film of oil makes them dark and glossy.
		got = got.times(0.9)
	} else if h.n.Z < 0.3 {
		got = rgb{got[0] * 0.82, got[1] * 0.77, got[2] * 0.69} // dirt stays in holes
	}
	sharp := 14.0
	return got.plus(0.55 * s.Metal.Tone * s.Light.Glare * s.glint(h.at, tilted, sharp) * lamp)
}

// sheetShadow is the share of the lamp's light that comes past the sheet.
func (s *photoScene) sheetShadow(p r3.Vec) float64 {
	if s.sheet == nil {
		return 1
	}
	high := s.sheet.Above + 0.15 - p.Z
	if high <= 0 {
		return 1
	}
	x, y, _ := s.sheet.flat(p.X+high*s.toLamp.X/s.toLamp.Z, p.Y+high*s.toLamp.Y/s.toLamp.Z)
	soft := 0.15 + 0.12*high
	return step(-soft, soft, s.sheet.beside(r2.Vec{X: x, Y: y}))
}

func (s *photoScene) shadeGround(h *hit) rgb {
	x, y := h.at.X, h.at.Y
	lamp := s.sheetShadow(h.at) * s.shadowOfThings(h.at)
	around := s.nearThings(h.at)
	if rim := s.Face.Rim; rim != nil && !s.NoFace {
		// The part's own shadow.
		far := hypot(x-rim.X, y-rim.Y) - rim.Diameter/2
		around *= 1 - 0.7*math.Exp(-1.3*far/s.Drop)
		bx, by := x+s.Drop*s.toLamp.X/s.toLamp.Z-rim.X, y+s.Drop*s.toLamp.Y/s.toLamp.Z-rim.Y
		lamp *= step(-0.1*s.Drop, 0.1*s.Drop, hypot(bx, by)-rim.Diameter/2)
	}
	if s.sheet != nil && s.sheet.Above > h.at.Z+1 {
		// The light from everywhere gets under the paper only near its edges.
		sx, sy, _ := s.sheet.flat(x, y)
		out := s.sheet.beside(r2.Vec{X: sx, Y: sy})
		high := s.sheet.Above - h.at.Z
		around *= 0.12 + 0.88*step(-1.6*high, 1.6*high, out)
	}
	turn := 0.3 * lattice(s.Seed, 52, 0)
	sin, cos := math.Sincos(turn)
	u, v := x*cos+y*sin, -x*sin+y*cos
	n := r3.Vec{Z: 1}
	var c rgb
	switch s.Ground {
	case Bench:
		const wide = 83.0
		board := math.Floor(v/wide + 0.37)
		off := v/wide + 0.37 - board
		seed := hash(s.Seed + 53 + uint64(int64(board)))
		u += 500 * lattice(seed, 1, 1)
		year := noise2(seed, u/140, v/9) + 0.6*noise2(seed+1, u/60, v/2.2) + 0.4*noise2(seed+2, u/14, v/0.5)
		c = rgb{0.33, 0.205, 0.115}.times((1 + 0.2*lattice(seed, 2, 2)) * (1 + 0.17*year + 0.06*s.speck(u, v, 0.8)))
		c = c.times(1 - 0.85*step(0.985, 0.992, 1-min(off, 1-off)))
		c = c.times(1 - 0.35*step(0.9, 1.8, s.cloud(54, x, y, 45)))
	case Concrete:
		grit := s.speck(x, y, 1.1)
		c = rgb{0.33, 0.325, 0.305}.times(1 + 0.12*s.cloud(55, x, y, 60) + 0.13*grit + 0.1*s.speck(y, x, 0.5))
		c = c.times(1 - 0.4*step(1.5, 2.2, s.cloud(56, x, y, 6)))
	case Casing:
		const e = 0.35
		b := func(x, y float64) float64 {
			return noise2(hash(s.Seed+57), x/2.6, y/2.6) + 0.5*noise2(hash(s.Seed+58), x/1.1, y/1.1)
		}
		here := b(x, y)
		n = unit(r3.Vec{X: 0.1 * (here - b(x+e, y)) / e, Y: 0.1 * (here - b(x, y+e)) / e, Z: 1})
		c = rgb{0.085, 0.16, 0.125}.times(1 + 0.1*s.cloud(59, x, y, 40))
		chipped := step(1.75, 1.85, s.cloud(60, x, y, 14))
		c = c.mix(rgb{0.2, 0.14, 0.1}, chipped)
		k := s.light(h.at, n, lamp, around)
		return c.times(k).plus((1 - chipped) * (0.015*around + 0.25*s.Light.Glare*s.glint(h.at, n, 60)*lamp))
	case Cloth:
		weave := math.Sin(u*5.2)*math.Sin(v*5.2)*0.12 + 0.16*s.speck(u, 0.2*v, 0.5) + 0.16*s.speck(0.2*u, v, 0.5)
		c = rgb{0.075, 0.085, 0.12}.times(1 + weave + 0.25*noise2(hash(s.Seed+61), u/50, v/22))
	}
	return c.times(s.light(h.at, n, lamp, around))
}

func (s *photoScene) shadePaper(h *hit) rgb {
	n := h.n
	x, y := h.s.X, h.s.Y
	if w := s.sheet.Wrinkled; w > 0 {
		// Slopes of a sheet that has been handled.
		n.X += 0.13 * w * noise2(hash(s.Seed+62), x/31, y/45)
		n.Y += 0.13 * w * noise2(hash(s.Seed+63), x/45, y/31)
		n = unit(n)
	}
	k := s.light(h.at, n, s.shadowOfThings(h.at), s.nearThings(h.at))
	fibre := 1 + 0.018*s.speck(x, y, 0.6) + 0.012*s.speck(y, x, 2.5)
	t := float32(s.sheet.Tone)
	c := rgb{t, 0.99 * t, 0.965 * t}
	if s.sheet.tex != nil {
		p := s.sheet.colour(h.s)
		for i := range c {
			c[i] *= p[i]
		}
	}
	if h.ink != 0 {
		c = rgb{0.036, 0.037, 0.041}.times(1 + 0.15*s.speck(x, y, 0.4))
		c = c.plus(0.02 * s.glint(h.at, n, 20))
	}
	return s.soaked(c.times(k*fibre), h.at)
}

func (s *photoScene) shadeThing(h *hit) rgb {
	o := &s.things[h.k]
	n := h.n
	x, y := h.at.X-o.X, h.at.Y-o.Y
	lx, ly := x*o.cos+y*o.sin, -x*o.sin+y*o.cos
	switch o.Kind {
	case Washer, Nut, Bolt:
		c := rgb{0.5, 0.5, 0.49}
		if o.Kind == Bolt && lx > -1.5*o.Size && n.Z > 0.2 && math.Abs(ly) < 0.52*o.Size {
			// The thread along the shank.
			n.X += 0.5 * math.Sin(2*math.Pi*lx/(0.15*o.Size)) * o.cos
			n.Y += 0.5 * math.Sin(2*math.Pi*lx/(0.15*o.Size)) * o.sin
			n = unit(n)
		}
		k := s.light(h.at, n, 1, 0.6+0.4*clamp((h.at.Z-o.Base)/o.tall, 0, 1))
		c = c.times(k * (0.55 + 0.1*s.speck(x, y, 0.6) + 0.06*s.cloud(64, x, y, 5)))
		return c.plus(0.6 * s.Light.Glare * s.glint(h.at, n, 25)).plus(0.08)
	case Rag:
		const e = 0.5
		f := func(x, y float64) float64 {
			u, v := 0.8*x-0.6*y, 0.6*x+0.8*y
			return 4.2*noise2(o.seed+3, u/60, v/9) + 1.6*noise2(o.seed+4, x/11, y/30)
		}
		here := f(lx, ly)
		n.X += 0.55 * (here - f(lx+e, ly)) / e
		n.Y += 0.55 * (here - f(lx, ly+e)) / e
		n = unit(n)
		c := rgb{0.36, 0.085, 0.07}
		if o.seed&1 == 0 {
			c = rgb{0.3, 0.31, 0.33}
		}
		weave := 1 + 0.13*s.speck(lx, 0.25*ly, 0.6) + 0.13*s.speck(0.25*lx, ly, 0.6)
		c = c.mix(rgb{0.05, 0.045, 0.04}, 0.7*step(0.7, 1.4, s.cloud(65, lx, ly, 14)))
		return c.times(weave * s.light(h.at, n, 1, clamp(0.75+0.2*here, 0.3, 1)))
	case Hand:
		c := rgb{0.62, 0.37, 0.26}
		c = c.times(1 + 0.05*s.cloud(66, x, y, 4) + 0.04*s.speck(x, y, 0.7))
		u := lx / o.Size
		crease := math.Exp(-square((u-2.3+0.1*math.Sin(ly))/0.05)) + 0.7*math.Exp(-square((u-3.9+0.1*math.Sin(ly))/0.07))
		c = c.times(1 - 0.18*crease)
		c = c.mix(rgb{0.62, 0.29, 0.22}, 0.5*step(1.6, 0, u))
		if u > 10.5 {
			c = rgb{0.11, 0.13, 0.2}.times(1 + 0.2*s.speck(lx, 0.3*ly, 0.7)) // the sleeve
		}
		for _, f := range fingers {
			// Nails, a little behind the tips.
			dx, dy := f.x1-f.x0, f.y1-f.y0
			long := hypot(dx, dy)
			dx, dy = dx/long, dy/long
			px, py := u-f.x1+0.05*dx, ly/o.Size-f.y1+0.05*dy
			if nail := box(px*dx+py*dy, py*dx-px*dy, 0.16, 0.1) - 0.17*f.half/0.5; nail < 0 {
				c = c.mix(rgb{0.72, 0.48, 0.41}, 0.7).times(1 - 0.25*step(-0.04, 0, nail))
				c = c.plus(0.1 * s.glint(h.at, n, 40))
			}
		}
		k := s.light(h.at, n, 1, 0.5+0.5*clamp(-h.deep/(0.5*o.Size), 0, 1))
		return c.times(k).plus(0.04 * s.glint(h.at, n, 12))
	}
	// A stain soaks in: what lay on the paper shows no more.
	rim := step(-0.1*o.Size, 0, h.deep)
	c := rgb{0.022, 0.017, 0.012}.mix(rgb{0.06, 0.045, 0.028}, rim)
	return c.times((1 + 0.15*s.cloud(67, x, y, 6)) * s.light(h.at, r3.Vec{Z: 1}, 1, 1)).plus(0.12 * s.glint(h.at, n, 60))
}

// soaked is the tint that oil gives the paper around a stain.
func (s *photoScene) soaked(c rgb, p r3.Vec) rgb {
	for k := range s.things {
		o := &s.things[k]
		if o.Kind != Stain || square(p.X-o.X)+square(p.Y-o.Y) > square(o.reach+8) {
			continue
		}
		far := math.Exp(-max(o.outside(p.X, p.Y), 0) / 1.2)
		for i, left := range [3]float32{0.62, 0.68, 0.78} {
			c[i] *= 1 - left*float32(far)
		}
	}
	return c
}
