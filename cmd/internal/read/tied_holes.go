package read

import (
	"slices"

	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// tiedAgain is how often a scale by known points in holes is built once more. The
// depth of the holes and the scale depend on one another a little.
const tiedAgain = 2

// marksOnFace returns the marks of a photograph, and of those in holes only the
// holes', moved to where the holes' centres in the face are seen. The edge by which a
// hole was measured may lie below, in a chamfer or a counterbore, and a point that a
// person knows in that hole does not.
func (r *Result) marksOnFace() []vision.Mark {
	onFace := pattern.OnFace(r.Rings, r.Choice)
	var holes []vision.Mark
	for _, h := range r.Choice.Holes {
		m := r.Marks[h]
		from, seen := r.Plane.Px(r.Rings[h].Centre, m.Centre)
		to, ok := r.Plane.Px(onFace[h].Centre, m.Centre)
		if seen && ok {
			m = shifted(m, r2.Sub(to, from))
		}
		holes = append(holes, m)
	}
	others := slices.DeleteFunc(slices.Clone(r.Marks), func(m vision.Mark) bool {
		return slices.ContainsFunc(holes, func(h vision.Mark) bool { return r2.Norm(r2.Sub(m.Centre, h.Centre)) < h.Radius })
	})
	return append(holes, others...)
}

// shifted is a mark seen elsewhere.
func shifted(m vision.Mark, by r2.Vec) vision.Mark {
	m.Centre = r2.Add(m.Centre, by)
	m.Edge = slices.Clone(m.Edge)
	for i, e := range m.Edge {
		m.Edge[i] = r2.Add(e, by)
	}
	return m
}
