package vision

import (
	"cmp"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// What a second search looks at, on a level finer than the first search's:
// centres within reach pixels, radii within a quarter.
const (
	sharpenRadius  = 20.0
	sharpenReach   = 5
	sharpenSectors = 40
	sharpenBand    = 0.28
	mostSharpened  = 40
)

// sharpen searches the neighbourhood of marks whose edge points do not agree
// well once more, finer: two edges close together (a chamfer, a slipped copy)
// look like one blurred edge to the first search, and the points then belong
// partly to the one and partly to the other. It returns the places of the
// strongest circles that it finds instead.
func (p *pyramid) sharpen(marks []Mark) []candidate {
	var blurred []Mark
	for _, m := range marks {
		if m.Scatter > 0.02*m.Radius || m.RimSeen < 0.7 {
			blurred = append(blurred, m)
		}
	}
	slices.SortStableFunc(blurred, func(a, b Mark) int { return cmp.Compare(b.Score*b.RimSeen, a.Score*a.RimSeen) })
	blurred = blurred[:min(len(blurred), mostSharpened)]
	found := make([][]candidate, len(blurred))
	each(len(blurred), func(i int) { found[i] = p.around(blurred[i], sharpenRadius, 1-sharpenBand, 1+sharpenBand) })
	return slices.Concat(found...)
}

// around returns where circles of a mark's kind stand out near its centre, of
// radii from and to so many times its own, on the level where that has so many
// pixels.
func (p *pyramid) around(m Mark, pixels, from, to float64) []candidate {
	l := p.fit(m.Radius, pixels)
	centre, radius := l.down(m.Centre), m.Radius*(l.sx+l.sy)/2
	if radius < 6 {
		return nil
	}
	first := math.Max(from*radius, 3)
	n := int(to*radius - first)
	reach := min(sharpenReach, int(0.25*radius))
	type place struct {
		dx, dy int
		slope  float64
	}
	best := make([]place, n) // for each radius
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			at := r2.Vec{X: centre.X + float64(dx), Y: centre.Y + float64(dy)}
			for i, v := range l.meanSlopes(at, first, n) {
				if v *= m.sign(); v > best[i].slope {
					best[i] = place{dx, dy, v}
				}
			}
		}
	}
	var out []candidate
	for i := 1; i+1 < n; i++ {
		if best[i].slope <= 0 || best[i].slope < best[i-1].slope || best[i].slope < best[i+1].slope {
			continue
		}
		out = append(out, candidate{
			centre: l.up(r2.Vec{X: centre.X + float64(best[i].dx), Y: centre.Y + float64(best[i].dy)}),
			radius: (first + float64(i) + 0.5) * 2 / (l.sx + l.sy),
			sign:   m.sign(), z: m.Score,
		})
	}
	return out
}

// meanSlopes returns the mean outward slope of the grey on n circles about a
// point of the level, the first between the radii first and first+1 and each
// a pixel larger.
func (l level) meanSlopes(at r2.Vec, first float64, n int) []float64 {
	u := unroll(l, circle.Circle{Centre: at, Radius: first + float64(n)/2}, oval{}, sharpenSectors, float64(n)/2, 1)
	out := make([]float64, n)
	used := 0.0
	for _, p := range u.profile {
		if p == nil {
			continue
		}
		used++
		for i := range min(n, len(p)-1) {
			out[i] += p[i+1] - p[i]
		}
	}
	for i := range out {
		out[i] /= math.Max(used, 1)
	}
	return out
}
