package read

import (
	"math"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// lookMouths looks for the edges of countersinks round the holes that show none. They
// are cut alike: where two of three holes have none that are, the others are not
// looked at.
func (r *Result) lookMouths(circles []calib.Circle, first pattern.Choice) ([]calib.Circle, error) {
	holes := slices.DeleteFunc(slices.Clone(first.Holes), func(h int) bool { _, seen := first.Outer[h]; return seen })
	found := make([][]vision.Mark, len(holes))
	for n, h := range holes {
		if n == tried && !r.cutAlike(holes[:n], found) {
			break
		}
		var err error
		if found[n], err = r.mouthsOf(h); err != nil {
			return nil, err
		}
	}
	return r.join(circles, slices.Concat(found...)), nil
}

// cutAlike says that two of the holes have mouths that are as many times as large.
func (r *Result) cutAlike(holes []int, found [][]vision.Mark) bool {
	for i := range holes {
		for k := range i {
			for _, a := range found[i] {
				for _, b := range found[k] {
					if math.Abs(math.Log(a.Radius/r.seen[holes[i]].Radius*r.seen[holes[k]].Radius/b.Radius)) < cutAs {
						return true
					}
				}
			}
		}
	}
	return false
}

const (
	tried = 3    // holes, at first
	cutAs = 0.05 // logarithm of how much mouths that are cut alike may differ, as they are seen
)

// mouthsOf looks for the edge of a hole's countersink in the face. Its cone is lit
// from aside, brighter than the face along one part of the rim and darker along
// another, and the hole at its bottom is seen aside of it, by no more than it is
// smaller.
func (r *Result) mouthsOf(h int) ([]vision.Mark, error) {
	hole := r.Rings[h]
	way := [2]r2.Vec{hole.Centre, hole.Centre}
	if hole.Aside != (r2.Vec{}) {
		way[1] = r2.Sub(hole.Centre, r2.Scale((mostRound-1)*hole.Diameter/2, r2.Unit(hole.Aside)))
	}
	for i, mm := range way {
		px, ok := r.Scaling.Plane.Px(mm, hole.CentrePx)
		if !ok {
			return nil, nil
		}
		way[i], _ = r.look.to(px)
	}
	radius := r.seen[h].Radius
	return vision.FindMouth(r.look.picture, way, 0, vision.LeastRound*radius, mostRound*radius)
}
