package read

import "math"

// cutOff warns where holes may lie that the picture does not show.
const cutOff = "the pitch circle leaves the picture: holes may lie beyond its edge, and what is said of spacing, and of how many ways a part goes on, holds only without them; take the whole face"

// circleLeaves says that some of the pitch circle lies beyond the picture's edge.
func (r *Result) circleLeaves() bool {
	if !r.Choice.Circle {
		return false
	}
	around, ok := r.pitchCircle(r.Choice)
	if !ok {
		return false
	}
	size, near := r.Picture.Grey.Rect.Size(), r.Rings[r.Choice.Holes[0]].CentrePx
	for deg := range 360 {
		px, ok := r.Scaling.Plane.Px(around.At(float64(deg)*math.Pi/180), near)
		if !ok || px.X < 0 || px.Y < 0 || px.X > float64(size.X) || px.Y > float64(size.Y) {
			return true
		}
		near = px
	}
	return false
}
