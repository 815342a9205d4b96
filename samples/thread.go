package samples

import (
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// A Screw is a threaded bolt or stud, or what is left of it. Lengths are mm.
type Screw struct {
	Major, Pitch float64 // over the crests as made, and from crest to crest
	FlankDeg     float64 // between the flanks
	Depth        float64 // of the groove, in pitches
	Crest        float64 // width of the flat on the crests, in pitches
	Round        float64 // radius of crests and roots, in pitches; 0: cut sharp

	Length float64 // of the thread, the tip's chamfer with it
	Shank  float64 // length without thread
	Head   float64 // width of the head as it is seen; 0 for none
	Tall   float64 // the head's height

	Worn   float64 // mm that the crests have lost, on average
	Rough  float64 // mm by which rust and dirt wander on the surface
	Nicks  int     // crests that were struck
	Grease float64 // how much of the grooves is full, 0 to 1
}

// A ThreadScan is a bolt on the glass of a flatbed scanner.
type ThreadScan struct {
	Name  string
	Seed  uint64
	Screw Screw

	DPI        float64
	Turn       float64 // degrees counter-clockwise from lying with its tip to the right
	Tilt       float64 // degrees that the tip is lifted off the glass
	Margin     float64 // mm of glass round it
	LidOpen    bool    // black behind it; else the white lid
	Lid        float64 // the lid's grey, 0 to 1
	Metal      float64 // the metal's grey
	Shine      float64 // how strongly it reflects the lamp
	Shadow     float64 // how dark the lid is beside the bolt
	BlurMM     float64 // of optics and of lying above the glass, standard deviation
	Noise      float64 // grey levels
	ScaleX     float64 // relative errors of the scanner's axes
	ScaleY     float64
	JPEGFriend bool // written as JPEG by who makes the file
}

// ThreadTruth is what is known of a rendered bolt.
type ThreadTruth struct {
	Pitch, Major, FlankDeg float64 // the major diameter without the wear
	Turns                  float64 // of full thread in the picture
	Axis                   [2]r2.Vec
}

// profile is the radius of the thread at an axial place, in a section through
// the axis at the angle 0.
func (b Screw) profile(u float64) float64 {
	p := b.Pitch
	t := math.Abs(u/p - math.Round(u/p)) // pitches from the middle of a crest, 0 to 1/2
	slope := 1 / math.Tan(b.FlankDeg/2*math.Pi/180)
	depth := (t - b.Crest/2) * slope
	if b.Round > 0 {
		depth = roundedV(t, b.Depth, slope, b.Round)
	}
	return b.Major/2 - p*clamp(depth, 0, b.Depth)
}

// roundedV is how deep the thread of a V with rounded crests and roots is at t
// pitches from its crest.
func roundedV(t, depth, slope, round float64) float64 {
	if t > 0.25 { // crest and root are alike
		return depth - roundedV(0.5-t, depth, slope, round)
	}
	// The flank passes the middle of the depth a quarter pitch from the crest;
	// an arc of the radius touches it and the crest.
	flank := depth/2 + (t-0.25)*slope
	reach := round * slope / math.Sqrt(1+slope*slope) // of the arc along the axis
	if t < reach {
		return round - math.Sqrt(round*round-t*t)
	}
	return flank
}

// radius is how far the metal reaches at u mm from the tip along the axis, at
// an angle about it.
func (s *threadScene) radius(u, phi float64) float64 {
	b := s.Screw
	tip := b.Major/2 - b.Depth*b.Pitch*1.1 // what the chamfer leaves of the end
	switch {
	case u < 0 || u > s.long:
		return 0
	case u < b.Length:
		turned := u - s.phase - b.Pitch*phi/(2*math.Pi)
		r := b.profile(turned)
		if b.Worn > 0 {
			r = min(r, b.Major/2-b.Worn*(1+0.35*noise2(s.Seed+11, u/(2.2*b.Pitch), phi)))
		}
		for _, n := range s.nicks {
			if d := math.Remainder(phi-n.phi, 2*math.Pi) * b.Major / 2; math.Abs(d) < 3*n.wide && math.Abs(u-n.u) < 3*n.wide {
				r -= n.deep * math.Exp(-(d*d+(u-n.u)*(u-n.u))/(2*n.wide*n.wide))
			}
		}
		if b.Grease > 0 {
			fill := b.Major/2 - b.Depth*b.Pitch*(1.05-0.8*step(1.2-2.2*b.Grease, 2.6-2.2*b.Grease, noise2(s.Seed+12, u/(1.7*b.Pitch), 1.3*phi)))
			r = max(r, fill)
		}
		r += b.Rough * (noise2(s.Seed+13, u/0.18, phi*b.Major/2/0.18) + 0.6*noise2(s.Seed+14, u/0.5, phi*b.Major/2/0.5))
		// The last turns run out towards the shank, the first are cut off.
		return min(r, tip+1.0*u)
	case u < b.Length+b.Shank:
		return b.Major/2 - 0.02
	}
	return b.Head / 2
}

// threadScene is a scan made ready to be looked at.
type threadScene struct {
	ThreadScan
	long  float64 // of the whole bolt
	phase float64 // mm, of the helix
	nicks []nick

	w, h     int
	mmX, mmY float64 // of a pixel on the glass
	tip      r2.Vec  // mm on the glass
	axis     r2.Vec  // from the tip on
	across   r2.Vec
	edge     [2][]float64 // how far the outline reaches to either side, by place along the axis
	edgeStep float64
}

type nick struct{ u, phi, deep, wide float64 }

// Render draws the scan. The same scan and seed give the same picture.
func (t ThreadScan) Render() (*image.Gray, ThreadTruth) {
	s := t.scene()
	img := image.NewGray(image.Rect(0, 0, s.w, s.h))
	seen := make([]float32, s.w*s.h)
	inBands(s.h, 32, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range s.w {
				seen[y*s.w+x] = float32(s.look(x, y))
			}
		}
	})
	kernel := gaussian(t.BlurMM / s.mmX)
	inBands(s.h, 64, func(y0, y1 int) {
		half := len(kernel) / 2
		top, bottom := max(0, y0-half), min(s.h, y1+half)
		out := blurBand(seen[top*s.w:bottom*s.w], s.w, top, y0, y1, kernel)
		for y := y0; y < y1; y++ {
			for x := range s.w {
				v := out[(y-y0)*s.w+x] * 255
				if t.Noise > 0 {
					v += float32(t.Noise) * normal(t.Seed+91, uint64(y*s.w+x))
				}
				img.Pix[y*s.w+x] = level(v)
			}
		}
	})
	b := t.Screw
	end := r2.Add(s.tip, r2.Scale(s.long, s.axis))
	px := func(g r2.Vec) r2.Vec { return r2.Vec{X: g.X / s.mmX, Y: g.Y / s.mmY} }
	return img, ThreadTruth{
		Pitch: b.Pitch, Major: b.Major, FlankDeg: b.FlankDeg,
		Turns: b.Length/b.Pitch - 1, Axis: [2]r2.Vec{px(s.tip), px(end)},
	}
}

