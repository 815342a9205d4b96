package pattern

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Candidates are the round values that the maker may have drawn. They are
// guesses, beside the measured values and never in place of them.
type Candidates struct {
	// PCD lists the likeliest, of all PCDCount values that lie within the
	// stated ± (with nothing there: that drilling could have brought there).
	PCD      []PCDCandidate `json:"pcd"`
	PCDCount int            `json:"pcd_count"`

	// Angles has at most one for each hole: the likeliest round angle from the
	// hole at 0°, where the ± is narrow enough for it to mean something.
	Angles []AngleCandidate `json:"angles"`
}

// PCDCandidate is a round pitch circle diameter.
//
// They are ranked by how round they are times how near: the step of the
// coarsest scale on which the value lies (10, 5, 1 or ½ mm; 1, ½, ¼, … 1/64
// in; 50 mm for a standard with this number of holes) times exp(−z²/2), where
// z is how far off it is in standard uncertainties of measuring and drilling.
// A round value counts for as much as all the less round ones that would fit
// in its step: that many chances there were to find one of those near by.
type PCDCandidate struct {
	Text   string  `json:"text"`
	MM     float64 `json:"mm"`
	Off    float64 `json:"off_mm"`  // from the measured value
	Kind   string  `json:"kind"`    // mm, in or standard
	Step   float64 `json:"step_mm"` // its roundness
	Share  float64 `json:"share"`   // of the weight of all, 0 to 1
	Source string  `json:"source"`  // of a standard, else ""

	// Beyond says that it lies outside the stated ± and only an allowance for
	// drilling brings it in.
	Beyond bool `json:"beyond_u95"`
}

// AngleCandidate is a round angle of a hole.
type AngleCandidate struct {
	Hole   int     `json:"hole"`
	Deg    float64 `json:"deg"`
	Off    float64 `json:"off_deg"`
	Step   float64 `json:"step_deg"` // it is a multiple of this
	Others int     `json:"others"`   // other multiples of ½° that lie within too
	Beyond bool    `json:"beyond_u95"`
}

const (
	inch           = 25.4
	standardStep   = 50.0 // mm
	mostCandidates = 6
	widestMM       = 20.0 // beyond this ± every round value fits
)

// Guess sets the reading's candidates. It needs the verdict.
func (r *Reading) Guess() {
	c := &Candidates{PCD: []PCDCandidate{}, Angles: []AngleCandidate{}}
	r.Candidates = c
	if r.PitchCircle == nil || r.Verdict == nil {
		return
	}
	on := 0
	for _, h := range r.Holes {
		if h.OnCircle {
			on++
		}
	}
	drilledU := r.Verdict.DrilledU95 / coverage2
	c.guessPCD(r, on, 2*drilledU/math.Sqrt(float64(on)))
	// Both the hole and the one at 0° were drilled.
	c.guessAngles(r, math.Sqrt2*drilledU/(r.PitchCircle.Diameter/2)/degree)
}

