package read

import (
	"math"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/pattern/circle"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// lookMouth looks for the mouth of the bore in a photograph. What stands out of
// a bore is often the edge of a deeper seat or its far end, which is seen aside;
// the mouth is about a place displaced to where the view comes from, the farther
// the deeper that edge lies. Where no bore was found the mouth may be anywhere
// about the pitch circle's centre.
func (r *Result) lookMouth(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	if r.look.flat == nil {
		return circles, nil
	}
	choose.Holes = 0
	first, err := pattern.Choose(r.Rings, choose)
	if err != nil || !first.Circle {
		return circles, nil // the last choice will say so
	}
	var centres []r2.Vec
	hole := 0.0
	for _, h := range first.Holes {
		if !slices.Contains(first.OffCircle, h) {
			centres = append(centres, r.Rings[h].Centre)
		}
		hole = math.Max(hole, r.Rings[h].Diameter/2)
	}
	around, err := circle.LeastSquares(centres, nil)
	if err != nil {
		return circles, nil
	}
	near := r.Rings[first.Holes[0]].CentrePx
	most := around.Radius - mouthClear*hole
	at, least := around.Centre, leastMouth*around.Radius
	var places []r2.Vec // mm
	if b := first.Bore; b >= 0 {
		bore := r.Rings[b]
		at, least = bore.Centre, mouthLarger*bore.Diameter/2
		towards := r2.Vec{}
		if bore.Aside != (r2.Vec{}) {
			towards = r2.Scale(-1, r2.Unit(bore.Aside))
		}
		// What is seen within the mouth cannot lie farther aside than that.
		step := most / mouthSteps
		for s := -step; s <= most-bore.Diameter/2; s += step {
			places = append(places, r2.Add(at, r2.Scale(s, towards)))
			if towards == (r2.Vec{}) {
				break
			}
		}
	} else {
		step := most / mouthSteps
		for i := -3.0; i <= 3; i++ {
			for j := -3.0; j <= 3; j++ {
				places = append(places, r2.Add(at, r2.Vec{X: i * step, Y: j * step}))
			}
		}
	}
	var path []r2.Vec
	larger := 0.0
	for _, mm := range places {
		px, ok := r.Scaling.Plane.Px(mm, near)
		if !ok {
			return circles, nil
		}
		beside, ok := r.Scaling.Plane.Px(r2.Add(mm, r2.Vec{X: 1}), px)
		if !ok {
			return circles, nil
		}
		a, _ := r.look.to(px)
		b, _ := r.look.to(beside)
		path, larger = append(path, a), r2.Norm(r2.Sub(b, a))
	}
	found, err := vision.FindMouth(r.look.picture, path, least*larger, most*larger)
	if err != nil {
		return nil, err
	}
	circles = r.join(circles, found)
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

const (
	leastMouth  = 0.12  // of the pitch circle's radius, the smallest mouth that is looked for
	mouthClear  = 1.15  // hole radii between the mouth and the pitch circle, at least
	mouthLarger = 1.015 // how much larger than the edge that is seen a mouth is
	mouthSteps  = 70    // of the largest mouth's radius, by which its centre is moved
)
