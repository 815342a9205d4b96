package thread

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// HoleGuess is what a hole may be for.
type HoleGuess struct {
	Designation string  // of the bolt, as M8 or 3/8-16 UNC
	Fit         string  // of a clearance hole: close, normal or loose; "" for a tapped hole
	MM          float64 // the hole by its table, of a tapped one its minor diameter
}

func (g HoleGuess) String() string {
	if g.Fit == "" {
		return g.Designation
	}
	return fmt.Sprintf("%s (%s fit, %.4g mm)", g.Designation, g.Fit, g.MM)
}

// guesses is how many are proposed of either kind.
const guesses = 3

// preferredSizes are the first choice of bolts (ISO 262) and the inch sizes that
// one meets most (common practice).
var preferredSizes = []string{
	"M3", "M4", "M5", "M6", "M8", "M10", "M12", "M16", "M20", "M24", "M30",
	"#8", "#10", "1/4", "5/16", "3/8", "1/2", "5/8", "3/4", "1",
}

// GuessHole says for which bolts a hole of d mm (with its expanded uncertainty)
// may be: as a clearance hole, and as a tapped one, the likeliest first. They
// are guesses: a rim that was rubbed or photographed is known to half a
// millimetre, and sizes lie closer.
//
// A tapped hole's rim is seen anywhere from its minor diameter, where its
// mouth is sharp, to its major one, where it is chamfered.
func GuessHole(d, u95 float64) (clearance, tapped []HoleGuess) {
	u := math.Max(u95, 0.1) / 2
	type ranked struct {
		g    HoleGuess
		rank float64
	}
	best := func(all []ranked) []HoleGuess {
		sort.SliceStable(all, func(i, j int) bool { return all[i].rank < all[j].rank })
		var out []HoleGuess
		for _, r := range all {
			if len(out) < guesses && !slices.ContainsFunc(out, func(o HoleGuess) bool { return o.Designation == r.g.Designation }) {
				out = append(out, r.g)
			}
		}
		return out
	}
	rare := func(size string) float64 {
		if slices.Contains(preferredSizes, size) {
			return 0
		}
		return 2
	}
	var through, cut []ranked
	for _, c := range clearances() {
		for _, fit := range Fits {
			z := (d - c.Holes[fit]) / u
			if math.Abs(z) > 2 {
				continue
			}
			seldom := map[Fit]float64{Close: 1, Normal: 0, Loose: 1.5}[fit]
			name := c.Size
			if name[0] != 'M' {
				name += " inch"
			}
			through = append(through, ranked{HoleGuess{name, fit.String(), c.Holes[fit]}, z*z + seldom + rare(c.Size)})
		}
	}
	for _, t := range threads() {
		if t.Series != Coarse && t.Series != UNC && t.Series != BSW {
			continue
		}
		b := t.Basic()
		z := beyondLimits(d, [2]float64{b.Minor, b.Major}) / u
		if math.Abs(z) > 2 {
			continue
		}
		off := (d - (b.Minor+b.Major)/2) / (b.Major - b.Minor)
		cut = append(cut, ranked{HoleGuess{t.Designation(), "", b.Minor}, z*z + off*off + 2*math.Log(t.rarity()) + rare(t.Size)})
	}
	return best(through), best(cut)
}
