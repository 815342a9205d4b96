package samples

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// fullExposure covers all of the paper.
const fullExposure = 7

// strokeCell is the cell of the pressure map, mm: fine enough for the streaks
// within one stroke.
const strokeCell = 0.2

// patch is a round part of the sheet that is stroked over.
type patch struct {
	centre r2.Vec // glass
	radius float64
	turn   float64 // degrees by which its strokes differ from the others'
}

// stroke is one pull of the pencil held flat.
type stroke struct {
	middle    r2.Vec
	sin, cos  float64
	length    float64
	width     float64
	bow       float64 // curvature, 1/mm: the hand turns about the wrist
	strength  float64
	seed      uint64
	streaks   float64
	turnStart bool // the hand turned round there, which leaves more lead
	turnEnd   bool
}

// pressure is the lead that would stick to paper fully backed by metal, as an
// exposure E: the share of the paper that is covered is 1 − exp(−E). The
// strokes lie where the face is seen, shifted (glass, mm).
func (s *scene) pressure(seed uint64, shift r2.Vec, tone float64) *field {
	f := newField(s.width, s.height, strokeCell)
	if s.Style == Grease {
		return f
	}
	patches := s.patches()
	for k, p := range patches {
		p.centre = r2.Add(p.centre, shift)
		patches[k] = p
		rng := newRand(seed, 100+uint64(k))
		s.layStrokes(f, p, s.StrokeAngle+p.turn, 1, rng)
		if s.Cross > 0 {
			s.layStrokes(f, p, s.CrossAngle+p.turn, s.Cross, rng)
		}
	}
	s.unsteadyHand(f, seed)
	s.setTone(f, patches, tone)
	s.palePlaces(f)
	s.spareRims(f)
	return f
}

// patches says where strokes go: over the whole face, or round each hole.
func (s *scene) patches() []patch {
	if !s.PatchesOnly {
		return []patch{{centre: s.place.origin, radius: s.radius()}}
	}
	rng := newRand(s.Seed, 2)
	var list []patch
	for _, h := range s.Face.Holes {
		centre := s.place.glass(r2.Vec{X: h.X, Y: h.Y})
		centre.X += rng.NormFloat64() * 0.6
		centre.Y += rng.NormFloat64() * 0.6
		list = append(list, patch{
			centre: centre,
			radius: max(h.Diameter, h.Outer)/2 + 4.5 + 2.5*rng.Float64(),
			turn:   rng.NormFloat64() * 14,
		})
	}
	return list
}

// layStrokes covers a patch with strokes to and fro, line by line, each line
// in as many pulls as the hand's reach needs.
func (s *scene) layStrokes(f *field, p patch, angle, strength float64, rng *rand.Rand) {
	if s.Streaks == 0 && s.Ragged == 0 {
		s.flood(f, p, strength)
		return
	}
	width, differ := s.StrokeWidth, 0.45*s.Streaks
	if s.PatchesOnly {
		// A small patch is rubbed with more care than a wide face.
		width, differ = min(width, 3.5), 0.6*differ
	}
	sin, cos := math.Sincos(-angle * math.Pi / 180) // glass has y down
	lean := 0.0
	drifts := rng.Uint64()
	for v := -p.radius; v <= p.radius; v += width * (0.34 + 0.3*rng.Float64()) {
		// The rubbed region is a disc only roughly.
		half := p.radius * math.Pow(max(0, 1-math.Pow(math.Abs(v)/p.radius, 2.5)), 1/2.5)
		drift := min(0.04*p.radius, 2.2) * min(1, s.Ragged/3)
		lean = 0.8*lean + 0.75*rng.NormFloat64()
		from := -half + drift*noise1(drifts, v/14) + s.Ragged*(rng.Float64()-0.5)
		end := half + drift*noise1(drifts+1, v/14) + s.Ragged*(rng.Float64()-0.5)
		for from < end-5 {
			reach := 48 + 34*rng.Float64()
			to := min(end, from+reach)
			if end-to < 15 {
				to = end
			}
			mid := r2.Vec{X: (from + to) / 2, Y: v + 0.12*width*rng.NormFloat64()}
			st := stroke{
				middle:   r2.Vec{X: p.centre.X + mid.X*cos - mid.Y*sin, Y: p.centre.Y + mid.X*sin + mid.Y*cos},
				length:   to - from,
				width:    width * (0.7 + 0.6*rng.Float64()),
				bow:      rng.NormFloat64()*0.0008 + 0.0006,
				strength: strength * math.Exp(differ*rng.NormFloat64()),
				seed:     rng.Uint64(),
				streaks:  s.Streaks,
			}
			st.turnStart, st.turnEnd = rng.Float64() < 0.6, rng.Float64() < 0.6
			tilt := (lean + 1.2*rng.NormFloat64()) * math.Pi / 180 * min(1, 40/st.length)
			st.sin, st.cos = math.Sincos(-angle*math.Pi/180 + tilt)
			st.paint(f)
			from = to - 4 - 6*rng.Float64()
			if to == end {
				break
			}
		}
	}
}

