package samples

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// photoEffect is one thing that a photograph may suffer from.
type photoEffect struct {
	name  string
	apply func(p *Photo, rng *rand.Rand)
}

// TiltBeyond35 is the effect of the photographs of a population that are
// taken from more than 35° aslant, up to 45°.
const TiltBeyond35 = "tilt beyond 35°"

// photoEffects are what a population cycles over. Each photograph has a tilt,
// distance, lens, blur, light and JPEG quality of its own besides.
var photoEffects = []photoEffect{
	{"plain", func(*Photo, *rand.Rand) {}},
	{"square on", func(p *Photo, rng *rand.Rand) { p.Camera.Tilt = 1.5 * rng.Float64() }},
	{"tilt 25 to 35°", func(p *Photo, rng *rand.Rand) { p.Camera.Tilt = 25 + 10*rng.Float64() }},
	{TiltBeyond35, func(p *Photo, rng *rand.Rand) { p.Camera.Tilt = 36 + 9*rng.Float64() }},
	{"barrel lens", func(p *Photo, rng *rand.Rand) {
		p.Camera.K1, p.Camera.K2 = -0.15-0.1*rng.Float64(), 0.08+0.05*rng.Float64()
	}},
	{"pincushion lens", func(p *Photo, rng *rand.Rand) { p.Camera.K1, p.Camera.K2 = 0.04+0.06*rng.Float64(), 0 }},
	{"near", func(p *Photo, _ *rand.Rand) { p.Camera.Distance = 300 }},
	{"far", func(p *Photo, rng *rand.Rand) { p.Camera.Distance = 540 + 60*rng.Float64() }},
	{"out of focus", func(p *Photo, rng *rand.Rand) { p.Shot.Defocus = 2 + 1.5*rng.Float64() }},
	{"shaken", func(p *Photo, rng *rand.Rand) { p.Shot.Motion = 3 + 4*rng.Float64() }},
	{"noisy", func(p *Photo, rng *rand.Rand) { p.Shot.Noise, p.Shot.Exposure = 8+6*rng.Float64(), -0.6 }},
	{"uneven light", func(p *Photo, rng *rand.Rand) {
		p.Light.Gradient, p.Light.Distance, p.Light.Ambient = 0.4+0.2*rng.Float64(), 500, 0.3
	}},
	{"raking light", func(p *Photo, rng *rand.Rand) { p.Light.Height, p.Light.Ambient = 18+8*rng.Float64(), 0.35 }},
	{"glare", func(p *Photo, rng *rand.Rand) { p.Light.Glare = 1.2 + 0.8*rng.Float64() }},
	{"stray light", func(p *Photo, rng *rand.Rand) {
		p.Light.Hotspot = 0.25 + 0.25*rng.Float64()
		p.Light.HotspotAt = r2.Vec{X: 0.3 + 0.4*rng.Float64(), Y: 0.3 + 0.4*rng.Float64()}
	}},
	{"a hand on the frame", func(p *Photo, rng *rand.Rand) { hideDots(p, rng, Hand) }},
	{"a rag on the frame", func(p *Photo, rng *rand.Rand) { hideDots(p, rng, Rag) }},
	{"oil on the frame", func(p *Photo, rng *rand.Rand) { hideDots(p, rng, Stain) }},
	{"curled", func(p *Photo, rng *rand.Rand) {
		p.Sheet.Curl, p.Sheet.CurlLine = 2+2*rng.Float64(), 180*rng.Float64()
	}},
	{"wrinkled", func(p *Photo, rng *rand.Rand) { p.Sheet.Wrinkled, p.Light.Height = 1, 30 }},
	{"above the face", func(p *Photo, rng *rand.Rand) { p.Sheet.Above = math.Round(3 + 7*rng.Float64()) }},
	{"chamfers", func(p *Photo, rng *rand.Rand) {
		wider := 1 + 1.5*rng.Float64()
		eachHole(p, func(h *Hole) { h.Outer = h.Diameter + wider })
	}},
	{"counterbores", func(p *Photo, _ *rand.Rand) {
		eachHole(p, func(h *Hole) { h.Outer, h.Counterbore = 1.6*h.Diameter, true })
	}},
	{"threaded", func(p *Photo, _ *rand.Rand) { eachHole(p, func(h *Hole) { h.Threaded = true }) }},
	{"rust", func(p *Photo, rng *rand.Rand) { p.Metal.Rust, p.Face.Pits = 0.3+0.2*rng.Float64(), 60 }},
	{"grease", func(p *Photo, rng *rand.Rand) { p.Metal.Grease = 0.3 + 0.2*rng.Float64() }},
	{"bright holes", func(p *Photo, _ *rand.Rand) {
		p.Metal.Painted, p.Metal.Behind, p.Metal.Depth = true, 0.75, 3
	}},
	{"paper on the metal", func(p *Photo, _ *rand.Rand) { p.Face.Rim = nil }},
	{"keyway", func(p *Photo, _ *rand.Rand) {
		if b := p.Face.Bore; b != nil {
			b.Keyway = 0.24 * b.Diameter
			b.Diameter *= 0.8
		}
	}},
	{"poor JPEG", func(p *Photo, rng *rand.Rand) { p.Shot.JPEGQuality = 60 + rng.IntN(8) }},
	{"oversharpened", func(p *Photo, rng *rand.Rand) { p.Shot.Sharpen, p.Shot.Contrast = 1.3+0.5*rng.Float64(), 0.6 }},
	{"scratched", func(p *Photo, rng *rand.Rand) { p.Face.Scratches, p.Face.FeedDepth = 60, 0.8 }},
	{"bolts and washers", func(p *Photo, rng *rand.Rand) { leaveThings(p, rng, 9) }},
	{"keyed", func(p *Photo, rng *rand.Rand) {
		n := len(p.Face.Holes)
		turnHole(&p.Face.Holes[rng.IntN(n)], (0.08+0.1*rng.Float64())*360/float64(n))
	}},
	{"missing hole", func(p *Photo, rng *rand.Rand) {
		if n := len(p.Face.Holes); n > 4 {
			i := rng.IntN(n)
			p.Face.Holes = append(p.Face.Holes[:i:i], p.Face.Holes[i+1:]...)
		}
	}},
	{"overexposed", func(p *Photo, _ *rand.Rand) { p.Shot.Exposure = 0.5 }},
	{"edges broken", func(p *Photo, rng *rand.Rand) {
		wide := 0.2 + 0.3*rng.Float64()
		eachHole(p, func(h *Hole) { h.Outer = h.Diameter + 2*wide })
		if b := p.Face.Bore; b != nil {
			b.Outer = b.Diameter + 2*(0.3+1.2*rng.Float64())
		}
	}},
}

