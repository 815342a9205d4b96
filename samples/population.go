package samples

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
)

// effect is one thing that a rubbing may suffer from.
type effect struct {
	name  string
	apply func(r *Rubbing, rng *rand.Rand)
}

// effects are what a population cycles over, one or two to a rubbing.
var effects = []effect{
	{"plain", func(*Rubbing, *rand.Rand) {}},
	{"tone 15 %", func(r *Rubbing, _ *rand.Rand) { r.Tone = 0.15 }},
	{"tone 30 %", func(r *Rubbing, _ *rand.Rand) { r.Tone = 0.3 }},
	{"tone 70 %", func(r *Rubbing, _ *rand.Rand) { r.Tone = 0.7 }},
	{"tone 90 %", func(r *Rubbing, _ *rand.Rand) { r.Tone = 0.9 }},
	{"uneven pressure", func(r *Rubbing, _ *rand.Rand) { r.Uneven, r.Streaks = 1, 1 }},
	{"pale areas", func(r *Rubbing, rng *rand.Rand) { r.PaleAreas = 2 + rng.IntN(3) }},
	{"two stroke directions", func(r *Rubbing, rng *rand.Rand) {
		r.Cross, r.CrossAngle = 0.5+0.5*rng.Float64(), r.StrokeAngle+50+60*rng.Float64()
	}},
	{"coarse grain", func(r *Rubbing, _ *rand.Rand) { r.Grain, r.GrainSize = 1, 2 }},
	{"no edge line", func(r *Rubbing, _ *rand.Rand) { r.EdgeLine = 0 }},
	{"strong edge line", func(r *Rubbing, _ *rand.Rand) { r.EdgeLine, r.EdgeLineWidth = 1.8, 0.8 }},
	{"soft edges", func(r *Rubbing, _ *rand.Rand) { r.EdgeSoftness, r.Bridging, r.EdgeWander = 0.45, 0.12, 0.03 }},
	{"smudges", func(r *Rubbing, rng *rand.Rand) { r.Smudges = 6 + rng.IntN(8) }},
	{"scratches", func(r *Rubbing, rng *rand.Rand) { r.Face.Scratches = 15 + rng.IntN(25) }},
	{"casting marks", func(r *Rubbing, rng *rand.Rand) { r.Face.Pits = 30 + rng.IntN(50) }},
	{"feed marks", func(r *Rubbing, rng *rand.Rand) {
		r.Face.FeedPitch, r.Face.FeedDepth = 0.15+0.45*rng.Float64(), 0.35+0.4*rng.Float64()
	}},
	{"handwriting", func(r *Rubbing, rng *rand.Rand) {
		r.Handwriting = 3 + rng.IntN(4)
		r.Width += 20
		r.Height += 24
	}},
	{"bore off centre", func(r *Rubbing, rng *rand.Rand) {
		withBore(r, rng)
		if b := r.Face.Bore; b != nil {
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			off := min(0.3+1.2*rng.Float64(), b.Diameter/20)
			b.X, b.Y, b.Diameter = off*cos, off*sin, b.Diameter-2*off
		}
	}},
	{"keyway", func(r *Rubbing, rng *rand.Rand) {
		withBore(r, rng)
		if b := r.Face.Bore; b != nil {
			b.Keyway = b.Diameter * 0.24
			b.Diameter -= b.Keyway * 0.7
		}
	}},
	{"rim", withRim},
	{"chamfers", func(r *Rubbing, rng *rand.Rand) {
		wider := 1.2 + 1.6*rng.Float64()
		each(r, func(h *Hole) { h.Outer = h.Diameter + wider })
		if b := r.Face.Bore; b != nil {
			b.Outer = b.Diameter + wider
		}
	}},
	{"counterbores", func(r *Rubbing, _ *rand.Rand) {
		each(r, func(h *Hole) { h.Outer, h.Counterbore = 1.75*h.Diameter, true })
	}},
	{"two sizes", func(r *Rubbing, rng *rand.Rand) {
		share := 0.55 + 0.15*rng.Float64()
		for i := range r.Face.Holes {
			if i%2 == 1 {
				r.Face.Holes[i].Diameter = math.Round(10*max(4, share*r.Face.Holes[i].Diameter)) / 10
			}
		}
	}},
	{"threaded", func(r *Rubbing, _ *rand.Rand) { each(r, func(h *Hole) { h.Threaded = true }) }},
	{"rims 60 % rubbed", func(r *Rubbing, rng *rand.Rand) {
		for i := range r.Face.Holes {
			if i == 0 || rng.Float64() < 0.4 {
				r.Face.Holes[i].Unrubbed = 0.25 + 0.12*rng.Float64()
			}
		}
	}},
	{"patches only", func(r *Rubbing, _ *rand.Rand) { r.PatchesOnly = true }},
	{"grease print", func(r *Rubbing, _ *rand.Rand) { r.Style, r.Smudges = Grease, 5 }},
	{"slipped", func(r *Rubbing, rng *rand.Rand) {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		d := 1.2 + 2*rng.Float64()
		r.Slip, r.SlipShare = r2.Vec{X: d * cos, Y: d * sin}, 0.35+0.2*rng.Float64()
	}},
	{"lead in holes", func(r *Rubbing, rng *rand.Rand) {
		each(r, func(h *Hole) {
			if rng.Float64() < 0.6 {
				h.Blocked = 0.3 + 0.6*rng.Float64()
			}
		})
	}},
	{"missing hole", func(r *Rubbing, rng *rand.Rand) {
		if n := len(r.Face.Holes); n > 4 {
			i := rng.IntN(n)
			r.Face.Holes = append(r.Face.Holes[:i:i], r.Face.Holes[i+1:]...)
		}
	}},
	{"folds", func(r *Rubbing, rng *rand.Rand) { r.Folds = 1 + rng.IntN(2) }},
	{"grey lid", func(r *Rubbing, rng *rand.Rand) { onLid(r, rng, 0.5+0.2*rng.Float64()) }},
	{"black lid", func(r *Rubbing, rng *rand.Rand) { onLid(r, rng, 0.04) }},
	{"1 bit, threshold", func(r *Rubbing, _ *rand.Rand) { r.Output, r.Tone = Threshold, 0.6 }},
	{"1 bit, dithered", func(r *Rubbing, _ *rand.Rand) { r.Output = Dither }},
	{"colour", func(r *Rubbing, _ *rand.Rand) { r.Output = Colour }},
	{"white on black", func(r *Rubbing, _ *rand.Rand) { r.Style = Chalk }},
	{"poor JPEG", func(r *Rubbing, rng *rand.Rand) { r.JPEGQuality = 35 + rng.IntN(30) }},
	{"noisy blurred scanner", func(r *Rubbing, _ *rand.Rand) { r.Blur, r.Noise, r.UnevenLight = 1.3, 6, 0.08 }},
	{"bad axes", func(r *Rubbing, rng *rand.Rand) {
		r.ScaleX, r.ScaleY, r.Shear = 0.004*rng.NormFloat64(), 0.004*rng.NormFloat64(), 0.002*rng.NormFloat64()
	}},
	{"keyed", func(r *Rubbing, rng *rand.Rand) {
		// One hole off its even place by some degrees, as far as its
		// neighbours leave room.
		n := len(r.Face.Holes)
		i := rng.IntN(n)
		turnHole(&r.Face.Holes[i], (0.08+0.1*rng.Float64())*360/float64(n))
	}},
	{"100 dpi", func(r *Rubbing, _ *rand.Rand) { r.DPI = 100 }},
	{"600 dpi", func(r *Rubbing, rng *rand.Rand) { fine(r, rng, 600) }},
	{"1200 dpi", func(r *Rubbing, rng *rand.Rand) { fine(r, rng, 1200) }},
}

