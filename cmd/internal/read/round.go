package read

import (
	"math"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"
)

// lookMixed looks where no pattern was found for the edges of all marks that may be
// mixtures of two: where every hole is chamfered, none may be round.
func (r *Result) lookMixed(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	choose.Holes = 0
	if first, err := pattern.Choose(r.Rings, choose); err == nil && first.Circle {
		return circles, nil
	}
	found, err := vision.FindMixed(r.look.picture, r.seen)
	if err != nil {
		return nil, err
	}
	circles = r.join(circles, found)
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

// lookRound looks closer at the holes of a first choice. Those that are ragged
// beside the best may be a mixture of a hole's edge and its chamfer's, which
// are looked for one by one. They, and those that differ from the best in size,
// are looked for by that size too: one drill made them. In a photograph chamfers
// and counterbores are looked for round each of them: what they are the edge of is
// the face, and the hole in them lies below it and is seen aside.
func (r *Result) lookRound(circles []calib.Circle, choose pattern.ChooseOptions) ([]calib.Circle, error) {
	choose.Holes = 0
	first, err := pattern.Choose(r.Rings, choose)
	if err != nil {
		return circles, nil // the last choice will say so
	}
	for _, h := range first.Holes {
		var more []vision.Mark
		if r.ragged(h, first.Holes) {
			if more, err = vision.FindApart(r.look.picture, r.seen[h]); err != nil {
				return nil, err
			}
		}
		if best, ok := r.crispest(h, first.Holes); ok && (r.ragged(h, first.Holes) || r.sizeOff(h, best) > pattern.SameDrill) {
			same, err := vision.FindOfSize(r.look.picture, r.seen[h], r.seen[best].Radius)
			if err != nil {
				return nil, err
			}
			more = append(more, same...)
		}
		if r.look.flat != nil {
			round, err := vision.FindRound(r.look.picture, r.seen[h], mostRound)
			if err != nil {
				return nil, err
			}
			more = append(more, round...)
		}
		circles = r.join(circles, more)
	}
	if r.look.flat != nil {
		if circles, err = r.lookMouths(circles, first); err != nil {
			return nil, err
		}
	}
	r.Rings = r.rings(circles, nil)
	return circles, nil
}

// ragged says that a hole's edge points agree much less than the best holes' do.
func (r *Result) ragged(h int, holes []int) bool {
	var scatter []float64
	for _, o := range holes {
		scatter = append(scatter, r.seen[o].Scatter)
	}
	slices.Sort(scatter)
	return r.seen[h].Scatter > raggedScatter*r.seen[h].Radius && r.seen[h].Scatter > mixedScatter*scatter[(len(scatter)-1)/4]
}

// crispest is, of the holes that may be of one drill with a ragged one, the one
// whose edge points agree best.
func (r *Result) crispest(h int, holes []int) (best int, ok bool) {
	for _, o := range holes {
		if o == h || r.ragged(o, holes) || r.sizeOff(o, h) > pattern.MostChamfer {
			continue
		}
		if !ok || r.seen[o].Scatter < r.seen[best].Scatter {
			best, ok = o, true
		}
	}
	return best, ok
}

// sizeOff is the logarithm of the ratio of two marks' radii, without sign.
func (r *Result) sizeOff(a, b int) float64 {
	return math.Abs(math.Log(r.seen[a].Radius / r.seen[b].Radius))
}

// raggedScatter is the scatter over the radius from which on a rim may be two.
const raggedScatter = 0.01

// mostRound is the diameter of the largest counterbore, in those of its hole.
const mostRound = 2.2
