package pattern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/combin"
)

// takeStrewn takes the marks as a free pattern where most that look like the
// members of a supposed pitch circle lie elsewhere, no bore or rim is about its
// middle, and as many marks strewn at random would share such a circle too: the
// holes of an uneven outline, or print.
func (c *chooser) takeStrewn(s supposed) bool {
	if c.opts.PCD > 0 || c.opts.Holes > 0 {
		return false
	}
	like := c.likeMembers(s)
	if len(like) < 2*len(s.members) || c.concentricWith(s, c.rings[s.members[0]].radius()) > doubtful || c.byChance(s, like) < 1 {
		return false
	}
	c.out.Warnings = append(c.out.Warnings, "the marks share no pitch circle: some lie on one, but among so many that may be chance. They are reported by x and y; where they do share one, say so with --pcd or --holes")
	c.takeFree(like)
	return true
}

// byChance is how many circles as good as a supposed one are expected among as
// many marks strewn at random over the same place: those that three of them
// give, times the probability that its other members lie as near to it as they
// do. (The number of false alarms of Desolneux, Moisan, Morel, "Meaningful
// alignments", IJCV 40 (2000); from memory.)
func (c *chooser) byChance(s supposed, like []int) float64 {
	n, k := float64(len(like)), float64(len(s.members))
	low, high := c.rings[like[0]].Centre, c.rings[like[0]].Centre
	for _, i := range like {
		p := c.rings[i].Centre
		low = r2.Vec{X: math.Min(low.X, p.X), Y: math.Min(low.Y, p.Y)}
		high = r2.Vec{X: math.Max(high.X, p.X), Y: math.Max(high.Y, p.Y)}
	}
	off := leastOff
	for _, m := range s.members {
		off = math.Max(off, math.Abs(s.Distance(c.rings[m].Centre)))
	}
	place := math.Max((high.X-low.X)*(high.Y-low.Y), math.Pi*s.Radius*s.Radius)
	near := math.Min(4*math.Pi*s.Radius*off/place, 1)
	return math.Exp(combin.LogGeneralizedBinomial(n, 3) + combin.LogGeneralizedBinomial(n-3, k-3) + (k-3)*math.Log(near))
}

// leastOff is how near to a circle (mm) marks are told to lie at best.
const leastOff = 0.05
