package read

import (
	"cmp"
	"math"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/pattern/circle"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// lookAgain looks along the pitch circle of a first choice for holes of its
// sizes that were too faint to be found without knowing where to look. What it
// finds joins the marks; a second choice then decides.
func (r *Result) lookAgain(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	choose.Holes = 0
	first, err := pattern.Choose(r.Rings, choose)
	if err != nil || !first.Circle {
		return circles, nil // the last choice will say so
	}
	around, ok := r.pitchCircle(first)
	if !ok {
		return circles, nil
	}
	var more []vision.Mark
	for _, like := range r.sizes(first.Holes) {
		path := r.alongCircle(around, r.Rings[like])
		if path == nil {
			return circles, nil
		}
		found, err := vision.FindAlong(r.look.picture, path, r.seen[like])
		if err != nil {
			return nil, err
		}
		more = append(more, found...)
	}
	circles = r.join(circles, more)
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

// pitchCircle is the one on which a choice's holes lie, mm.
func (r *Result) pitchCircle(c pattern.Choice) (circle.Circle, bool) {
	var centres []r2.Vec
	for _, h := range c.Holes {
		if !slices.Contains(c.OffCircle, h) {
			centres = append(centres, r.Rings[h].Centre)
		}
	}
	fit, err := circle.LeastSquares(centres, nil)
	return fit.Circle, err == nil
}

// sizes are the clearest of the holes of each size that several have.
func (r *Result) sizes(holes []int) []int {
	clear := func(h int) float64 { return r.Rings[h].Score * r.Rings[h].RimSeen }
	left := slices.Clone(holes)
	slices.SortStableFunc(left, func(a, b int) int { return cmp.Compare(clear(b), clear(a)) })
	var out []int
	for len(left) > 0 {
		like := left[0]
		rest := slices.DeleteFunc(slices.Clone(left), func(h int) bool {
			return math.Abs(math.Log(r.Rings[h].Diameter/r.Rings[like].Diameter)) < oneSize
		})
		if len(left)-len(rest) > 1 {
			out = append(out, like)
		}
		left = rest
	}
	return out
}

// oneSize is the largest logarithm of the ratio of diameters of holes of one
// drill.
const oneSize = 0.1

// join adds those of the marks found that are new, and their circles.
func (r *Result) join(circles []calib.Circle, more []vision.Mark) []calib.Circle {
	for _, found := range more {
		m := r.look.back(found)
		if r.knows(m) || !r.Scaling.onFace(m) {
			continue
		}
		c, err := r.Scaling.Plane.Measure(m)
		if err != nil {
			continue
		}
		r.Marks, r.seen = append(r.Marks, m), append(r.seen, found)
		circles = append(circles, c)
	}
	return circles
}

// alongCircle is the pitch circle in the picture that is looked at, in steps of
// an eighth of a hole's radius; nil where it leaves the picture's plane.
func (r *Result) alongCircle(around circle.Circle, like pattern.Ring) []r2.Vec {
	n := int(math.Ceil(2 * math.Pi * around.Radius / (like.Diameter / 16)))
	path := make([]r2.Vec, min(n, 4000))
	last := like.CentrePx
	for i := range path {
		px, ok := r.Scaling.Plane.Px(around.At(2*math.Pi*float64(i)/float64(len(path))), last)
		if !ok {
			return nil
		}
		last = px
		path[i], _ = r.look.to(px)
	}
	return path
}

// knows says whether the mark is one of those that were found already. One whose
// edge points agree so much better is another: what was found is a mixture of it
// and of an edge beside it.
func (r *Result) knows(m vision.Mark) bool {
	for _, k := range r.Marks {
		if k.Kind == m.Kind && r2.Norm(r2.Sub(k.Centre, m.Centre)) < 0.1*k.Radius && math.Abs(k.Radius-m.Radius) < 0.05*k.Radius+1 &&
			k.Scatter < mixedScatter*math.Max(m.Scatter, raggedScatter*m.Radius) {
			return true
		}
	}
	return false
}

// mixedScatter is how many times as ragged as one edge a mixture of two is.
const mixedScatter = 1.5
