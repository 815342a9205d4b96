package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// FindRound looks for larger circles about a mark, of its kind and up to most
// times its radius: the edge of a chamfer or of a counterbore, which is faint
// beside the hole in it.
func FindRound(pic *Picture, m Mark, most float64) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	marks := distinct(p.look(p.around(m, sharpenRadius, LeastRound, most), narrow))
	marks = distinct(p.look(again(marks, mostMeasured), fine))
	for i := range marks { // a faint edge owes the clear one that led to it nothing
		marks[i].Score *= math.Min(1, math.Abs(marks[i].Contrast/m.Contrast))
	}
	return marks, nil
}

// LeastRound is how much larger a circle about a mark is that is not the
// mark itself.
const LeastRound = 1.1

// FindApart looks for the edges that a mark may be a mixture of, the hole's and
// its chamfer's, on a level on which they lie apart.
func FindApart(pic *Picture, m Mark) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	finest := fine[len(fine)-1] // a coarser pass would mix them again
	return distinct(p.look(p.around(m, apartRadius, 1-sharpenBand, 1+sharpenBand), []pass{finest, finest})), nil
}

// FindOfSize looks for the edge of a known radius (px) that a mark may be a mixture
// of. Of edges that run together in a slope the size tells which is the one.
func FindOfSize(pic *Picture, m Mark, radius float64) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	finest := fine[len(fine)-1]
	return p.look(p.ofSize(m, apartRadius, radius), []pass{finest, finest}), nil
}

// ofSize returns where near a mark's centre a circle of its kind and of a radius
// stands out most, on the level where that has so many pixels.
func (p *pyramid) ofSize(m Mark, pixels, radius float64) []candidate {
	l := p.fit(radius, pixels)
	level, centre := radius*(l.sx+l.sy)/2, l.down(m.Centre)
	if level < 6 {
		return nil
	}
	reach := min(sharpenReach, int(0.25*level))
	var at r2.Vec
	steepest := 0.0
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			c := r2.Add(centre, r2.Vec{X: float64(dx), Y: float64(dy)})
			if v := m.sign() * l.meanSlopes(c, level-0.5, 1)[0]; v > steepest {
				at, steepest = c, v
			}
		}
	}
	if steepest == 0 {
		return nil
	}
	return []candidate{{centre: l.up(at), radius: radius, sign: m.sign(), z: m.Score}}
}

// apartRadius is how many pixels of radius a mark has, at most, where its edges
// are looked for one by one.
const apartRadius = 100.0

// FindMixed looks for the edges of all marks whose edge points do not agree, and which
// may be mixtures of a hole's edge and its chamfer's: as [FindMouth] does, every steep
// place votes for the circles of the mark's kind that it may be on.
func FindMixed(pic *Picture, marks []Mark) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	var mixed []candidate
	for _, m := range marks {
		if m.Scatter > mixedScatter*m.Radius && m.RimSeen >= mixedSeen {
			mixed = append(mixed, candidate{centre: m.Centre, radius: m.Radius, sign: m.sign(), z: m.Score})
		}
	}
	return p.mouthsAtAll(mixed), nil
}

const (
	mixedScatter = 0.02 // over the radius, from which on a rim may be two
	mixedSeen    = 0.5  // of the rim, at least
)
