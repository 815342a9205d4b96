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
	along, torn := make([]float64, len(path)), make([]float64, len(path))
	each(len(path), func(i int) {
		along[i] = like.sign() * strength(path[i])
		torn[i] = l.tornStrength(l.down(path[i]), radius, like.sign())
	})
	var starts []candidate
	n := len(path)
	peaks := func(v []float64, least float64) {
		for i, s := range v {
			if s >= least*typical && s >= v[(i+1)%n] && s >= v[(i+n-1)%n] {
				starts = append(starts, candidate{centre: path[i], radius: like.Radius, sign: like.sign(), z: like.Score * s / typical})
			}
		}
	}
	peaks(along, leastAlong)
	peaks(torn, leastTorn)
	marks := distinct(p.look(starts, narrow))
	return distinct(p.look(again(marks, mostMeasured), fine)), nil
}

// How strong a mark on the path must be, relative to the mark that it is to be
// like. One whose shade may change on the way round is sought in each of many ways
// to part its rim, and must be the stronger.
const (
	leastAlong = 0.25
	leastTorn  = 0.6
)
