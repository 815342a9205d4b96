package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// thing is made ready to be met by rays: an outline, as a signed distance, that
// goes straight up to its height.
type thing struct {
	Thing
	seed     uint64
	sin, cos float64
	reach    float64 // no part is further from its position
	tall     float64
	round    float64 // mm over which its top bends down at the outline
}

func newThing(t Thing, seed uint64) thing {
	o := thing{Thing: t, seed: seed}
	o.sin, o.cos = math.Sincos(t.Turn * math.Pi / 180)
	d := t.Size
	switch t.Kind {
	case Washer:
		o.reach, o.tall, o.round = d/2, 0.09*d, 0.02*d
	case Nut:
		o.reach, o.tall, o.round = d, 0.8*d, 0.15*d
	case Bolt:
		o.reach, o.tall, o.round = 4.4*d, 0.9*d, 0.5*d
	case Rag:
		o.reach, o.tall, o.round = 1.6*d, min(0.08*d, 2.5), 2.5
	case Stain:
		o.reach, o.tall = 1.5*d, 0
	case Hand:
		o.reach, o.tall, o.round = 90*d, 0.8*d, 0.45*d
	}
	return o
}

// outside is how far a point of the plane is from the outline, mm; negative
// within it.
func (o *thing) outside(x, y float64) float64 {
	x, y = x-o.X, y-o.Y
	if x*x+y*y > square(o.reach+10) {
		return hypot(x, y) - o.reach
	}
	x, y = x*o.cos+y*o.sin, -x*o.sin+y*o.cos
	d := o.Size
	switch o.Kind {
	case Washer:
		r := hypot(x, y)
		return max(r-d/2, 0.26*d-r)
	case Nut:
		return max(hexagon(x, y, 0.8*d), d/2-hypot(x, y))
	case Bolt:
		// Head, flange and shank, lying on its side.
		return min(box(x+3.4*d, y, 0.35*d, 0.85*d)-0.05*d, box(x, y, 3.2*d, 0.5*d)-0.02*d)
	case Hand:
		return hand(x/d, y/d) * d
	case Rag:
		r := hypot(x, y)
		cos, sin := x/max(r, 1e-9), y/max(r, 1e-9)
		// Four corners, none of them square.
		edge := d / math.Pow(cos*cos*cos*cos+sin*sin*sin*sin, 0.25) * (0.92 + 0.12*noise2(o.seed, 1.6*cos, 1.6*sin))
		return (r - edge) * 0.7
	default:
		r := hypot(x, y)
		cos, sin := x/max(r, 1e-9), y/max(r, 1e-9)
		edge := d * (1 + 0.16*noise2(o.seed, 1.3*cos, 1.3*sin))
		return (r - edge) * 0.8
	}
}

// fingers of a hand and its thumb: roots and tips, and their width, with the
// middle finger's tip at the origin, in widths of a finger.
var fingers = [...]struct{ x0, y0, x1, y1, half float64 }{
	{5.6, 1.05, 1.1, 1.5, 0.47},
	{5.5, 0, 0.5, 0, 0.5},
	{5.6, -1.05, 0.9, -1.45, 0.48},
	{6.0, -2.05, 2.4, -3.0, 0.4},
	{8.0, 1.05, 4.9, 3.6, 0.55},
}

// hand is the distance from a hand that comes in along x.
func hand(x, y float64) float64 {
	if x < -3 {
		return hypot(x, y) - 1
	}
	out := box(x-7.8, y+0.45, 1.5, 1.2) - 0.9          // palm
	out = smoothMin(out, box(x-49, y, 40, 1.0)-0.6, 1) // arm
	for _, f := range fingers {
		m := mark{a: r2.Vec{X: f.x0, Y: f.y0}, b: r2.Vec{X: f.x1, Y: f.y1}}
		out = smoothMin(out, m.distance(r2.Vec{X: x, Y: y})-f.half, 0.25)
	}
	return out
}

// smoothMin is the smaller of two distances, rounded where they are alike.
func smoothMin(a, b, k float64) float64 {
	h := clamp(0.5+(b-a)/(2*k), 0, 1)
	return b + (a-b)*h - k*h*(1-h)
}