func (t ThreadScan) scene() *threadScene {
	s := &threadScene{ThreadScan: t}
	b := t.Screw
	s.long = b.Length + b.Shank
	if b.Head > 0 {
		s.long += b.Tall
	}
	rng := newRand(t.Seed, 71)
	s.phase = b.Pitch * rng.Float64()
	for range b.Nicks {
		s.nicks = append(s.nicks, nick{
			u: b.Length * rng.Float64(), phi: 2 * math.Pi * rng.Float64(),
			deep: b.Depth * b.Pitch * (0.2 + 0.5*rng.Float64()), wide: b.Pitch * (0.2 + 0.4*rng.Float64()),
		})
	}
	s.mmX, s.mmY = 25.4/t.DPI*(1+t.ScaleX), 25.4/t.DPI*(1+t.ScaleY)
	sin, cos := math.Sincos(t.Turn * math.Pi / 180)
	s.axis = r2.Vec{X: -cos, Y: sin} // from the tip towards the head; y down
	s.across = r2.Vec{X: -s.axis.Y, Y: s.axis.X}
	half := max(b.Head, b.Major)/2 + t.Margin
	long := s.long + 2*t.Margin
	wide, high := math.Abs(cos)*long+math.Abs(sin)*2*half, math.Abs(sin)*long+math.Abs(cos)*2*half
	s.w, s.h = int(wide/s.mmX), int(high/s.mmY)
	middle := r2.Vec{X: wide / 2, Y: high / 2}
	s.tip = r2.Sub(middle, r2.Scale(s.long/2, s.axis))
	s.outline()
	return s
}

