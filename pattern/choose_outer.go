package pattern

import (
	"math"
	"slices"
)

// Chamfers and counterbores are larger than their holes by these ratios of
// diameters.
const (
	leastOuter = 1.12
	mostOuter  = 2.6
	// Of a hole's contrast, what an edge within it has that is the hole's itself.
	faintWithin = 0.2
)

// chooseEdges tells which of its edges each hole is measured on.
func (c *chooser) chooseEdges() {
	c.claimOuters()
	c.sameEdges()
}

// claimOuters gives each hole the clearest ring concentric with it: its
// chamfer or counterbore. A ring within a hole that is just as clear makes
// itself the hole and the larger one its chamfer. What stands to its hole as
// most of the holes' do need not be as clear.
func (c *chooser) claimOuters() {
	usual := c.usualOuter()
	all := slices.Clone(c.out.Holes)
	for n, h := range c.out.Holes {
		best := 0.0
		roundIt := c.mostlyRound(h, all, usual)
		for i := range c.rings {
			ratio, ok := c.outerRatio(h, i)
			if !ok {
				continue
			}
			e := c.rings[i].evidence()
			switch {
			case usual > 0 && alikeRatio(ratio, usual) && (!roundIt || c.rings[i].Diameter > c.rings[h].Diameter):
				e++
			case c.rings[i].Either || e < 0.5*c.rings[h].evidence():
				continue
			}
			if c.rings[i].Diameter < c.rings[h].Diameter && math.Abs(c.rings[i].Contrast) < faintWithin*math.Abs(c.rings[h].Contrast) {
				continue // shade on the wall, or a far end
			}
			if e <= best {
				continue
			}
			best = e
			small, large := h, i
			if c.rings[i].Diameter < c.rings[h].Diameter {
				small, large = i, h
			}
			delete(c.out.Outer, h)
			c.out.Outer[small] = large
			if small != h {
				c.out.Reasons[small] = c.out.Reasons[h]
				c.out.Holes[n] = small
				if k := slices.Index(c.out.OffCircle, h); k >= 0 {
					c.out.OffCircle[k] = small
				}
				h = small
			}
			c.out.Reasons[large] = "chamfer or counterbore round a hole"
		}
	}
}

// mostlyRound says that of the holes of one's size more show the usual edge round
// them than within them: it is no chamfer itself.
func (c *chooser) mostlyRound(h int, holes []int, usual float64) bool {
	round, within := 0, 0
	for _, o := range holes {
		if c.rings[o].sizeOff(c.rings[h]) > oneDrill {
			continue
		}
		for i, r := range c.rings {
			switch ratio, ok := c.outerRatio(o, i); {
			case !ok || !alikeRatio(ratio, usual):
			case r.Diameter > c.rings[o].Diameter:
				round++
			default:
				within++
			}
		}
	}
	return round > within
}

// outerRatio is the ratio of diameters of two rings that may be a hole and
// its chamfer or counterbore.
func (c *chooser) outerRatio(hole, i int) (ratio float64, ok bool) {
	h, r := c.rings[hole], c.rings[i]
	if i == hole || i == c.out.Bore || i == c.out.Rim || !r.Either && r.inside() != h.inside() || !r.concentric(h) {
		return 0, false
	}
	ratio = math.Exp(r.sizeOff(h))
	if r.Either && r.Diameter < h.Diameter {
		return 0, false // shade on the wall
	}
	return ratio, ratio >= leastOuter && ratio <= mostOuter
}

func alikeRatio(a, b float64) bool { return math.Abs(math.Log(a/b)) < 0.025 }

// usualOuter is the ratio of diameters of the pairs of concentric rings that
// at least three and half of the holes have; 0 where they do not.
func (c *chooser) usualOuter() float64 {
	ratios := make([][]float64, len(c.out.Holes))
	for n, h := range c.out.Holes {
		for i, r := range c.rings {
			if q, ok := c.outerRatio(h, i); ok && r.RimSeen >= 0.4 && math.Abs(r.Contrast) >= 0.2*math.Abs(c.rings[h].Contrast) {
				ratios[n] = append(ratios[n], q)
			}
		}
	}
	best, most := 0.0, max(3, (len(ratios)+1)/2)
	for _, q := range slices.Concat(ratios...) {
		have := 0
		for _, of := range ratios {
			if slices.ContainsFunc(of, func(p float64) bool { return alikeRatio(p, q) }) {
				have++
			}
		}
		if have >= most && (have > most || best == 0) {
			best, most = q, have
		}
	}
	return best
}