// minor are the effects that are added as a second to another one: they change
// neither what a person would call the pattern nor the resolution.
var minor = []string{"plain", "smudges", "handwriting", "scratches", "folds", "poor JPEG", "colour", "feed marks", "bad axes", "grey lid", "two stroke directions", "uneven pressure"}

// Population is n rubbings that cycle over every effect, most of them at 150
// and 300 dpi, with 3 to 12 holes of 4 to 20 mm on pitch circles of 30 to
// 170 mm, each on a page that is just large enough. From the second cycle on a
// second, minor effect may come on top.
func Population(n int, seed uint64) []Rubbing {
	list := make([]Rubbing, 0, max(n, 0))
	for i := range n {
		rng := newRand(seed, uint64(i))
		e := effects[i%len(effects)]
		r := ordinary(rng, rng.Uint64())
		r.Effects = []string{e.name}
		e.apply(&r, rng)
		if i >= len(effects) {
			if second := effectNamed(minor[rng.IntN(len(minor))]); second.name != e.name && second.name != "plain" {
				second.apply(&r, rng)
				r.Effects = append(r.Effects, second.name)
			}
		}
		r.Name = fmt.Sprintf("%03d %s", i, e.name)
		list = append(list, r)
	}
	return list
}

func effectNamed(name string) effect {
	for _, e := range effects {
		if e.name == name {
			return e
		}
	}
	return effects[0]
}

// EffectNames are the effects that [Population] cycles over.
func EffectNames() []string {
	names := make([]string, len(effects))
	for i, e := range effects {
		names[i] = e.name
	}
	return names
}

// ordinary is a rubbing like most: everything moderate, some parts with bore
// or rim, in any position.
func ordinary(rng *rand.Rand, seed uint64) Rubbing {
	n := 3 + rng.IntN(10)
	pcd := 30 * math.Pow(170.0/30, math.Pow(rng.Float64(), 1.6))
	r := New(facePlan(rng, n, pcd), seed)
	r.DPI = 300
	if rng.Float64() < 0.5 {
		r.DPI = 150
		r.Blur = 0.5
	}
	switch rng.IntN(5) {
	case 0, 1:
		withBore(&r, rng)
	case 2:
		withBore(&r, rng)
		withRim(&r, rng)
	}
	r.moderate(rng)
	return r
}

