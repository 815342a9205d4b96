package read

import (
	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"
)

// lookRound looks for chamfers and counterbores round the holes of a first
// choice. In a photograph they matter: what they are the edge of is the face,
// and the hole in them lies below it and is seen aside.
func (r *Result) lookRound(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	if r.look.flat == nil {
		return circles, nil
	}
	choose.Holes = 0
	first, err := pattern.Choose(r.Rings, choose)
	if err != nil {
		return circles, nil // the last choice will say so
	}
	for _, h := range first.Holes {
		more, err := vision.FindRound(r.look.picture, r.seen[h], mostRound)
		if err != nil {
			return nil, err
		}
		circles = r.join(circles, more)
	}
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

// mostRound is the diameter of the largest counterbore, in those of its hole.
const mostRound = 2.2