// PhotoEffectNames are the effects that [PhotoPopulation] cycles over.
func PhotoEffectNames() []string {
	names := make([]string, len(photoEffects))
	for i, e := range photoEffects {
		names[i] = e.name
	}
	return names
}

// PhotoPopulation is n photographs of faces with a printed frame round them,
// which cycle over every effect; from the second cycle on a second effect comes
// on top. Tilt is up to 35° but for those with [TiltBeyond35], distance 300
// to 600 mm unless the frame needs more to be in the picture, K1 from −0.25
// to 0.1 and JPEG quality 60 to 95.
//
// frame makes the frame for a window of at least that size, mm; nil stands for
// a [DotBorder] on A4 paper.
func PhotoPopulation(n int, seed uint64, frame func(windowMM float64) Sheet) []Photo {
	if frame == nil {
		frame = func(window float64) Sheet { return DotBorder(210, 297, window, window, 10, 5) }
	}
	list := make([]Photo, 0, max(n, 0))
	for i := range n {
		rng := newRand(seed, 9000+uint64(i))
		e := photoEffects[i%len(photoEffects)]
		p := ordinaryPhoto(rng, frame)
		p.Effects = []string{e.name}
		second := photoEffects[rng.IntN(len(photoEffects))]
		if i < len(photoEffects) || second.name == e.name || second.name == TiltBeyond35 {
			second = photoEffects[0]
		}
		// What hides dots or holes must know where they are.
		if second.name != "plain" {
			second.apply(&p, rng)
			p.Effects = append(p.Effects, second.name)
		}
		e.apply(&p, rng)
		p.Camera.K2 = oneToOne(p.Camera)
		p.intoPicture()
		p.Name = fmt.Sprintf("%03d %s", i, e.name)
		list = append(list, p)
	}
	return list
}

// ordinaryPhoto is a photograph like most: everything moderate.
func ordinaryPhoto(rng *rand.Rand, frame func(windowMM float64) Sheet) Photo {
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	n := 3 + rng.IntN(8)
	pcd := within(45, 105)
	largest := min(16, pcd*math.Sin(math.Pi/float64(n))/2.2)
	hole := math.Round(10*within(4.5, max(largest, 5))) / 10
	face := Ring(n, math.Round(2*pcd)/2, hole)
	turn := within(0, 360)
	for i := range face.Holes {
		turnHole(&face.Holes[i], turn)
	}
	if room := pcd/2 - 0.9*hole - 3; room > 8 && rng.Float64() < 0.8 {
		face.Bore = &Disc{Diameter: math.Round(2 * room * within(0.4, 0.95))}
	}
	face.Rim = &Disc{Diameter: math.Round(pcd + 2.2*hole + within(2, 10))}
	return photoOf(face, rng, frame)
}

