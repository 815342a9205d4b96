package vision

import "math"

// FindRound looks for larger circles about a mark, of its kind and up to most
// times its radius: the edge of a chamfer or of a counterbore, which is faint
// beside the hole in it.
func FindRound(pic *Picture, m Mark, most float64) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	marks := distinct(p.look(p.around(m, sharpenRadius, leastRound, most), narrow))
	marks = distinct(p.look(again(marks, mostMeasured), fine))
	for i := range marks { // a faint edge owes the clear one that led to it nothing
		marks[i].Score *= math.Min(1, math.Abs(marks[i].Contrast/m.Contrast))
	}
	return marks, nil
}

// leastRound is how much larger a circle about a mark is that is not the
// mark itself.
const leastRound = 1.1

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

// apartRadius is how many pixels of radius a mark has, at most, where its edges
// are looked for one by one.
const apartRadius = 100.0
