package read

import (
	"math"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// lookMouth looks for the mouth of the bore in a photograph. What stands out of
// a bore is often the edge of a deeper seat or its far end, which is seen aside;
// the mouth is about a place displaced to where the view comes from, the farther
// the deeper that edge lies. Where no bore was found the mouth may be anywhere
// about the pitch circle's centre.
func (r *Result) lookMouth(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	choose.Holes = 0
	first, err := pattern.Choose(r.Rings, choose)
	if err != nil || !first.Circle {
		return circles, nil // the last choice will say so
	}
	if r.look.flat == nil {
		return r.lookChamfer(circles, first)
	}
	around, ok := r.pitchCircle(first)
	if !ok {
		return circles, nil
	}
	hole := 0.0
	for _, h := range first.Holes {
		hole = math.Max(hole, r.Rings[h].Diameter/2)
	}
	near := r.Rings[first.Holes[0]].CentrePx
	most := around.Radius - mouthClear*hole
	way, about, least := [2]r2.Vec{around.Centre, around.Centre}, mouthAbout*around.Radius, leastMouth*around.Radius
	if b := first.Bore; b >= 0 {
		bore := r.Rings[b]
		about, least = 0, mouthLess*bore.Diameter/2
		way = [2]r2.Vec{bore.Centre, bore.Centre}
		if bore.Aside != (r2.Vec{}) {
			// What is seen within the mouth cannot lie farther aside than that.
			way[1] = r2.Sub(bore.Centre, r2.Scale(math.Max(most-bore.Diameter/2, 0), r2.Unit(bore.Aside)))
		}
	}
	larger := 0.0
	for i, mm := range way {
		px, ok := r.Scaling.Plane.Px(mm, near)
		if !ok {
			return circles, nil
		}
		way[i], _ = r.look.to(px)
		x, y := r.Scaling.Plane.MMPerPx(px)
		_, k := r.look.to(px)
		larger = 2 * k / (x + y)
	}
	found, err := vision.FindMouth(r.look.picture, way, about*larger, least*larger, most*larger)
	if err != nil {
		return nil, err
	}
	circles = r.join(circles, found)
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

// lookChamfer looks for each edge of a bore in a scan by itself: the bore's and its
// chamfer's may have been measured as one, here on the one and there on the other.
// Both are about one centre.
//
// Where the bore is no more ragged than the roundest hole, or by less than two edges
// a pixel apart make it, there is nothing to tell apart.
func (r *Result) lookChamfer(circles []calib.Circle, first pattern.Choice) ([]calib.Circle, error) {
	if first.Bore < 0 {
		return circles, nil
	}
	m, roundest := r.seen[first.Bore], math.Inf(1)
	for _, h := range first.Holes {
		roundest = math.Min(roundest, r.seen[h].Scatter)
	}
	x, y := r.Scaling.Plane.MMPerPx(r.Marks[first.Bore].Centre)
	oval := math.Abs(x-y) / (x + y) * m.Radius // px that axes of two scales make of a circle
	if m.Scatter <= math.Max(roundest, leastMixed) || oval > mostOval {
		return circles, nil
	}
	found, err := vision.FindMouth(r.look.picture, [2]r2.Vec{m.Centre, m.Centre}, chamferAbout*m.Radius, (1-chamferWide)*m.Radius, (1+chamferWide)*m.Radius)
	if err != nil {
		return nil, err
	}
	circles = r.join(circles, found)
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

const (
	mostOval     = 1.0  // px, for circles are looked for in the picture
	leastMixed   = 0.5  // px, what two edges a pixel apart scatter by
	chamferWide  = 0.12 // of the bore's radius, at most, to either hand
	chamferAbout = 0.03 // of the bore's radius, how far its centre may be off that is measured as one

	leastMouth = 0.12 // of the pitch circle's radius, the smallest mouth that is looked for
	mouthClear = 1.15 // hole radii between the mouth and the pitch circle, at least
	mouthLess  = 0.98 // of the edge that is seen, what its mouth is at least
	mouthAbout = 0.05 // of the pitch circle's radius, how far from its centre a bore's is
)
