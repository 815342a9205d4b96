package vision

import (
	"cmp"
	"math"
	"slices"

	"boltrose/pattern/circle"
	"gonum.org/v1/gonum/spatial/r2"
)

// Find returns the circular edges of a picture, the strongest first.
func Find(pic *Picture) ([]Mark, error) {
	p, err := newPyramid(pic.Grey, searchSide)
	if err != nil {
		return nil, err
	}
	side := float64(max(p.levels[0].w, p.levels[0].h))
	starts, err := candidates(p, 0.6*side)
	if err != nil {
		return nil, err
	}
	marks := measureAll(p, starts, glance)
	marks = measureAll(p, again(marks), coarse)
	marks = different(marks)
	marks = measureAll(p, again(marks[:min(len(marks), maxMarks)]), fine)
	return different(marks), nil
}

// maxMarks is how many of the strongest marks are measured finely.
const maxMarks = 120

// again turns marks into places to measure once more.
func again(marks []Mark) []candidate {
	c := make([]candidate, len(marks))
	for i, m := range marks {
		c[i] = candidate{centre: m.Centre, radius: m.Radius, sign: -math.Copysign(1, m.Contrast)}
	}
	return c
}

// measureAll follows the looks from each start and returns the marks that
// came of it, in the order of their starts.
func measureAll(p *pyramid, starts []candidate, looks []look) []Mark {
	marks := make([]*Mark, len(starts))
	each(len(starts), func(i int) {
		s := starts[i]
		r, l, ok := approach(p, circle.Circle{Centre: s.centre, Radius: s.radius}, s.sign, looks)
		if !ok {
			return
		}
		if m := r.mark(l, s.sign); plausible(m) {
			marks[i] = &m
		}
	})
	var found []Mark
	for _, m := range marks {
		if m != nil {
			found = append(found, *m)
		}
	}
	return found
}

func plausible(m Mark) bool {
	return m.RimSeen >= 0.3 && m.Scatter < 0.12*m.Radius
}

// different keeps the strongest of marks that are the same edge.
func different(all []Mark) []Mark {
	slices.SortFunc(all, func(a, b Mark) int {
		return cmp.Or(cmp.Compare(b.Score, a.Score), cmp.Compare(a.Centre.X, b.Centre.X), cmp.Compare(a.Centre.Y, b.Centre.Y), cmp.Compare(a.Radius, b.Radius))
	})
	var kept []Mark
next:
	for _, m := range all {
		for _, k := range kept {
			if k.Kind == m.Kind && r2.Norm(r2.Sub(k.Centre, m.Centre)) < 0.1*k.Radius && math.Abs(k.Radius-m.Radius) < 0.04*k.Radius+1 {
				continue next
			}
		}
		kept = append(kept, m)
	}
	return kept
}

// MeasureAt measures the circular edge nearest to a circle that a person
// points at, or says that there is none.
func MeasureAt(pic *Picture, centre r2.Vec, radius float64) (Mark, bool) {
	if !(radius >= 2) || radius > 1e6 {
		return Mark{}, false
	}
	p, err := newPyramid(pic.Grey, searchSide)
	if err != nil {
		return Mark{}, false
	}
	starts := []candidate{{centre: centre, radius: radius, sign: -1}, {centre: centre, radius: radius, sign: 1}}
	marks := different(measureAll(p, starts, slices.Concat(glance, coarse, fine)))
	if len(marks) == 0 {
		return Mark{}, false
	}
	return marks[0], true
}
