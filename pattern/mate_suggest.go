package pattern

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Suggestion is one way to make the part go on with 99 % probability. Which
// numbers it has depends on its kind; others are 0.
type Suggestion struct {
	Kind        SuggestionKind `json:"kind"`
	Text        string         `json:"text"`
	Probability float64        `json:"probability"`

	Diameter  float64 `json:"diameter_mm"`   // larger: of the tightest hole
	Hole      int     `json:"hole"`          // slot: the face's hole, from 1
	Length    float64 `json:"length_mm"`     // slot: between the centres of its ends
	TowardDeg float64 `json:"toward_deg"`    // slot: from x, counter-clockwise, on the face
	U95       float64 `json:"needed_u95_mm"` // measure: of the worst-known coordinate of the face

	words func(length func(mm float64) string) string
}

// Words is the suggestion's text with lengths printed as told, for those who
// work in inches.
func (s Suggestion) Words(length func(mm float64) string) string { return s.words(length) }

// said sets the text, in which length prints lengths.
func (s Suggestion) said(words func(length func(mm float64) string) string) Suggestion {
	s.words = words
	s.Text = words(func(mm float64) string { return short(mm) + " mm" })
	return s
}

// SuggestionKind says what is to be done.
type SuggestionKind string

const (
	Larger      SuggestionKind = "larger_holes"
	Slot        SuggestionKind = "slot"
	AsMeasured  SuggestionKind = "as_measured" // lay the part out as the face was measured
	KnownPCD    SuggestionKind = "measure_pitch_circle"
	MeasureMore SuggestionKind = "measure_better"
)

const (
	caliperU95  = 0.05 // mm, of a careful caliper measurement; common practice
	biggestSlot = 2.0  // slot lengths in hole diameters that are worth telling
	widestHole  = 2.0  // hole diameters in bolt diameters, likewise
	slotsToTry  = 3

	// The search for how good a measurement must be: halvings of the range, the
	// draws for each, and the least uncertainty as a share of the stated one.
	factorSteps  = 7
	factorDraws  = 2000
	factorLowest = 0.02
)

// suggest looks for what would reach the wanted probability.
func (j Joint) suggest(opts MateOptions, found []match, misfits []float64, now chance) []Suggestion {
	out := []Suggestion{}
	if now.reaches() {
		return out
	}
	if !opts.Made {
		out = append(out, j.asMeasured(opts)...)
	}
	out = append(out, j.larger(opts, found[0], misfits)...)
	out = append(out, j.slot(opts, found)...)
	if found[0].f < 0 {
		out = append(out, j.measure(opts, found)...)
	}
	return out
}

