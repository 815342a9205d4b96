package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// FindAlong looks for circles of one kind and size whose centres lie on a
// path (px), closed and finely stepped. Someone who knows where to look and
// for what sees fainter marks than Find: a rim of which little was rubbed.
// like is a mark such as is looked for; its strength on the path's level sets
// the scale of the new marks' Score.
func FindAlong(pic *Picture, path []r2.Vec, like Mark) ([]Mark, error) {
	if len(path) < 3 || !(like.Radius > 1) {
		return nil, nil
	}
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	l := p.fit(like.Radius, sharpenRadius)
	radius := like.Radius * (l.sx + l.sy) / 2
	strength := func(at r2.Vec) float64 {
		slopes := l.meanSlopes(l.down(at), radius-1, 2)
		return like.sign() * math.Max(like.sign()*slopes[0], like.sign()*slopes[1])
	}
	typical := like.sign() * strength(like.Centre)
	if !(typical > 0) {
		return nil, nil
	}
	along := make([]float64, len(path))
	each(len(path), func(i int) { along[i] = like.sign() * strength(path[i]) })
	var starts []candidate
	n := len(path)
	for i, v := range along {
		if v < leastAlong*typical || v < along[(i+1)%n] || v < along[(i+n-1)%n] {
			continue
		}
		starts = append(starts, candidate{centre: path[i], radius: like.Radius, sign: like.sign(), z: like.Score * v / typical})
	}
	marks := distinct(p.look(starts, narrow))
	return distinct(p.look(again(marks, mostMeasured), fine)), nil
}

// leastAlong is how strong a mark on the path must be, relative to the mark
// that it is to be like.
const leastAlong = 0.25
