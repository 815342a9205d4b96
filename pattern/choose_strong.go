package pattern

import (
	"math"
	"slices"
)

const (
	leastScore    = 8.0   // strength that rings in mere texture do not reach
	leastContrast = 0.05  // of the steepest clear edge of the picture
	leastInAll    = 0.04  // of the typical hole's strength, contrast and crispness, multiplied
	fineScatter   = 0.02  // scatter over the radius below which one ring is as round as another
	crispRim      = 0.03  // scatter over the radius that texture hardly has
	roughRim      = 0.045 // and which it often has
	leastFaint    = 0.15  // of the typical hole's strength and contrast, multiplied, along a faint ring that stands out
	leastRise     = 1.0   // of holes that are steps; a print of their rims alone has less
	lineRise      = 0.25  // of the holes' rise, at most either way, of what is a line
	sureMiss      = 0.3   // tolerances that holes lie off their circle, typically
	allRound      = 0.8   // of a rim, at least, that is seen nearly all round
	byFar         = 1.3   // times as strong as any other mark
)

// strong keeps the members that can stand beside the typical one: a weak ring
// only where its size is that of others, one of another size only where it is
// about as clear as they are; and no more than the person expects.
func (c *chooser) strong(s supposed) []int {
	members := s.members
	beside := c.typicalOf(members[:(len(members)+1)/2]) // these are surely holes
	var clear, kept []int
	for _, m := range members {
		if beside.holds(c, m, 0.6) {
			clear = append(clear, m)
		}
	}
	for _, m := range members {
		share := 0.6
		off := c.offSize(m, clear)
		switch {
		case len(clear) == 1 && m == clear[0]: // nothing to be of the size of
		case off < oneDrill:
			share = 0.12
		case off < 0.12:
			share = 0.28
		case off > mostUnlike, beside.line(c.rings[m]) && !c.isAdded(m):
			continue // no drill set holds both, or it is drawn
		}
		miss := s.Distance(c.rings[m].Centre) / s.tolerance(c.rings[m])
		if c.isAdded(m) || beside.holds(c, m, share) && (share >= 0.6 || c.evidence[m] >= doubtful || beside.plain(c.rings[m], off, miss)) {
			kept = append(kept, m)
		}
	}
	kept = append(kept, c.alternating(s, kept)...)
	if n := c.opts.Holes; n > 0 {
		kept = kept[:min(n, len(kept))] // they are in order of worth
	}
	return kept
}

// typical is how clear the holes of a pattern are.
type typical struct{ evidence, contrast, scatter, score, rise float64 }

func (c *chooser) typicalOf(holes []int) typical {
	return typical{
		evidence: c.median(holes, func(i int) float64 { return c.evidence[i] }),
		contrast: c.median(holes, func(i int) float64 { return math.Abs(c.rings[i].Contrast) }),
		scatter:  c.median(holes, func(i int) float64 { return c.rings[i].Scatter }),
		score:    c.median(holes, func(i int) float64 { return c.rings[i].Score }),
		rise:     c.median(holes, func(i int) float64 { return c.rings[i].rise() }),
	}
}

// holds says whether ring i is at least a share as clear as the typical hole:
// in how crisp its edge is, and half that in its evidence.
func (t typical) holds(c *chooser, i int, share float64) bool {
	r := c.rings[i]
	contrast := math.Abs(r.Contrast) / t.contrast
	// How well an edge is seen to be round tells no more below a point.
	least := fineScatter * r.radius()
	rounder := math.Max(t.scatter, least) / math.Max(r.Scatter, least)
	crisp := contrast * math.Min(1, 2*rounder)
	return c.evidence[i] >= 0.5*share*t.evidence && crisp >= share && t.inAll(r) >= leastInAll*math.Min(1, share/0.6)
}

// inAll is how clear a ring is beside the typical hole, in strength, contrast and
// crispness at once: weak in one respect a hole or a bore may be, but not in all.
func (t typical) inAll(r Ring) float64 {
	least := fineScatter * r.radius()
	rounder := math.Max(t.scatter, least) / math.Max(r.Scatter, least)
	return r.Score / t.score * math.Abs(r.Contrast) / t.contrast * math.Min(1, rounder)
}

// line says that a ring is a line, where the holes are steps from paper to lead: a
// circle drawn by hand, or the bow of a figure.
func (t typical) line(r Ring) bool { return t.rise > leastRise && math.Abs(r.rise()) < lineRise*t.rise }

// plain says whether a faint ring is a hole all the same: a crisp arc; one that
// stands out, though it is ragged, at the very place; or one of the very size
// that is not ragged. Texture closes on circles roughly, weakly and of any
// size. off is the logarithm of its size over the others', miss how far it lies
// off their circle, in tolerances.
func (t typical) plain(r Ring, off, miss float64) bool {
	rough := r.Scatter / math.Max(r.radius(), 1e-9)
	stands := r.Score / t.score * math.Abs(r.Contrast) / t.contrast * r.RimSeen
	return rough < crispRim || stands*math.Exp(-miss*miss/(2*sureMiss*sureMiss)) >= leastFaint || rough < roughRim && off < SameDrill
}

// offSize is how far, as the logarithm of a ratio, ring i is in size from the
// nearest of holes other than itself.
func (c *chooser) offSize(i int, holes []int) float64 {
	off := math.Inf(1)
	for _, h := range holes {
		if h != i {
			off = math.Min(off, c.rings[i].sizeOff(c.rings[h]))
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
	return slices.ContainsFunc(members, c.isAdded) || better.score >= least && (better.evidence >= doubtful || c.standApart(members))
}

// standApart says whether so many members as chance does not set on one circle are
// the strongest marks of the picture by far, ragged as they may be: out of focus, or
// far ends that the lips of deep holes cut off.
func (c *chooser) standApart(members []int) bool {
	weakest := math.Inf(1)
	for _, m := range members {
		weakest = math.Min(weakest, c.rings[m].Score)
	}
	if len(members) < 5 || c.median(members, func(i int) float64 { return c.rings[i].RimSeen }) < allRound {
		return false
	}
	for i, r := range c.rings {
		if r.Either || c.dropped[i] || c.bore[i] || r.Score*byFar <= weakest || r.sizeOff(c.rings[members[0]]) > math.Log(3) {
			continue
		}
		if !slices.ContainsFunc(members, func(m int) bool { return m == i || r.overlaps(c.rings[m]) }) {
			return false
		}
	}
	return true
}