// OrdinaryPhoto is a photograph of a face with a rim and with a frame round it
// (see [PhotoPopulation]), of which everything else is drawn, all moderate.
func OrdinaryPhoto(face Face, seed uint64, frame func(windowMM float64) Sheet) Photo {
	p := photoOf(face, newRand(seed, 9001), frame)
	p.Camera.K2 = oneToOne(p.Camera)
	p.intoPicture()
	return p
}

// photoOf draws how a face with a rim is and was photographed.
func photoOf(face Face, rng *rand.Rand, frame func(windowMM float64) Sheet) Photo {
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	face.FeedPitch, face.FeedDepth = within(0.15, 0.6), within(0.2, 0.6)
	face.Scratches = rng.IntN(20)

	p := NewPhoto(face, rng.Uint64())
	p.Metal.Tone = within(0.35, 0.6)
	p.Metal.Rust, p.Metal.Grease = within(0, 0.12), within(0, 0.15)
	p.Metal.Burr = within(0.08, 0.3)
	p.Metal.Depth = within(8, 25)
	p.Ground = Ground(rng.IntN(4))
	p.Drop = within(5, 20)

	sheet := frame(face.Rim.Diameter + within(4, 12))
	sheet.Offset = r2.Vec{X: 1.5 * rng.NormFloat64(), Y: 1.5 * rng.NormFloat64()}
	sheet.Turn = 360 * rng.Float64()
	sheet.Curl, sheet.CurlLine = within(0, 1.5), within(0, 180)
	sheet.Wrinkled = within(0, 0.4)
	p.Sheet = &sheet

	c := &p.Camera
	c.Focal = within(2850, 3350)
	c.Principal = r2.Add(c.Principal, r2.Vec{X: 20 * rng.NormFloat64(), Y: 20 * rng.NormFloat64()})
	c.K1, c.K2 = within(-0.12, 0.05), within(0, 0.08)
	c.Distance = within(320, 520)
	c.Tilt, c.Toward = 35*math.Sqrt(rng.Float64()), within(0, 360)
	// The sheet's long side runs along the picture's, whichever way round.
	c.Turn = -sheet.Turn + 4*rng.NormFloat64() + 180*float64(rng.IntN(2))
	if sheet.Height > sheet.Width {
		c.Turn += 90
	}
	c.Aim = r2.Vec{X: 6 * rng.NormFloat64(), Y: 6 * rng.NormFloat64()}
	p.Phone.Focal35MM = math.Round(c.Focal * 43.27 / math.Hypot(float64(c.Width), float64(c.Height)))
	p.Phone.FocalMM = math.Round(100*p.Phone.Focal35MM*5.1/26) / 100

	l := &p.Light
	l.From, l.Height = within(0, 360), within(35, 65)
	l.Ambient, l.Glare, l.Warm = within(0.4, 0.7), within(0.2, 0.7), within(-0.5, 0.8)
	l.Gradient, l.GradientTo, l.Vignette = within(0, 0.25), within(0, 360), within(0.1, 0.35)
	s := &p.Shot
	s.Exposure = within(-0.5, 0.15)
	s.Defocus, s.Motion, s.MotionAngle = within(0.6, 1.3), within(0, 1.5), within(0, 180)
	s.Noise, s.Sharpen, s.Contrast = within(1.2, 4), within(0.2, 0.8), within(0.1, 0.5)
	s.JPEGQuality = 70 + rng.IntN(26)
	return p
}

// oneToOne is a K2 with which the lens model reaches the picture's corners
// without folding over: the camera's own or a larger one.
func oneToOne(c Camera) float64 {
	for range 40 {
		if _, ok := newEye(c).ray(0, 0); ok {
			if _, ok := newEye(c).ray(float64(c.Width), float64(c.Height)); ok {
				break
			}
		}
		c.K2 += 0.01
	}
	return c.K2
}

// intoPicture moves the camera back until all of the sheet is in the picture.
func (p *Photo) intoPicture() {
	l := layOut(*p.Sheet)
	for range 60 {
		e := newEye(p.Camera)
		all := true
		for _, corner := range [4]r2.Vec{{X: 1, Y: 1}, {X: -1, Y: 1}, {X: -1, Y: -1}, {X: 1, Y: -1}} {
			px, ok := e.project(l.point(r2.Vec{X: corner.X * l.Width / 2, Y: corner.Y * l.Height / 2}))
			all = all && ok && p.Camera.inside(px)
		}
		if all {
			return
		}
		p.Camera.Distance *= 1.03
	}
}