func (c *Candidates) guessPCD(r *Reading, holes int, drilledU float64) {
	d, u95 := r.PitchCircle.Diameter, r.PitchCircle.DiameterU95
	u := math.Hypot(u95/coverage, drilledU)
	wide := coverage * u
	if !(wide <= widestMM) || u == 0 {
		return
	}
	var all []PCDCandidate
	add := func(q PCDCandidate) {
		q.Off = q.MM - d
		if math.Abs(q.Off) <= wide*(1+1e-9) && q.MM > 0 {
			q.Beyond = math.Abs(q.Off) > u95+1e-9
			all = append(all, q)
		}
	}
	for k := math.Ceil((d - wide) * 2); k <= (d+wide)*2; k++ {
		add(PCDCandidate{Text: fmt.Sprintf("%g mm", k/2), MM: k / 2, Kind: "mm", Step: coarsest(k/2, 10, 5, 1, 0.5)})
	}
	for k := math.Ceil((d - wide) / inch * 64); k <= (d+wide)/inch*64; k++ {
		add(PCDCandidate{Text: inchText(int(k)), MM: k / 64 * inch, Kind: "in",
			Step: inch * coarsest(k/64, 1, 0.5, 0.25, 0.125, 0.0625, 0.03125, 0.015625)})
	}
	for _, s := range standards {
		if r.Verdict.Spacing != Uneven && s.holes == holes {
			add(PCDCandidate{Text: s.name, MM: s.pcdMM(), Kind: "standard", Step: standardStep, Source: s.source})
		}
	}
	inside := func(q PCDCandidate) bool { return !q.Beyond }
	if slices.ContainsFunc(all, inside) {
		all = slices.DeleteFunc(all, func(q PCDCandidate) bool { return q.Beyond })
	}
	sum := 0.0
	for i := range all {
		z := all[i].Off / u
		all[i].Share = all[i].Step * math.Exp(-z*z/2)
		sum += all[i].Share
	}
	for i := range all {
		all[i].Share /= sum
	}
	slices.SortStableFunc(all, func(a, b PCDCandidate) int { return cmp.Compare(b.Share, a.Share) })
	c.PCDCount = len(all)
	// Metric and inch stand side by side: the best of either is among them.
	kept := all[:min(len(all), mostCandidates)]
	for _, kind := range []string{"mm", "in"} {
		of := func(q PCDCandidate) bool { return q.Kind == kind }
		if i := slices.IndexFunc(all, of); i >= len(kept) {
			kept[len(kept)-1] = all[i]
		}
	}
	c.PCD = append(c.PCD, kept...)
}

// coarsest is the first of the steps, from large to small, of which v is a
// multiple; the last where it is of none.
func coarsest(v float64, steps ...float64) float64 {
	for _, s := range steps {
		if k := v / s; math.Abs(k-math.Round(k)) < 1e-9 {
			return s
		}
	}
	return steps[len(steps)-1]
}

// inchText prints 64ths of an inch as a person reads a rule.
func inchText(k int) string {
	whole, part, by := k/64, k%64, 64
	for part > 0 && part%2 == 0 {
		part, by = part/2, by/2
	}
	switch {
	case part == 0:
		return fmt.Sprintf("%d in", whole)
	case whole == 0:
		return fmt.Sprintf("%d/%d in", part, by)
	}
	return fmt.Sprintf("%d %d/%d in", whole, part, by)
}

// The round angles, coarse to fine: even divisions that makers use, then
// degrees.
var angleSteps = []float64{180, 120, 90, 72, 60, 45, 40, 36, 30, 22.5, 20, 18, 15, 10, 5, 1, 0.5}

func (c *Candidates) guessAngles(r *Reading, drilledU float64) {
	for _, h := range r.Holes {
		if !h.OnCircle || h.AngleDeg == nil || *h.AngleU95Deg == 0 {
			continue
		}
		deg, u95 := *h.AngleDeg, *h.AngleU95Deg
		u := math.Hypot(u95/coverage, drilledU)
		best, weight, others := AngleCandidate{}, 0.0, -1
		anyInside := false
		// With a ± of more than a quarter of the step, chance finds one.
		for _, step := range angleSteps {
			if step < 4*u95 || step < 2*coverage*u {
				break
			}
			k := math.Round(deg / step)
			off := k*step - deg
			beyond := math.Abs(off) > u95+1e-9
			if math.Abs(off) > coverage*u || anyInside && beyond {
				continue
			}
			if w := step * math.Exp(-off*off/(2*u*u)); w > weight || !beyond && !anyInside {
				best, weight = AngleCandidate{Hole: h.ID, Deg: fullTurn(k * step), Off: off, Step: step, Beyond: beyond}, w
			}
			anyInside = anyInside || !beyond
		}
		if weight == 0 {
			continue
		}
		within := math.Max(u95, math.Abs(best.Off))
		for k := math.Ceil((deg - within) * 2); k <= (deg+within)*2; k++ {
			others++
		}
		best.Others = max(0, others)
		c.Angles = append(c.Angles, best)
	}
}
