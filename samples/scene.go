package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// scene is a rubbing made ready to be looked at point by point.
type scene struct {
	Rubbing
	place         placement
	width, height float64 // of the glass seen, mm

	soft float64 // mm over which contact is lost at the rims
	dirt float64 // 1 where strokes may fall into holes

	second  *field // the same of the second copy, nil without one
	slip    r2.Vec // glass, mm
	lead    *field // exposure where metal backs the paper
	shade   *field // smudges and folds: relative brightness
	metal   []*edge
	marks   []mark
	rings   []float32 // turned marks by radius
	axis    r2.Vec    // glass, of the turned marks
	grain   []float32
	gx, gy  float64 // where the grain's tile begins
	gsin    float64
	gcos    float64
	paper   sheet
	inside  float64 // darkness of lead and
	outside float64 // brightness of paper
}

func newScene(r Rubbing) *scene {
	r = r.sane()
	s := &scene{Rubbing: r, place: newPlacement(r)}
	s.width = float64(s.place.w)*s.place.mmX + math.Abs(s.place.shear)*float64(s.place.h)*s.place.mmY
	s.height = float64(s.place.h) * s.place.mmY
	// No edge is sharper than a sample is wide: that keeps circles true.
	s.soft = max(r.EdgeSoftness, 1.2*max(s.place.mmX, s.place.mmY)/float64(s.oversampling()))
	if r.Streaks > 0 {
		s.dirt = 1
	}
	s.outside, s.inside = 0.945, 0.03
	if r.Style == Chalk {
		s.outside, s.inside = 0.13, 0.9
	}
	s.grain = grainTile()
	rng := newRand(r.Seed, 6)
	s.gx, s.gy = grainSide*rng.Float64(), grainSide*rng.Float64()
	s.gsin, s.gcos = math.Sincos(rng.NormFloat64() * 0.05)
	s.gsin, s.gcos = s.gsin/(grainCell*r.GrainSize), s.gcos/(grainCell*r.GrainSize)

	s.paper = newSheet(s)
	s.metal = s.edges()
	s.turnedMarks()
	s.lead = s.pressure(r.Seed, r2.Vec{}, r.Tone)
	if r.SlipShare > 0 {
		s.slip = r2.Vec{X: r.Slip.X, Y: -r.Slip.Y}
		s.second = s.pressure(r.Seed+1, s.slip, r.Tone*r.SlipShare)
	}
	s.shade = s.shading()
	s.marks = append(s.marks, s.scratches()...)
	s.marks = append(s.marks, s.pushedLead()...)
	s.marks = append(s.marks, s.handwriting()...)
	s.marks = append(s.marks, s.creases()...)
	return s
}

// oversampling is how many samples a pixel's side holds: the paper's grain
// is finer than the pixels of a coarse scan.
func (s *scene) oversampling() int {
	return int(clamp(math.Ceil(s.place.mmX/0.09), 1, 8))
}

// turnedMarks is the profile of the tool's feed, by radius from the axis.
func (s *scene) turnedMarks() {
	if s.Face.FeedPitch == 0 {
		return
	}
	s.axis = s.place.glass(s.Face.axis())
	pitch, depth := s.Face.FeedPitch, s.Face.FeedDepth
	n := int((s.radius()+20)/ringStep) + 2
	s.rings = make([]float32, n)
	for i := range s.rings {
		r := float64(i) * ringStep
		turn := (r + 0.12*pitch*noise1(s.Seed+21, r/(3*pitch))) / pitch
		// Round crests and sharp valleys, some turns deeper than others.
		wave := math.Pow(math.Abs(math.Sin(math.Pi*turn)), 0.7)*2 - 1.35
		strength := depth * clamp(0.7+0.35*noise1(s.Seed+22, r/(4*pitch))+0.35*noise1(s.Seed+23, turn), 0, 2)
		s.rings[i] = float32(max(0.05, 1+strength*wave))
	}
}

const ringStep = 0.03 // mm

// ringAt is the turned profile at a point of the glass.
func (s *scene) ringAt(p r2.Vec) float32 {
	t := math.Hypot(p.X-s.axis.X, p.Y-s.axis.Y) / ringStep
	k := int(t)
	if k+1 >= len(s.rings) {
		return 1
	}
	return s.rings[k] + (s.rings[k+1]-s.rings[k])*float32(t-float64(k))
}

// truth measures how much of each rim took lead and says where it is.
func (s *scene) truth() Truth {
	t := Truth{
		DPI:      s.place.dpi,
		MMPerPxX: s.place.mmX, MMPerPxY: s.place.mmY,
		Shear: s.place.shear,
		place: s.place,
	}
	circle := func(x, y, diameter, outer float64, ring *edge) TrueCircle {
		centre := r2.Vec{X: x, Y: y}
		return TrueCircle{
			CentrePx: s.place.px(centre), CentreMM: centre,
			Diameter: diameter, Outer: outer,
			Rubbed: s.rubbed(ring),
		}
	}
	// The edges are in the order of the face's holes, bore and rim; a hole's
	// outer edge follows its inner one.
	k := 0
	next := func() *edge { k++; return s.metal[k-1] }
	for _, h := range s.Face.Holes {
		e := next()
		outer := 0.0
		if h.Outer > h.Diameter {
			outer = h.Outer
			next()
		}
		t.Holes = append(t.Holes, circle(h.X, h.Y, h.Diameter, outer, e))
	}
	if b := s.Face.Bore; b != nil {
		c := circle(b.X, b.Y, b.Diameter, b.Outer, next())
		if b.Outer > b.Diameter {
			next()
		}
		t.Bore = &c
	}
	if rim := s.Face.Rim; rim != nil {
		c := circle(rim.X, rim.Y, rim.Diameter, 0, next())
		t.Rim = &c
	}
	return t
}

// rubbed is the share of an edge's rim on which the strokes left at least a
// third of the darkness that the rubbing was meant to have, with what the edge
// itself took.
func (s *scene) rubbed(e *edge) float64 {
	const looks = 720
	darkness := s.darknessTable()
	seen := 0
	for k := range looks {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / looks)
		beside := e.radius + 0.35
		if e.outside {
			beside = e.radius - 0.35
		}
		x, y := e.centre.X+beside*cos, e.centre.Y+beside*sin
		if x < 0 || y < 0 || x > s.width || y > s.height || s.paper.outside(r2.Vec{X: x, Y: y}) > 0 {
			continue
		}
		if s.Style == Grease {
			if e.grease[k*len(e.grease)/looks] > 0.35 {
				seen++
			}
			continue
		}
		if darkness(float64(s.lead.at(x, y)*(1+e.line[k*len(e.line)/looks]))) > s.Tone/3 {
			seen++
		}
	}
	return float64(seen) / looks
}
