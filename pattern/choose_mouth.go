package pattern

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	roundMouth  = 0.008 // scatter over the radius of a mouth, at most, and
	roundMouthU = 0.08  // mm more
	clearMouth  = 0.35  // of the bore's evidence, what a mouth must have
	mouthChance = 0.12  // and at least this much
	deepChamfer = 1.5   // times as deep as wide, at most, is a chamfer
	hardlyOut   = 0.02  // of a mouth's radius, how far what lies in it may seem to lie beyond
	wideChamfer = 0.12  // of the mouth's radius, at most, is its width
)

// findMouth looks for the bore's edge in the face: the largest ring in which the
// bore lies as what is deeper does. A narrow chamfer leaves the bore what it is.
// What lies deeper is a seat, or the far end, and the mouth is the bore.
func (c *chooser) findMouth(s supposed, hole float64) {
	b := c.out.Bore
	if b < 0 {
		return
	}
	if c.rings[b].Aside == (r2.Vec{}) {
		c.finerBore(b)
		return
	}
	bore := c.rings[b]
	mouth := -1
	for i, r := range c.rings {
		if i == b || i == c.out.Rim || c.dropped[i] || r.Scatter > roundMouth*r.radius()+roundMouthU || r.RimSeen < 0.6 ||
			r.radius() < bore.radius() && !finer(r, bore) || r2.Norm(r2.Sub(r.Centre, s.Centre))+r.radius() > s.Radius-1.15*hole ||
			r.evidence() < math.Max(clearMouth*bore.evidence(), mouthChance) || !finer(r, bore) && (!within(bore, r) || !above(bore, r) || !below(bore, r)) {
			continue
		}
		if mouth < 0 || r.Diameter > c.rings[mouth].Diameter {
			mouth = i
		}
	}
	if mouth < 0 {
		return
	}
	c.out.Mouth = mouth
	in := c.rings[mouth]
	wide := in.radius() - bore.radius()
	if finer(in, bore) {
		c.out.Reasons[mouth] = "the bore's edge once more, better told from what lies in it"
		return
	}
	if deep := r2.Dot(r2.Sub(bore.Centre, in.Centre), bore.Aside) / r2.Norm2(bore.Aside); wide < wideChamfer*in.radius() && deep < deepChamfer*wide {
		c.out.Reasons[mouth] = "chamfer of the bore: its edge in the face"
		return
	}
	c.out.Reasons[b] = "left: lies deep in the bore"
	c.out.Reasons[mouth] = "bore: its mouth, in which others lie deeper"
	c.out.Bore = mouth
}

// finerBore looks for the bore's edge of a scan among the circles about the same
// place that are rounder by far, and takes the innermost: of two edges close
// together, the bore's and its chamfer's, each is about the bore's centre, and what
// is measured as one is not. A larger one is the chamfer's, and tells the centre.
// What the centres differ by is in doubt.
func (c *chooser) finerBore(b int) {
	bore := c.rings[b]
	var finer []int
	for i, r := range c.rings {
		if r.Either && !c.dropped[i] && r.RimSeen >= wholeMouth && r.sizeOff(bore) < wideChamfer && r2.Norm(r2.Sub(r.Centre, bore.Centre)) < wideChamfer*bore.radius() &&
			r.Scatter < rounder*bore.Scatter && r.evidence() > mouthChance {
			finer = append(finer, i)
		}
	}
	if len(finer) == 0 {
		return
	}
	best := slices.MinFunc(finer, func(i, j int) int { return cmp.Compare(c.rings[i].Diameter, c.rings[j].Diameter) })
	off := 0.0
	for _, i := range finer {
		off = math.Max(off, r2.Norm(r2.Sub(c.rings[i].Centre, c.rings[best].Centre)))
	}
	if c.rings[best].Diameter > bore.Diameter {
		c.out.Mouth = best
		c.out.Reasons[best] = "chamfer of the bore: rounder than its own edge, tells its centre"
	} else {
		c.out.Bore = best
		c.out.Reasons[b] = "left: the bore's edge and its chamfer's, measured as one"
		c.out.Reasons[best] = "bore: its own edge, told from its chamfer's"
	}
	c.out.Doubt[c.out.Bore] = [2][2]float64{{off * off / 4, 0}, {0, off * off / 4}}
}

const (
	wholeMouth = 0.7 // of a rim, that is seen of an edge which is told from another
	rounder    = 0.6 // times as much scatter, at most
)

// below says that a ring is seen so far aside of a larger one that it lies deep in
// it, and not as high: about a bore run the grooves of turning, and seals.
func below(r, larger Ring) bool {
	aside := r2.Norm(r.Aside)
	deep := r2.Dot(r2.Sub(r.Centre, larger.Centre), r.Aside) / (aside * aside)
	u := math.Sqrt(r.CentreCov[0][0]+r.CentreCov[1][1]+larger.CentreCov[0][0]+larger.CentreCov[1][1]) / aside
	return deep > 2*math.Hypot(u, larger.unseenDepth())
}

// finer says that a ring is the same edge as another, better measured: without what
// lies within it on one side.
func finer(r, other Ring) bool {
	return r.sizeOff(other) < 0.01 && r2.Norm(r2.Sub(r.Centre, other.Centre)) < 0.01*other.radius() && r.Scatter < 0.6*other.Scatter
}

// within says that a ring lies within a larger one, or hardly beyond: where the
// lip hides a far end, that is measured as partly the lip.
func within(r, larger Ring) bool {
	return r2.Norm(r2.Sub(r.Centre, larger.Centre)) < larger.radius()-r.radius()+hardlyOut*larger.radius()
}
