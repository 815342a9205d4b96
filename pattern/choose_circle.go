package pattern

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	leastEvidence = 0.06  // of a ring that helps to suppose a circle
	mostStarts    = 48    // rings from which circles are supposed
	likeSize      = 1.25  // largest ratio of diameters of holes "of like size"
	doubtful      = 0.15  // evidence of a ring that may be chance
	leastScore    = 8.0   // strength that rings in mere texture do not reach
	clearEvidence = 0.4   // of a ring that is a hole whatever its size
	notRound      = 0.045 // scatter of the edge over the radius, from which on marks are hardly circles
	leastContrast = 0.05  // of the steepest clear edge of the picture
	mostUnlike    = 0.9   // largest logarithm of the ratio of two holes' diameters in one pattern
	leastInAll    = 0.04  // of the typical hole's strength, contrast and crispness, multiplied
	raggedRim     = 0.06  // scatter over half the radius of a rim that is half believed
)

// evidence weighs how surely a ring is a round edge, from 0 to about 1.
func (r Ring) evidence() float64 {
	strength := r.Score / (r.Score + 8)
	ragged := 2 * r.Scatter / math.Max(r.radius(), 1e-9) / raggedRim
	return strength * r.RimSeen * r.RimSeen / (1 + ragged*ragged)
}

func (r Ring) radius() float64 { return r.Diameter / 2 }

// inside is +1 for a ring paler inside than outside, −1 for a darker one.
func (r Ring) inside() float64 { return math.Copysign(1, r.Contrast) }

// overlaps says that two rings cannot both be holes: they leave no metal
// between them to speak of.
func (r Ring) overlaps(o Ring) bool {
	return r2.Norm(r2.Sub(r.Centre, o.Centre)) < 1.04*(r.radius()+o.radius())
}

// covers says that two rings cover a part of one another.
func (r Ring) covers(o Ring) bool {
	return r2.Norm(r2.Sub(r.Centre, o.Centre)) < 0.95*(r.radius()+o.radius())
}

// concentric says that two rings can belong to one and the same hole. What
// lies below the face by as much as the smaller is within the larger (a
// chamfer of 45°) is seen aside from a slant.
func (r Ring) concentric(o Ring, slant float64) bool {
	return r2.Norm(r2.Sub(r.Centre, o.Centre)) < 0.06*(r.radius()+o.radius())+slant*math.Abs(r.radius()-o.radius())
}

// supposed is a pitch circle that some rings may share.
type supposed struct {
	circle.Circle
	members []int
	weight  float64
}

// tolerance is how far from the pitch circle (mm) a hole's centre may lie and
// still belong to it: what makers drill wrong, and what a scanner stretches.
func (s supposed) tolerance(r Ring) float64 {
	return 0.3 + 0.005*s.Radius + 2*math.Sqrt(r.CentreCov[0][0]+r.CentreCov[1][1])
}