// hideDots lays things of one kind on the frame until about a third of its dots
// are hidden, as the camera sees them: each where it hides most but not too
// many. It keeps them off the holes.
func hideDots(p *Photo, rng *rand.Rand, kind Kind) {
	const enough, tooMany = 0.33, 0.45
	l := layOut(*p.Sheet)
	free := l.Dots
	for range 40 {
		var best Thing
		most := 0
		for range 25 {
			d := free[rng.IntN(len(free))]
			at := l.point(r2.Vec{X: d.X, Y: d.Y})
			t := Thing{Kind: kind, X: at.X, Y: at.Y, Base: at.Z, Turn: 360 * rng.Float64()}
			switch kind {
			case Hand:
				t.Size = 15 + 3*rng.Float64()
				t.Turn = math.Atan2(at.Y, at.X)*180/math.Pi + 20*rng.NormFloat64()
			case Rag:
				t.Size = 25 + 20*rng.Float64()
			default:
				t.Size = 9 + 12*rng.Float64()
			}
			o := newThing(t, 0)
			count := 0
			for _, d := range free {
				if q := l.point(r2.Vec{X: d.X, Y: d.Y}); o.outside(q.X, q.Y) < 0 {
					count++
				}
			}
			if count > most && !p.coversHole([]Thing{t}) {
				best, most = t, count
			}
		}
		if most == 0 {
			continue
		}
		p.Things = append(p.Things, best)
		seen := p.freeDots()
		switch hidden := 1 - float64(len(seen))/float64(len(l.Dots)); {
		case hidden > tooMany:
			p.Things = p.Things[:len(p.Things)-1]
		case hidden > enough:
			return
		default:
			free = seen
		}
	}
}

// freeDots are those dots of the sheet that nothing hides.
func (p *Photo) freeDots() []Disc {
	s := newPhotoScene(*p)
	var free []Disc
	for i, d := range s.truth().Dots {
		if !d.Hidden() {
			free = append(free, s.sheet.Dots[i])
		}
	}
	return free
}

// coversHole tells whether things, with what they lean over, come near a hole.
func (p *Photo) coversHole(list []Thing) bool {
	for _, t := range list {
		o := newThing(t, 0)
		for _, h := range p.Face.Holes {
			// Rags and stains wander from their outline by less than a third.
			room := max(h.Diameter, h.Outer)/2 + 1.2*o.tall + 1
			if t.Kind == Rag || t.Kind == Stain {
				room += 0.4 * t.Size
			}
			if o.outside(h.X, h.Y) < room {
				return true
			}
		}
	}
	return false
}

// leaveThings leaves bolts, nuts and washers about: on the frame, in its
// window beside the part, and on the face between the holes.
func leaveThings(p *Photo, rng *rand.Rand, n int) {
	reach := 150.0
	for range 40 * n {
		if len(p.Things) >= n {
			return
		}
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		r := reach * math.Sqrt(rng.Float64())
		t := Thing{Kind: Kind(rng.IntN(3)), X: r * cos, Y: r * sin, Turn: 360 * rng.Float64()}
		switch t.Kind {
		case Washer:
			t.Size = 12 + 12*rng.Float64()
		default:
			t.Size = 6 + 4*rng.Float64()
		}
		o := newThing(t, 0)
		if b := p.Face.Bore; b != nil && math.Hypot(t.X-b.X, t.Y-b.Y) < b.Diameter/2+o.reach {
			continue
		}
		if rim := p.Face.Rim; rim != nil {
			d := math.Hypot(t.X-rim.X, t.Y-rim.Y) - rim.Diameter/2
			if math.Abs(d) < o.reach {
				continue
			}
			if d > 0 {
				t.Base = -p.Drop
			}
		}
		l := layOut(*p.Sheet)
		if s, _ := l.meet(r3.Vec{X: t.X, Y: t.Y, Z: 100}, r3.Vec{Z: -1}); math.Abs(l.beside(s)) < o.reach {
			continue
		} else if l.beside(s) < 0 {
			t.Base = l.point(s).Z
		}
		if !p.coversHole([]Thing{t}) {
			p.Things = append(p.Things, t)
		}
	}
}

func eachHole(p *Photo, change func(h *Hole)) {
	for i := range p.Face.Holes {
		change(&p.Face.Holes[i])
	}
}