// flood is perfectly even pressure over a patch.
func (s *scene) flood(f *field, p patch, strength float64) {
	for j := range f.h {
		for i := range f.w {
			d := math.Hypot(f.position(i)-p.centre.X, f.position(j)-p.centre.Y)
			f.v[j*f.w+i] += float32(strength * step(p.radius, p.radius-1, d))
		}
	}
}

// paint adds one stroke's lead to the map.
func (st stroke) paint(f *field) {
	halfU, halfV := st.length/2, st.width/2
	sag := math.Abs(st.bow) * halfU * halfU / 2
	reachX := math.Abs(st.cos)*halfU + math.Abs(st.sin)*(halfV+sag)
	reachY := math.Abs(st.sin)*halfU + math.Abs(st.cos)*(halfV+sag)
	j0 := max(0, int(f.index(st.middle.Y-reachY)))
	j1 := min(f.h-1, int(f.index(st.middle.Y+reachY))+1)
	for j := j0; j <= j1; j++ {
		y := f.position(j) - st.middle.Y
		x0, x1 := -reachX, reachX
		// Of this row, only what lies within the stroke's width: v = −sin·x + cos·y.
		if math.Abs(st.sin) > 1e-3 {
			a := (st.cos*y - halfV - sag) / st.sin
			b := (st.cos*y + halfV + sag) / st.sin
			x0, x1 = max(x0, min(a, b)), min(x1, max(a, b))
		}
		i0 := max(0, int(f.index(st.middle.X+x0)))
		i1 := min(f.w-1, int(f.index(st.middle.X+x1))+1)
		for i := i0; i <= i1; i++ {
			x := f.position(i) - st.middle.X
			u := st.cos*x + st.sin*y
			v := -st.sin*x + st.cos*y - st.bow*(u*u-halfU*halfU/2)/2
			if e := st.lead(u, v); e > 0 {
				f.v[j*f.w+i] += float32(e)
			}
		}
	}
}

// lead is what the stroke leaves at u along and v across its middle line.
func (st stroke) lead(u, v float64) float64 {
	halfU, halfV := st.length/2, st.width/2
	if math.Abs(u) >= halfU || math.Abs(v) >= halfV {
		return 0
	}
	// The flat of the lead: full in its middle, soft at its sides, with one
	// side a little heavier; it rocks slowly along the stroke.
	rock := 0.3 * noise1(st.seed+1, u/18)
	across := v/halfV - 0.25*rock
	body := step(-1, -0.35, across) * step(1, 0.35, across) * (1 + 0.35*across*rock)
	// Facets and grit in the lead draw fine lines along the stroke.
	lines := 1 + st.streaks*(0.3*noise2(st.seed+2, v/0.45, u/45)+0.22*noise2(st.seed+3, v/1.1, u/25))
	along := 1 + 0.22*st.streaks*noise1(st.seed+4, u/9)
	end := step(-halfU, -halfU+3, u) * step(halfU, halfU-3, u)
	if st.turnStart {
		end += 0.5 * step(-halfU, -halfU+0.8, u) * step(-halfU+5, -halfU+1, u)
	}
	if st.turnEnd {
		end += 0.5 * step(halfU, halfU-0.8, u) * step(halfU-5, halfU-1, u)
	}
	return max(0, st.strength*body*lines*along*end)
}

// unsteadyHand varies the pressure slowly over the page.
func (s *scene) unsteadyHand(f *field, seed uint64) {
	if s.Uneven == 0 {
		return
	}
	amount := 0.55 * s.Uneven
	s.eachCell(f, func(x, y float64) float64 {
		n := noise2(seed+11, x/28, y/28) + 0.5*noise2(seed+12, x/11, y/11)
		return math.Exp(amount * n)
	})
}

