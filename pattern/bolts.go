package pattern

import (
	"math"
	"slices"

	"boltrose/pattern/thread"
)

// BoltGuess says for which bolts holes of about one diameter may be. It is a
// guess, beside the measured diameter and never in place of it.
type BoltGuess struct {
	Holes       []int    `json:"holes"`
	Diameter    float64  `json:"diameter_mm"` // mean of the holes
	DiameterU95 float64  `json:"diameter_u95_mm"`
	Clearance   []string `json:"clearance"` // the bolts for which they would be clearance holes, the likeliest first
	Tapped      []string `json:"tapped"`    // the threads that may be in them
}

// vagueDiameter is the ±, as a share of a diameter, beyond which there is
// nothing to guess by.
const vagueDiameter = 0.25

// sameSize (mm) is how little holes may differ to be taken for one size.
const sameSize = 0.4

// guessBolts proposes bolts for the holes, size by size.
func (r *Reading) guessBolts() {
	r.Bolts = []BoltGuess{}
	order := make([]Hole, 0, len(r.Holes))
	for _, h := range r.Holes {
		if h.Diameter > 0 {
			order = append(order, h)
		}
	}
	slices.SortFunc(order, func(a, b Hole) int {
		switch {
		case a.Diameter < b.Diameter:
			return -1
		case a.Diameter > b.Diameter:
			return 1
		}
		return a.ID - b.ID
	})
	for from := 0; from < len(order); {
		to := from + 1
		for to < len(order) && order[to].Diameter-order[to-1].Diameter <= sameSize {
			to++
		}
		g := BoltGuess{Clearance: []string{}, Tapped: []string{}}
		for _, h := range order[from:to] {
			g.Holes = append(g.Holes, h.ID)
			g.Diameter += h.Diameter / float64(to-from)
			g.DiameterU95 = math.Max(g.DiameterU95, h.DiameterU95)
		}
		slices.Sort(g.Holes)
		if g.DiameterU95 > vagueDiameter*g.Diameter { // a stand-in, not measured
			from = to
			continue
		}
		clearance, tapped := thread.GuessHole(g.Diameter, g.DiameterU95)
		for _, c := range clearance {
			g.Clearance = append(g.Clearance, c.String())
		}
		for _, c := range tapped {
			g.Tapped = append(g.Tapped, c.String())
		}
		if len(clearance)+len(tapped) > 0 {
			r.Bolts = append(r.Bolts, g)
		}
		from = to
	}
}