// hexagon is the distance from a hexagon of that radius to its flats.
func hexagon(x, y, flat float64) float64 {
	x, y = math.Abs(x), math.Abs(y)
	return max(y, x*math.Sqrt(3)/2+y/2) - flat
}

// sides is how many levels of a thing's side are looked at.
const sides = 6

// traceThings finds the first thing in a ray's way.
func (s *photoScene) traceThings(from, d r3.Vec) (hit, bool) {
	best := hit{at: r3.Vec{Z: math.Inf(-1)}}
	for k := range s.things {
		o := &s.things[k]
		at := func(z float64) (float64, float64) {
			t := (z - from.Z) / d.Z
			return from.X + t*d.X, from.Y + t*d.Y
		}
		x, y := at(o.Base)
		lean := o.tall * hypot(d.X, d.Y) / -d.Z
		if square(x-o.X)+square(y-o.Y) > square(o.reach+lean) {
			continue
		}
		for i := range sides + 1 {
			z := o.Base + o.tall*float64(sides-i)/sides
			if z <= best.at.Z {
				break
			}
			if z > from.Z-1 {
				continue // not below the camera
			}
			x, y := at(z)
			out := o.outside(x, y)
			if out < 0 {
				best = hit{on: object, id: 2000 + int32(k), k: k, at: r3.Vec{X: x, Y: y, Z: z}}
				const e = 0.02
				best.n = r3.Vec{X: o.outside(x+e, y) - o.outside(x-e, y), Y: o.outside(x, y+e) - o.outside(x, y-e)}
				if long := norm(best.n); long > 1e-9 {
					best.n = r3.Scale(1/long, best.n)
				}
				// The top bends down towards the outline.
				lean := 1.0
				if i == 0 {
					lean = clamp(1+out/max(o.round, 1e-6), 0, 1)
				}
				best.n = r3.Vec{X: best.n.X * lean, Y: best.n.Y * lean, Z: math.Sqrt(max(1-lean*lean, 0.01))}
				best.deep = out
				break
			}
			if o.tall == 0 {
				break
			}
		}
	}
	return best, best.on == object
}

// shadowOfThings is the share of the lamp's light that comes past all things
// to a point.
func (s *photoScene) shadowOfThings(p r3.Vec) float64 {
	light := 1.0
	if s.screw != nil {
		light = s.screw.shadow(p, s.toLamp)
	}
	for k := range s.things {
		o := &s.things[k]
		// Not where the thing is itself, and nothing below it.
		high := o.Base + 0.6*o.tall - p.Z
		if o.tall == 0 || high <= 0 {
			continue
		}
		x, y := p.X+high*s.toLamp.X/s.toLamp.Z, p.Y+high*s.toLamp.Y/s.toLamp.Z
		soft := 0.4 + 0.25*high
		if square(x-o.X)+square(y-o.Y) > square(o.reach+soft) {
			continue
		}
		light *= step(-soft, soft, o.outside(x, y))
	}
	return light
}

// nearThings is the share of the light from everywhere that things beside a
// point leave.
func (s *photoScene) nearThings(p r3.Vec) float64 {
	light := 1.0
	for k := range s.things {
		o := &s.things[k]
		if o.tall == 0 || o.Base > p.Z+1 || square(p.X-o.X)+square(p.Y-o.Y) > square(o.reach+o.tall) {
			continue
		}
		if out := o.outside(p.X, p.Y); out < o.tall {
			light *= 1 - 0.5*math.Exp(-3*max(out, 0)/o.tall)
		}
	}
	return light
}

// normal is the sheet's at a point of it.
func (l *laidSheet) normal(p r3.Vec) r3.Vec {
	if l.bend == 0 {
		return r3.Vec{Z: 1}
	}
	_, _, u := l.flat(p.X, p.Y)
	slope := 2 * l.bend * u
	// Across the line, on the face.
	a := r2.Vec{X: -(l.cos*l.lineSin + l.sin*l.lineCos), Y: l.cos*l.lineCos - l.sin*l.lineSin}
	return unit(r3.Vec{X: -slope * a.X, Y: -slope * a.Y, Z: 1})
}
