package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Find returns the circular edges of a picture, the clearest first.
//
// It looks for them on a reduced picture and measures them on the picture
// itself. It supposes no more of an edge than that it closes on a circle, is
// seen along enough of it, and is lighter on the same side all the way round.
func Find(pic *Picture) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	side := float64(max(p.levels[0].w, p.levels[0].h))
	starts, err := candidates(p, 0.6*side)
	if err != nil {
		return nil, err
	}
	return p.measure(starts), nil
}

// How many of the clearest marks go on from the first look to the second, and
// from there to be measured finely.
const (
	mostGlanced  = 110
	mostMeasured = 60
)

// measure follows each start to the mark that it leads to.
func (p *pyramid) measure(starts []candidate) []Mark {
	marks := distinct(p.look(starts, glance))
	for i := range marks {
		marks[i].RimSeen = 0 // to be seen better
	}
	marks = distinct(p.look(again(marks, mostGlanced), coarse))
	double := p.look(p.sharpen(marks), narrow)
	marks = distinct(append(marks, double...))
	return distinct(p.look(again(marks, mostMeasured), fine))
}

// again turns the clearest marks into places to measure once more.
func again(marks []Mark, most int) []candidate {
	c := make([]candidate, min(len(marks), most))
	for i := range c {
		m := marks[i]
		c[i] = candidate{centre: m.Centre, radius: m.Radius, sign: m.sign(), z: m.Score, seen: m.RimSeen}
	}
	return c
}

// distinct keeps the clearest of marks that are the same edge, the clearest
// first.
func distinct(all []Mark) []Mark {
	slices.SortFunc(all, func(a, b Mark) int {
		return cmp.Or(
			cmp.Compare(b.clarity(), a.clarity()),
			cmp.Compare(a.Centre.X, b.Centre.X), cmp.Compare(a.Centre.Y, b.Centre.Y), cmp.Compare(a.Radius, b.Radius))
	})
	var kept []Mark
next:
	for _, m := range all {
		for _, k := range kept {
			if k.Kind == m.Kind && r2.Norm(r2.Sub(k.Centre, m.Centre)) < 0.1*k.Radius+0.5 && math.Abs(k.Radius-m.Radius) < 0.04*k.Radius+1 {
				continue next
			}
		}
		kept = append(kept, m)
	}
	return kept
}

// MeasureAt measures the circular edge nearest to where a circle is known to
// be (px), or says that there is none.
func MeasureAt(pic *Picture, centre r2.Vec, radius float64) (Mark, bool) {
	if !(radius >= 2) || !(radius < 1e6) || math.IsNaN(centre.X+centre.Y) {
		return Mark{}, false
	}
	p, err := pic.pyramid()
	if err != nil {
		return Mark{}, false
	}
	marks := p.measure([]candidate{
		{centre: centre, radius: radius, sign: -1, z: leastZ},
		{centre: centre, radius: radius, sign: 1, z: leastZ},
	})
	if len(marks) == 0 {
		return Mark{}, false
	}
	return marks[0], true
}

// MeasureNear is MeasureAt for a hand that points at a circle only roughly,
// up to about half its radius beside its centre. What is found beside the place
// must stand out: there is always something that is hardly a circle.
func MeasureNear(pic *Picture, centre r2.Vec, radius float64) (Mark, bool) {
	if !(radius >= 2) || !(radius < 1e6) || math.IsNaN(centre.X+centre.Y) {
		return Mark{}, false
	}
	p, err := pic.pyramid()
	if err != nil {
		return Mark{}, false
	}
	var starts []candidate
	for _, x := range [3]float64{0, -beside, beside} {
		for _, y := range [3]float64{0, -beside, beside} {
			at := r2.Add(centre, r2.Scale(radius, r2.Vec{X: x, Y: y}))
			starts = append(starts, candidate{centre: at, radius: radius, sign: -1, z: leastZ}, candidate{centre: at, radius: radius, sign: 1, z: leastZ})
		}
	}
	for _, m := range p.measure(starts) {
		if r2.Norm(r2.Sub(m.Centre, centre)) < radius && m.RimSeen >= clearRim && math.Abs(m.Contrast) >= clearContrast {
			return m, true
		}
	}
	return MeasureAt(pic, centre, radius)
}

// beside is how far, in radii, a second look starts beside a place that was
// pointed at; what it finds is seen along clearRim of its rim at least and is
// clearContrast grey levels a pixel steep.
const (
	beside        = 0.35
	clearRim      = 0.5
	clearContrast = 1.0
)