// palePlaces are where the hand hardly pressed, or the face lies low.
func (s *scene) palePlaces(f *field) {
	rng := newRand(s.Seed, 3)
	reach := s.radius()
	for range s.PaleAreas {
		c := s.place.origin
		c.X += (2*rng.Float64() - 1) * reach * 0.8
		c.Y += (2*rng.Float64() - 1) * reach * 0.8
		radius := reach * (0.15 + 0.15*rng.Float64())
		left := 0.2 + 0.2*rng.Float64()
		s.eachCell(f, func(x, y float64) float64 {
			d := math.Hypot(x-c.X, y-c.Y)/radius + 0.2*noise2(s.Seed+13, x/7, y/7)
			return left + (1-left)*step(0.6, 1.2, d)
		})
	}
}

// spareRims keeps the pencil off a part of some rims: on the side away from
// the face's middle the strokes end before they have crossed the hole.
func (s *scene) spareRims(f *field) {
	for k, h := range s.Face.Holes {
		if h.Unrubbed == 0 {
			continue
		}
		rng := newRand(s.Seed, 1000+uint64(k))
		c := s.place.glass(r2.Vec{X: h.X, Y: h.Y})
		radius := max(h.Diameter, h.Outer) / 2
		sin, cos := math.Sincos(math.Atan2(c.Y-s.place.origin.Y, c.X-s.place.origin.X) + 0.25*rng.NormFloat64())
		line := math.Cos(math.Pi*h.Unrubbed) * h.Diameter / 2
		left := 0.04 * rng.Float64()
		strokeSin, strokeCos := math.Sincos(-s.StrokeAngle * math.Pi / 180)
		seed := rng.Uint64()
		s.eachCell(f, func(x, y float64) float64 {
			dx, dy := x-c.X, y-c.Y
			beyond := dx*cos + dy*sin - line
			if beyond < -6 {
				return 1
			}
			// Away from the hole the strokes reach further out again, each
			// to its own place.
			aside := max(0, math.Abs(-dx*sin+dy*cos)-radius-1)
			across := -strokeSin*dx + strokeCos*dy
			beyond += (0.5+0.15*aside)*noise1(seed, across/1.4) + 0.2*noise2(seed, x/0.5, y/0.5) - 0.7*aside
			return 1 - (1-left)*step(-0.7, 0.9, beyond)
		})
	}
}

// eachCell multiplies every cell that has lead by a factor of its place.
func (s *scene) eachCell(f *field, factor func(x, y float64) float64) {
	for j := range f.h {
		y := f.position(j)
		for i := range f.w {
			if k := j*f.w + i; f.v[k] != 0 {
				f.v[k] *= float32(factor(f.position(i), y))
			}
		}
	}
}

// setTone scales the map so that the mean darkness inside the patches is the tone.
func (s *scene) setTone(f *field, patches []patch, tone float64) {
	var inside []float64
	rng := newRand(s.Seed, 4)
	if len(patches) == 0 {
		return
	}
	for range 8000 {
		p := patches[rng.IntN(len(patches))]
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		d := (p.radius - min(3, p.radius/3)) * math.Sqrt(rng.Float64())
		inside = append(inside, float64(f.at(p.centre.X+d*cos, p.centre.Y+d*sin)))
	}
	// However dark it is meant to be, where an ordinary stroke has covered
	// the paper the hand stops pressing harder.
	slices.Sort(inside)
	median := inside[len(inside)/2]
	if median <= 0 {
		return
	}
	darkness := s.darknessTable()
	lo, hi := 1e-4, fullExposure/median
	for range 50 {
		k := math.Sqrt(lo * hi)
		sum := 0.0
		for _, e := range inside {
			sum += darkness(k * e)
		}
		if sum/float64(len(inside)) > tone {
			hi = k
		} else {
			lo = k
		}
	}
	k := float32(math.Sqrt(lo * hi))
	if tone <= 0 {
		k = 0
	}
	for i := range f.v {
		f.v[i] = min(f.v[i]*k, fullExposure)
	}
}

// darknessTable gives the mean darkness of paper with its grain under an
// exposure.
func (s *scene) darknessTable() func(exposure float64) float64 {
	const cells, looks = 100, 3000
	var mean [cells + 1]float64
	rng := newRand(s.Seed, 14)
	for range looks {
		height := s.peak(r2.Vec{X: 60 * rng.Float64(), Y: 60 * rng.Float64()})
		for i := range mean {
			mean[i] += float64(s.dark(float32(i)/cells, height)) / looks
		}
	}
	return func(exposure float64) float64 {
		t := float64(covered(float32(exposure))) * cells
		i := min(int(t), cells-1)
		return mean[i] + (mean[i+1]-mean[i])*(t-float64(i))
	}
}

// covered is the share of the paper that an exposure covers.
func covered(e float32) float32 { return 1 - float32(math.Exp(-float64(e))) }