// outline finds how far the bolt reaches to either side of its axis as it is
// seen: the helix, turned about the axis, has its farthest points not in one
// plane, and of a tilted bolt not at one place of the axis either.
func (s *threadScene) outline() {
	s.edgeStep = min(s.mmX, s.mmY) / 4
	n := int(s.long/s.edgeStep) + 1
	sin, cos := math.Sincos(s.Tilt * math.Pi / 180)
	for side := range s.edge {
		s.edge[side] = make([]float64, n)
	}
	inBands(n, 200, func(from, to int) {
		for i := from; i < to; i++ {
			seenAt := float64(i) * s.edgeStep
			for side := range s.edge {
				base := math.Pi / 2
				if side == 1 {
					base = -math.Pi / 2
				}
				best := 0.0
				for k := -40; k <= 40; k++ {
					phi := float64(k) * math.Pi / 180
					u := seenAt / cos
					r := s.radius(u, base+phi)
					if sin != 0 { // what stands higher is seen farther along
						u = (seenAt - r*math.Cos(base+phi)*sin) / cos
						r = s.radius(u, base+phi)
					}
					best = max(best, r*math.Cos(phi))
				}
				s.edge[side][i] = best
			}
		}
	})
}

// reach is how far the outline lies from the axis at a place along it.
func (s *threadScene) reach(side int, along float64) float64 {
	at := along / s.edgeStep
	i := int(math.Floor(at))
	if i < 0 || i+1 >= len(s.edge[side]) {
		return 0
	}
	f := at - float64(i)
	return s.edge[side][i]*(1-f) + s.edge[side][i+1]*f
}

// look is the brightness of a pixel before the optics blur it.
func (s *threadScene) look(x, y int) float64 {
	const fine = 4
	covered := 0
	for j := range fine {
		for i := range fine {
			a, c := s.place(float64(x)+(float64(i)+0.5)/fine, float64(y)+(float64(j)+0.5)/fine)
			if s.inside(a, c) {
				covered++
			}
		}
	}
	a, c := s.place(float64(x)+0.5, float64(y)+0.5)
	behind := s.behind(a, c)
	if covered == 0 {
		return behind
	}
	share := float64(covered) / (fine * fine)
	return behind*(1-share) + s.metal(a, c)*share
}

// place is where a pixel lies along the axis and across it, mm.
func (s *threadScene) place(x, y float64) (along, across float64) {
	d := r2.Sub(r2.Vec{X: x * s.mmX, Y: y * s.mmY}, s.tip)
	return r2.Dot(d, s.axis), r2.Dot(d, s.across)
}

func (s *threadScene) inside(along, across float64) bool {
	if across >= 0 {
		return across < s.reach(0, along)
	}
	return -across < s.reach(1, along)
}

// behind is the lid or the dark room, with the bolt's shadow on the lid.
func (s *threadScene) behind(along, across float64) float64 {
	if s.LidOpen {
		return 0.03 + 0.01*noise2(s.Seed+31, along/9, across/9)
	}
	v := s.Lid + 0.01*noise2(s.Seed+32, along/12, across/12)
	if s.Shadow > 0 {
		// The lamp stands on one side, so that the shadow falls to the other.
		r := s.Screw.Major / 2
		d := (across - 0.6*r) / (1.1 * r)
		v -= s.Shadow * math.Exp(-d*d) * step(-2, 2, along) * step(-2, 2, s.long-along)
	}
	return v
}

// metal is the brightness of the bolt's skin where it faces the glass.
func (s *threadScene) metal(along, across float64) float64 {
	b := s.Screw
	r := b.Major / 2
	var phi, slope float64
	for range 4 {
		phi = math.Asin(clamp(across/r, -1, 1))
		r = s.radius(along, phi)
		if r <= 0 {
			r = b.Major / 2
		}
	}
	const h = 0.01
	slope = (s.radius(along+h, phi) - s.radius(along-h, phi)) / (2 * h)
	slope = clamp(slope, -3, 3)
	n := 1 / math.Sqrt(1+slope*slope)
	side, up := math.Sin(phi)*n, math.Cos(phi)*n
	lit := clamp(0.45*up+0.35*side+0.2*slope*n, 0, 1)
	shine := math.Pow(clamp(0.86*up+0.5*side, 0, 1), 24)
	v := s.Metal*(0.55+0.75*lit) + s.Shine*shine
	v *= 1 + 0.12*noise2(s.Seed+41, along/0.4, across/0.4) + 0.06*noise2(s.Seed+42, along/0.12, across/0.12)
	return clamp(v, 0, 1.2)
}