// bestCircle supposes a pitch circle through every three of the likeliest
// rings and returns the one that the most evidence speaks for.
func (c *chooser) bestCircle() (supposed, bool) {
	var order []int
	for i, e := range c.evidence {
		if e >= leastEvidence {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
	order = order[:min(len(order), mostStarts)]
	var best supposed
	for a := range order {
		for b := range a {
			for d := range b {
				i, j, k := order[a], order[b], order[d]
				if !c.together(i, j) || !c.together(j, k) || !c.together(i, k) {
					continue
				}
				around, err := circle.Algebraic([]r2.Vec{c.rings[i].Centre, c.rings[j].Centre, c.rings[k].Centre}, nil)
				if err != nil || !c.possible(around, c.rings[i]) {
					continue
				}
				s := c.support(around, i)
				if s.weight > best.weight {
					best = s
				}
			}
		}
	}
	if len(best.members) < 3 {
		return best, false
	}
	return c.settle(best)
}

// free says that ring i overlaps none of the members but the one at except.
func (c *chooser) free(i int, members []int, except int) bool {
	for n, m := range members {
		if n != except && (m == i || c.rings[i].overlaps(c.rings[m])) {
			return false
		}
	}
	return true
}

// alike says that two rings can be holes of like size that stand apart.
func (c *chooser) alike(i, j int) bool {
	a, b := c.rings[i], c.rings[j]
	ratio := a.Diameter / b.Diameter
	return ratio < likeSize && ratio > 1/likeSize && a.inside() == b.inside() && !a.overlaps(b)
}

// together says that two rings can belong to one pattern: of like size, or,
// where a pattern has holes of two sizes, both clear.
func (c *chooser) together(i, j int) bool {
	if c.alike(i, j) {
		return true
	}
	a, b := c.rings[i], c.rings[j]
	return c.evidence[i] > clearEvidence && c.evidence[j] > clearEvidence && a.inside() == b.inside() &&
		!a.overlaps(b) && math.Abs(math.Log(a.Diameter/b.Diameter)) < mostUnlike
}

// possible says whether a circle can be the pitch circle of holes like r.
func (c *chooser) possible(around circle.Circle, r Ring) bool {
	if c.opts.PCD > 0 && math.Abs(2*around.Radius-c.opts.PCD) > 0.05*c.opts.PCD {
		return false
	}
	return around.Radius > 0.6*r.Diameter && around.Radius < 60*r.Diameter
}

// support gathers the rings that share a supposed circle with the ring like.
// Of rings that overlap only the weightiest counts, a ring of another size
// counts half, and one of the other shade not at all.
func (c *chooser) support(around circle.Circle, like int) supposed {
	s := supposed{Circle: around}
	var near []int
	for i, e := range c.evidence {
		r := c.rings[i]
		if e > 0.02 && r.inside() == c.rings[like].inside() && r.radius() < 0.8*s.Radius &&
			math.Abs(s.Distance(r.Centre)) < s.tolerance(r) {
			near = append(near, i)
		}
	}
	slices.SortStableFunc(near, func(a, b int) int { return cmp.Compare(c.worth(b, like), c.worth(a, like)) })
next:
	for _, i := range near {
		for _, m := range s.members {
			if c.rings[i].overlaps(c.rings[m]) {
				continue next
			}
		}
		s.members = append(s.members, i)
		miss := s.Distance(c.rings[i].Centre) / s.tolerance(c.rings[i])
		w := c.worth(i, like)
		// Any number of doubtful rings is not worth one clear one.
		s.weight += w * w / (w + doubtful) * (1 - 0.5*miss*miss)
	}
	s.weight += c.concentricWith(s, c.rings[like].radius())
	return s
}

// concentricWith is the evidence of a bore or a rim about the middle of a
// supposed pitch circle: what a face is turned about, its holes are set about.
func (c *chooser) concentricWith(s supposed, hole float64) float64 {
	best := 0.0
	for i, r := range c.rings {
		off := r2.Norm(r2.Sub(r.Centre, s.Centre))
		if off > 0.03*s.Radius+0.3 || c.dropped[i] {
			continue
		}
		within := r.radius() < s.Radius-1.2*hole && r.radius() > 0.15*s.Radius
		beyond := r.radius() > s.Radius+1.2*hole
		if within || beyond {
			best = math.Max(best, r.evidence())
		}
	}
	return best
}

// worth is the evidence of ring i as a hole of a pattern that has holes like
// the ring like.
func (c *chooser) worth(i, like int) float64 {
	a, b := c.rings[i], c.rings[like]
	if c.alike(i, like) || i == like {
		// The nearer in size, the likelier the same drill.
		d := math.Log(a.Diameter / b.Diameter)
		return c.evidence[i] * (1 - 4*d*d)
	}
	if a.Diameter > 3*b.Diameter || b.Diameter > 3*a.Diameter {
		return 0
	}
	if ratio := a.Diameter / b.Diameter; ratio < likeSize && ratio > 1/likeSize {
		return c.evidence[i] // it overlaps like: the caller decides between them
	}
	if c.evidence[i] < 0.3 {
		return 0
	}
	return 0.5 * c.evidence[i]
}

// settle fits the circle to its members, gathers support once more, and
// leaves out members much weaker than the rest.
func (c *chooser) settle(s supposed) (supposed, bool) {
	for range 3 {
		var centres []r2.Vec
		for _, m := range s.members {
			centres = append(centres, c.rings[m].Centre)
		}
		fit, err := circle.Robust(s.Circle, centres, nil, 0.1)
		if err != nil {
			return s, false
		}
		like := s.members[0]
		s = c.support(fit.Circle, like)
		s.members = c.strong(s.members, like)
		if len(s.members) < 3 || !c.beyondChance(s.members) {
			return s, false
		}
		s.members = c.nearer(s)
	}
	return s, true
}

// beyondChance says whether the better half of the members are clearer than
// rings that are seen in mere texture, or half as clear and so many of one size
// as texture does not set on one circle.
func (c *chooser) beyondChance(members []int) bool {
	usual := c.median(members, func(i int) float64 { return c.rings[i].Diameter })
	same := 0
	for _, m := range members {
		if math.Abs(math.Log(c.rings[m].Diameter/usual)) < 0.02 {
			same++
		}
	}
	least := leastScore
	if same >= 5 {
		least /= 2
	}
	better := c.typicalOf(members[:(len(members)+1)/2])
	return slices.ContainsFunc(members, c.isAdded) || better.evidence >= doubtful && better.score >= least
}

// nearer replaces a member by a ring that overlaps it, is about as clear and
// lies distinctly nearer to the pitch circle: of two copies of one hole the
// one that belongs to the others.
func (c *chooser) nearer(s supposed) []int {
	out := slices.Clone(s.members)
	for n, m := range s.members {
		hole := c.rings[m]
		miss := math.Abs(s.Distance(hole.Centre))
		for i, r := range c.rings {
			if i == m || c.isAdded(m) || c.evidence[i] < 0.3*c.evidence[m] || r.inside() != hole.inside() || !r.overlaps(hole) ||
				math.Abs(math.Log(r.Diameter/hole.Diameter)) > 0.2 {
				continue
			}
			if d := math.Abs(s.Distance(r.Centre)); d < miss-0.15 && c.free(i, out, n) {
				out[n], miss = i, d
			}
		}
	}
	return out
}

// strong keeps the members that can stand beside the typical one: a weak ring
// only where its size is that of others, one of another size only where it is
// about as clear as they are; or as many as the person expects.
func (c *chooser) strong(members []int, like int) []int {
	if n := c.opts.Holes; n > 0 {
		return members[:min(n, len(members))] // they are in order of worth
	}
	beside := c.typicalOf(members[:(len(members)+1)/2]) // these are surely holes
	var clear, kept []int
	for _, m := range members {
		if beside.holds(c, m, 0.6) {
			clear = append(clear, m)
		}
	}
	for _, m := range members {
		share := 0.6
		switch off := c.offSize(m, clear); {
		case off < 0.05:
			share = 0.12
		case off < 0.12:
			share = 0.28
		case off > mostUnlike:
			continue // no drill set holds both
		}
		if c.isAdded(m) || beside.holds(c, m, share) {
			kept = append(kept, m)
		}
	}
	return kept
}

// typical is how clear the holes of a pattern are.
type typical struct{ evidence, contrast, scatter, score float64 }

func (c *chooser) typicalOf(holes []int) typical {
	return typical{
		evidence: c.median(holes, func(i int) float64 { return c.evidence[i] }),
		contrast: c.median(holes, func(i int) float64 { return math.Abs(c.rings[i].Contrast) }),
		scatter:  c.median(holes, func(i int) float64 { return c.rings[i].Scatter }),
		score:    c.median(holes, func(i int) float64 { return c.rings[i].Score }),
	}
}

// holds says whether ring i is at least a share as clear as the typical hole:
// in how crisp its edge is, and half that in its evidence.
func (t typical) holds(c *chooser, i int, share float64) bool {
	r := c.rings[i]
	crisp := math.Abs(r.Contrast) / t.contrast * math.Min(1, 2*t.scatter/math.Max(r.Scatter, 1e-9))
	// Weak in one respect a hole may be, but not in all of them at once.
	inAll := r.Score / t.score * math.Abs(r.Contrast) / t.contrast * math.Min(1, t.scatter/math.Max(r.Scatter, 1e-9))
	return c.evidence[i] >= 0.5*share*t.evidence && crisp >= share && inAll >= leastInAll
}

// offSize is how far, as the logarithm of a ratio, ring i is in size from the
// nearest of holes other than itself.
func (c *chooser) offSize(i int, holes []int) float64 {
	off := math.Inf(1)
	for _, h := range holes {
		if h != i {
			off = math.Min(off, math.Abs(math.Log(c.rings[i].Diameter/c.rings[h].Diameter)))
		}
	}
	return off
}

func (c *chooser) median(members []int, of func(int) float64) float64 {
	v := make([]float64, len(members))
	for i, m := range members {
		v[i] = of(m)
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// take makes the choice around a pitch circle.
func (c *chooser) take(s supposed) {
	c.out.Circle = true
	holes := slices.Clone(s.members)
	for _, m := range holes {
		c.out.Reasons[m] = fmt.Sprintf("hole: on the pitch circle (%.2f mm off)", math.Abs(s.Distance(c.rings[m].Centre)))
	}
	c.findBoreAndRim(s, holes)
	for _, i := range c.strays(s, holes) {
		holes = append(holes, i)
		c.out.OffCircle = append(c.out.OffCircle, i)
		c.out.Reasons[i] = fmt.Sprintf("hole: as clear as the others, but %.1f mm off their pitch circle", math.Abs(s.Distance(c.rings[i].Centre)))
	}
	for _, i := range c.filled(s, holes) {
		holes = append(holes, i)
		c.out.Reasons[i] = "hole: filled, so that it is darker or lighter than the others; on the pitch circle"
	}
	c.out.Holes = holes
	c.claimOuters()
	c.warn(s)
}

// filled are holes of the other shade, pressed full of lead or of dirt: of the
// others' size, on their circle, and as clear as they are.
func (c *chooser) filled(s supposed, holes []int) []int {
	beside := c.typicalOf(holes)
	var out []int
	for i, r := range c.rings {
		if r.inside() == c.rings[holes[0]].inside() || c.offSize(i, holes) > 0.05 || !beside.holds(c, i, 0.8) ||
			math.Abs(s.Distance(r.Centre)) > s.tolerance(r) || !c.free(i, slices.Concat(holes, out), -1) {
			continue
		}
		out = append(out, i)
	}
	return out
}

// warn says what a person should look at twice.
func (c *chooser) warn(s supposed) {
	if ragged := c.median(s.members, func(i int) float64 { return c.rings[i].Scatter / c.rings[i].radius() }); ragged > notRound {
		c.out.Warnings = append(c.out.Warnings, "the marks are not round: slots, nuts or smeared rims? A circle through a slot need not be where its bolt sits; look at the overlay")
	}
	if len(s.members) == 3 && len(c.out.OffCircle) > 0 {
		c.out.Warnings = append(c.out.Warnings, "any three holes lie on some circle: with four, of which one is off, it cannot be told which; trust the chords, and the pitch circle only if it agrees with the bore or the rim")
	}
}

// strays are the holes off the circle: as clear as those on it, within the
// face, and overlapping nothing.
func (c *chooser) strays(s supposed, holes []int) []int {
	beside := c.typicalOf(holes)
	smallest, largest := math.Inf(1), 0.0
	for _, h := range holes {
		smallest = math.Min(smallest, c.rings[h].Diameter)
		largest = math.Max(largest, c.rings[h].Diameter)
	}
	like := c.rings[holes[0]]
	reach := s.Radius + 1.5*largest
	if c.out.Rim >= 0 {
		reach = c.rings[c.out.Rim].radius()
	}
	var order, out []int
	for i := range c.rings {
		r := c.rings[i]
		if c.isAdded(i) && !slices.Contains(holes, i) {
			order = append(order, i)
			continue
		}
		share, within := 0.9, reach
		if c.offSize(i, holes) < 0.12 {
			share, within = 0.6, math.Inf(1) // the same drill, wherever it was used
		}
		if !beside.holds(c, i, share) || r.inside() != like.inside() || r.RimSeen < 0.7 ||
			i == c.out.Bore || i == c.out.Rim || r.Diameter < 0.3*smallest || r.Diameter > 2*largest ||
			r2.Norm(r2.Sub(r.Centre, s.Centre))+r.radius() > within || r2.Norm(r2.Sub(r.Centre, s.Centre)) < r.radius() {
			continue
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
next:
	for _, i := range order {
		for _, h := range slices.Concat(holes, out) {
			if c.rings[i].overlaps(c.rings[h]) {
				continue next
			}
		}
		if b := c.out.Bore; b >= 0 && !c.isAdded(i) && c.rings[i].overlaps(c.rings[b]) {
			continue
		}
		out = append(out, i)
	}
	return out
}

// findBoreAndRim looks for the round edges that surround the pitch circle's
// centre, within the holes and beyond them.
func (c *chooser) findBoreAndRim(s supposed, holes []int) {
	hole := 0.0
	for _, h := range holes {
		hole = math.Max(hole, c.rings[h].radius())
	}
	shade := c.rings[holes[0]].inside()
	bore, rim := 0.0, 0.0
	for i, r := range c.rings {
		if slices.Contains(holes, i) || c.dropped[i] || r.Scatter > 0.015*r.radius()+0.15 {
			continue // a machined edge is round; where the pencil stopped is not
		}
		off := r2.Norm(r2.Sub(r.Centre, s.Centre))
		e := r.evidence()
		switch {
		case off < 0.1*s.Radius+0.5 && off < r.radius()/2 && r.radius()+off < s.Radius-1.15*hole:
			// A bore is a hole too: of the same shade as the bolt holes.
			if r.inside() != shade {
				e *= 0.4
			}
			if e > math.Max(bore, 0.12) {
				bore, c.out.Bore = e, i
			}
		case off < 0.15*s.Radius+0.5 && r.radius()-off > s.Radius+1.15*hole:
			// The face ends at its rim: the other shade.
			if r.inside() == shade {
				e *= 0.4
			}
			if e > math.Max(rim, 0.12) {
				rim, c.out.Rim = e, i
			}
		}
	}
	if c.out.Bore >= 0 {
		c.out.Reasons[c.out.Bore] = "bore: surrounds the pitch circle's centre, within the holes"
	}
	if c.out.Rim >= 0 {
		c.out.Reasons[c.out.Rim] = "rim: surrounds all holes"
	}
}
