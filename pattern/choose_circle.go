package pattern

import (
	"cmp"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	leastEvidence = 0.06 // of a ring that helps to suppose a circle
	leastMember   = 0.02 // of a ring that may belong to one
	mostStarts    = 48   // rings from which circles are supposed
	mostTried     = 12   // supposed circles of each shade that are looked at closely
	likeSize      = 1.25 // largest ratio of diameters of holes "of like size"
	mostUnlike    = 0.9  // largest logarithm of the ratio of two holes' diameters in one pattern
	doubtful      = 0.15 // evidence of a ring that may be chance
	clearEvidence = 0.4  // of a ring that is a hole whatever its size
)

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

// bestCircle returns the pitch circle that the most evidence speaks for: of
// paler and of darker rings, the one that is the heavier, unless those are the
// bosses that these lie in.
func (c *chooser) bestCircle() (supposed, bool) {
	all := c.circles()
	slices.SortStableFunc(all, func(a, b supposed) int { return cmp.Compare(b.weight, a.weight) })
	paler, isPaler := c.standing(all, 1)
	darker, isDarker := c.standing(all, -1)
	switch {
	case !isDarker || isPaler && (paler.weight >= darker.weight || c.inBosses(paler, darker)):
		return paler, isPaler
	default:
		return darker, true
	}
}

// standing is the heaviest supposed circle of rings of a shade that still
// stands when it is looked at closely.
func (c *chooser) standing(all []supposed, shade float64) (supposed, bool) {
	var tried []supposed
	for _, s := range all {
		if c.rings[s.members[0]].inside() != shade || slices.ContainsFunc(tried, s.same) {
			continue
		}
		if best, ok := c.settle(s); ok {
			return best, true
		}
		if tried = append(tried, s); len(tried) == mostTried {
			break
		}
	}
	return supposed{}, false
}

// inBosses says that each of the darker rings goes round one of the paler: the
// pads that were rubbed round their holes, and not the holes themselves.
func (c *chooser) inBosses(paler, darker supposed) bool {
	return !slices.ContainsFunc(darker.members, func(d int) bool {
		boss := c.rings[d]
		return !slices.ContainsFunc(paler.members, func(p int) bool {
			hole := c.rings[p]
			return r2.Norm(r2.Sub(boss.Centre, hole.Centre)) < boss.radius()-0.9*hole.radius()
		})
	})
}

// same says that two supposed circles hold the same rings.
func (s supposed) same(o supposed) bool {
	return len(s.members) == len(o.members) && !slices.ContainsFunc(s.members, func(m int) bool { return !slices.Contains(o.members, m) })
}

// circles supposes a pitch circle through every three of the likeliest rings,
// and returns those that three share.
func (c *chooser) circles() []supposed {
	var order []int
	for i, e := range c.evidence {
		if e >= leastEvidence && !c.bore[i] {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.evidence[b], c.evidence[a]) })
	order = order[:min(len(order), mostStarts)]
	var all []supposed
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
				if s := c.support(around, i); len(s.members) >= 3 {
					all = append(all, s)
				}
			}
		}
	}
	return all
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
		!a.overlaps(b) && a.sizeOff(b) < mostUnlike
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
		if e > leastMember && !c.bore[i] && r.inside() == c.rings[like].inside() && r.radius() < 0.8*s.Radius &&
			math.Abs(s.Distance(r.Centre)) < s.tolerance(r) {
			near = append(near, i)
		}
	}
	slices.SortStableFunc(near, func(a, b int) int { return cmp.Compare(c.worth(b, like), c.worth(a, like)) })
	for _, i := range near {
		there := slices.IndexFunc(s.members, func(m int) bool { return c.rings[i].overlaps(c.rings[m]) })
		if there >= 0 {
			if !c.holeOf(s.members[there], i, like) {
				continue
			}
			s.members = slices.Delete(s.members, there, there+1) // what it weighs speaks for the hole
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

// Logarithms of ratios of diameters, at most.
const (
	SameDrill   = 0.012 // of holes of one drill that were measured well, on the same edge
	MostChamfer = 0.3   // of a chamfer and its hole

	oneDrill = 0.05 // of holes of one drill
)

// holeOf says that ring i is a hole of the size of the ring like, and ring outer,
// which is the clearer, its counterbore.
func (c *chooser) holeOf(outer, i, like int) bool {
	o, r := c.rings[outer], c.rings[i]
	return o.Diameter > likeSize*c.rings[like].Diameter && r.sizeOff(c.rings[like]) < oneDrill &&
		r2.Norm(r2.Sub(r.Centre, o.Centre)) < 0.1*r.radius() && c.evidence[i] >= doubtful
}

// concentricWith is the evidence of a bore or a rim about the middle of a
// supposed pitch circle: what a face is turned about, its holes are set about.
func (c *chooser) concentricWith(s supposed, hole float64) float64 {
	best := 0.0
	for i, r := range c.rings {
		off := r2.Norm(r2.Sub(r.Centre, s.Centre))
		if off > 0.03*s.Radius+0.3 || c.dropped[i] || r.Either {
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
		return c.evidence[i] * (1 - 10*d*d)
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
		s.members = c.strong(s)
		if len(s.members) < 3 || !c.beyondChance(s.members) {
			return s, false
		}
		s.members = c.nearer(s)
	}
	return s, true
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
				r.sizeOff(hole) > 0.2 {
				continue
			}
			if d := math.Abs(s.Distance(r.Centre)); d < miss-0.15 && c.free(i, out, n) {
				out[n], miss = i, d
			}
		}
	}
	return out
}