// Vary draws everything about a rubbing but its face and its resolution: how
// it was rubbed and lies on the glass, and how the scanner errs; all moderate,
// as most rubbings are. Half of them suffer from one minor effect besides,
// of those that [Population] has.
func (r *Rubbing) Vary(seed uint64) {
	rng := newRand(seed, 1)
	r.Seed = rng.Uint64()
	r.moderate(rng)
	if e := effectNamed(minor[rng.IntN(len(minor))]); rng.Float64() < 0.5 {
		e.apply(r, rng)
		r.Effects = []string{e.name}
	}
}

// moderate draws how a rubbing was made, on a page just large enough.
func (r *Rubbing) moderate(rng *rand.Rand) {
	r.Turn = 360 * rng.Float64()
	r.Tone = 0.35 + 0.25*rng.Float64()
	r.StrokeAngle = 180 * rng.Float64()
	r.StrokeWidth = 3 + 3*rng.Float64()
	r.Streaks = 0.5 + 0.35*rng.Float64()
	r.Uneven = 0.2 + 0.3*rng.Float64()
	r.Grain = 0.6 + 0.3*rng.Float64()
	r.GrainSize = 0.8 + 0.5*rng.Float64()
	r.EdgeLine = 0.6 + 0.7*rng.Float64()
	r.EdgeLineWidth = 0.25 + 0.45*rng.Float64()
	r.EdgeSoftness = 0.12 + 0.12*rng.Float64()
	r.Bridging = 0.02 + 0.08*rng.Float64()
	r.ScaleX, r.ScaleY = 0.0015*rng.NormFloat64(), 0.0015*rng.NormFloat64()
	r.Shear = 0.0004 * rng.NormFloat64()
	r.Noise = 1 + 1.5*rng.Float64()
	r.Fit(4 + 4*rng.Float64())
	r.Offset = r2.Vec{X: 1.5 * rng.NormFloat64(), Y: 1.5 * rng.NormFloat64()}
}

// facePlan is n even holes as large as makers drill them: they leave at least
// one and a half diameters from hole to hole.
func facePlan(rng *rand.Rand, n int, pcd float64) Face {
	largest := pcd * math.Sin(math.Pi/float64(n)) / 2.5
	largest = min(20, largest, pcd/4)
	d := 4 + (max(largest, 4)-4)*rng.Float64()
	return Ring(n, pcd, math.Round(10*d)/10)
}

// withBore gives the face a centre bore that stays clear of the holes.
func withBore(r *Rubbing, rng *rand.Rand) {
	room := math.Inf(1) // radius
	for _, h := range r.Face.Holes {
		room = min(room, math.Hypot(h.X, h.Y)-0.9*h.Diameter)
	}
	room -= 3
	if room < 4 {
		return
	}
	d := 2 * room * (0.45 + 0.5*rng.Float64())
	r.Face.Bore = &Disc{Diameter: math.Round(10*d) / 10}
}

// withRim ends the metal outside the holes and makes the page fit.
func withRim(r *Rubbing, rng *rand.Rand) {
	edge := 0.0
	for _, h := range r.Face.Holes {
		edge = max(edge, math.Hypot(h.X, h.Y)+0.9*h.Diameter)
	}
	r.Face.Rim = &Disc{Diameter: math.Round(2 * (edge + 2 + 6*rng.Float64()))}
	r.Fit(5)
}

// onLid puts a turned sheet on the glass with the lid showing around it.
func onLid(r *Rubbing, rng *rand.Rand, lid float64) {
	r.Paper = Paper{Width: r.Width, Height: r.Height, Turn: 4 * rng.NormFloat64(), Lid: lid}
	r.Width *= 1.16
	r.Height *= 1.16
}

// fine scans a small face at a high resolution.
func fine(r *Rubbing, rng *rand.Rand, dpi float64) {
	largest := 70.0
	if dpi > 600 {
		largest = 40
	}
	n := 3 + rng.IntN(4)
	r.Face = facePlan(rng, n, 30+(largest-30)*rng.Float64())
	r.DPI = dpi
	r.Blur = 0.6 * dpi / 300 // the optics stay the same
	r.Fit(1)
	r.Offset = r2.Vec{}
}

func each(r *Rubbing, change func(h *Hole)) {
	for i := range r.Face.Holes {
		change(&r.Face.Holes[i])
	}
}

// turnHole moves a hole about the face's origin, degrees counter-clockwise.
func turnHole(h *Hole, degrees float64) {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	h.X, h.Y = h.X*cos-h.Y*sin, h.X*sin+h.Y*cos
}