// percent prints a probability without claiming certainty.
func percent(p float64) string {
	if p > 0.999 {
		return "over 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

// short is a length to a micrometre at most.
func short(mm float64) string {
	return strconv.FormatFloat(math.Round(mm*1000)/1000, 'f', -1, 64)
}

func (j Joint) asMeasured(opts MateOptions) []Suggestion {
	copied := j
	copied.Part = Holes{At: j.Face.At, Zone: j.Part.Zone}
	copied.Flip = false
	found, _, _ := j.match(0)
	copied.PartHoles = make([]float64, len(j.PartHoles))
	for i, k := range found[0].to {
		copied.PartHoles[i] = j.PartHoles[k]
	}
	e := copied.newEnsemble(1, opts.Draws, opts.Seed)
	matches, _, _ := copied.match(e.reach())
	c := chanceOf(e.misfits(matches), 0)
	if !c.reaches() {
		return nil
	}
	return []Suggestion{Suggestion{Kind: AsMeasured, Probability: c.p}.said(func(func(float64) string) string {
		return fmt.Sprintf("Lay the part's holes out where the face's were measured, with the holes as large as now: %s.", percent(c.p))
	})}
}

func (j Joint) larger(opts MateOptions, best match, misfits []float64) []Suggestion {
	sure := sureOf(misfits)
	if sure <= 0 {
		sure = 1e-9
	}
	// The tightest hole stands for all, which grow alike.
	tight := 0
	for i, k := range best.to {
		if j.PartHoles[k]-j.Bolts[i] < j.PartHoles[best.to[tight]]-j.Bolts[tight] {
			tight = i
		}
	}
	old := j.PartHoles[best.to[tight]]
	diameter := math.Ceil((old+2*sure)*10-1e-6) / 10
	name := ""
	for _, s := range opts.Sizes {
		if s.Diameter >= old+2*sure-1e-9 {
			diameter, name = s.Diameter, fmt.Sprintf(" (%s)", s.Name)
			break
		}
	}
	if diameter > widestHole*j.Bolts[tight] {
		return nil
	}
	c := chanceOf(misfits, (diameter-old)/2)
	return []Suggestion{Suggestion{Kind: Larger, Probability: c.p, Diameter: diameter}.said(func(length func(float64) string) string {
		what := fmt.Sprintf("drill the part's holes %s%s", length(diameter), name)
		if slices.Max(j.PartHoles)-slices.Min(j.PartHoles) > 1e-9 {
			what = fmt.Sprintf("drill all of the part's holes %s larger, the tightest %s%s", length(diameter-old), length(diameter), name)
		}
		text := fmt.Sprintf("Larger holes: %s instead of %s: %s.", what, length(old), percent(c.p))
		if diameter-j.Bolts[tight] > 0.25*j.Bolts[tight] {
			text += " See that the bolt's head or a thick washer still bears all round."
		}
		return text
	})}
}

// slotted is the joint with one hole made a slot.
type slotted struct {
	hole   int // the face's
	match  match
	toward r2.Vec // unit vector on the face, from the hole along the slot
	length float64
}

// slot looks for the one hole which, made a slot, needs the least of it.
func (j Joint) slot(opts MateOptions, found []match) []Suggestion {
	n := len(j.Face.At)
	if n < 3 {
		return nil
	}
	face, part := j.laid()
	faceRoom, partRoom := j.rooms()
	var tries []slotted
	for hole := range n {
		least := slotted{hole: hole, length: math.Inf(1)}
		for _, m := range found[:min(len(found), 2*n)] {
			p := turningOf(m.to, face, part, faceRoom, partRoom)
			rest := turning{
				to:   slices.Delete(slices.Clone(p.to), hole, hole+1),
				from: slices.Delete(slices.Clone(p.from), hole, hole+1),
				room: slices.Delete(slices.Clone(p.room), hole, hole+1),
			}
			s, _ := rest.best(m.theta, drawTolerance, 0)
			if s.f >= 0 {
				continue
			}
			off := r2.Sub(p.to[hole], r2.Add(r2.Rotate(p.from[hole], s.theta, r2.Vec{}), s.shift))
			toward := direction(off)
			if l := p.slotLength(hole, toward, s.theta); l < least.length {
				least = slotted{hole, m, toward, l}
			}
		}
		if !math.IsInf(least.length, 1) {
			tries = append(tries, least)
		}
	}
	slices.SortStableFunc(tries, func(a, b slotted) int { return cmp.Compare(a.length, b.length) })
	best := Suggestion{Length: math.Inf(1)}
	e := j.newEnsemble(1, opts.Draws, opts.Seed)
	for _, s := range tries[:min(len(tries), slotsToTry)] {
		p := turningOf(s.match.to, face, part, faceRoom, partRoom)
		var lengths []float64
		e.each(func(face, part []r2.Vec, _ float64) {
			p.place(s.match.to, face, part)
			lengths = append(lengths, p.slotLength(s.hole, s.toward, s.match.theta))
		})
		slices.Sort(lengths)
		l := math.Ceil(sureOf(lengths)*10-1e-6) / 10
		if d := j.PartHoles[s.match.to[s.hole]]; l < best.Length && l <= biggestSlot*d {
			c := chanceOf(lengths, l)
			deg := math.Mod(math.Atan2(s.toward.Y, s.toward.X)*180/math.Pi+360, 360)
			way := alongWords(face[s.hole], s.toward, deg)
			best = Suggestion{Kind: Slot, Probability: c.p, Hole: s.hole + 1, Length: l, TowardDeg: deg}.said(func(length func(float64) string) string {
				return fmt.Sprintf("One slot: make the part's hole over the face's hole %d a slot that reaches %s (between the centres of its ends; %s overall) from its place %s: %s.",
					s.hole+1, length(l), length(l+d), way, percent(c.p))
			})
		}
	}
	if math.IsInf(best.Length, 1) {
		return nil
	}
	return []Suggestion{best}
}

// alongWords says where a direction at a place about the pattern's middle
// points.
func alongWords(at, toward r2.Vec, deg float64) string {
	out := direction(at)
	radial, round := r2.Dot(out, toward), r2.Cross(out, toward)
	const near = 0.966 // cos 15°
	switch {
	case radial > near:
		return "straight outwards"
	case radial < -near:
		return "straight inwards"
	case round > near:
		return "along the circle, counter-clockwise"
	case round < -near:
		return "along the circle, clockwise"
	}
	return fmt.Sprintf("towards %.0f° (counter-clockwise from right, as the face was read)", deg)
}

// slotLength returns by how much a hole must be drawn out along a unit vector,
// measured between the centres of the slot's ends, for the part to go on;
// infinite where no length helps. The misfit is convex in the length, to the
// second order of the part's turn, so that Newton's method from 0 rises to the
// answer without passing it.
func (p *turning) slotLength(hole int, toward r2.Vec, start float64) float64 {
	place := p.to[hole]
	defer func() { p.to[hole] = place }()
	length := 0.0
	for range 50 {
		p.to[hole] = r2.Sub(place, r2.Scale(length, toward))
		s, _ := p.best(start, drawTolerance, math.Inf(1))
		if s.f <= drawTolerance {
			return length
		}
		start = s.theta
		slope := p.slope(s, hole, toward)
		if slope > -1e-3 {
			return math.Inf(1)
		}
		length -= s.f / slope
		if length > maxMM {
			return math.Inf(1)
		}
	}
	return math.Inf(1)
}

// measure looks for what a better measurement of the face would do, if it
// confirmed the places.
func (j Joint) measure(opts MateOptions, found []match) []Suggestion {
	if j.Face.Cov == nil {
		return nil
	}
	var out []Suggestion
	known := j
	known.Face.Cov = knowingSize(j.Face.At, j.Face.Cov)
	if c := chanceOf(known.newEnsemble(1, opts.Draws, opts.Seed).misfits(found), 0); c.reaches() {
		out = append(out, Suggestion{Kind: KnownPCD, Probability: c.p, U95: largestU95(known.Face.Cov, 1)}.said(func(length func(float64) string) string {
			return fmt.Sprintf("Measure the pitch circle, or the chord between the two holes furthest apart, with calipers to ±%s and give it to the reading (--pcd or --known): if it confirms the size, %s.", length(caliperU95), percent(c.p))
		}))
	}
	good, bad := factorLowest, 1.0
	at := func(factor float64, draws int) chance {
		return chanceOf(j.newEnsemble(factor, draws, opts.Seed).misfits(found), 0)
	}
	few := min(factorDraws, opts.Draws)
	if !at(good, few).reaches() {
		return out
	}
	for range factorSteps {
		if mid := math.Sqrt(good * bad); at(mid, few).reaches() {
			good = mid
		} else {
			bad = mid
		}
	}
	good *= 0.97 // the few draws' own uncertainty
	if c := at(good, opts.Draws); c.reaches() {
		u, was := largestU95(j.Face.Cov, good), largestU95(j.Face.Cov, 1)
		out = append(out, Suggestion{Kind: MeasureMore, Probability: c.p, U95: u}.said(func(length func(float64) string) string {
			return fmt.Sprintf("A better measurement of the face: its holes' places known to ±%s, where the worst is now ±%s; if it confirms them, %s. Distances between holes with calipers (boltrose solve), a known distance (--known), or more rubbings (boltrose combine) give one.", length(u), length(was), percent(c.p))
		}))
	}
	return out
}

func largestU95(cov mat.Symmetric, factor float64) float64 {
	v := 0.0
	for i := range cov.SymmetricDim() {
		v = math.Max(v, cov.At(i, i))
	}
	return coverage * factor * math.Sqrt(v)
}

// knowingSize is the covariance of the places after the size of the pattern
// has been measured with calipers: the places' conditional covariance given
// the component that makes all grow alike.
func knowingSize(at []r2.Vec, cov mat.Symmetric) *mat.SymDense {
	c := meanPoint(at)
	g := mat.NewVecDense(2*len(at), nil)
	span := 0.0
	for i, p := range at {
		v := r2.Sub(p, c)
		g.SetVec(2*i, v.X)
		g.SetVec(2*i+1, v.Y)
		span = math.Max(span, 2*r2.Norm(v))
	}
	size := mat.Dot(g, g)
	out := mat.NewSymDense(2*len(at), nil)
	out.CopySym(cov)
	if size == 0 {
		return out
	}
	var sg mat.VecDense
	sg.MulVec(cov, g)
	u := caliperU95 / coverage / span * size
	if v := mat.Dot(g, &sg) + u*u; v > 0 {
		out.SymRankOne(out, -1/v, &sg)
	}
	return out
}
