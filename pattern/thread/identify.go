package thread

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// What worn and strained threads do, as standard deviations; all one-sided, and
// common practice: no standard gives them.
const (
	wornCrests = 0.08  // pitches, by which worn, rusted or battered crests measure small
	wornHole   = 0.10  // pitches, by which a worn or generously drilled hole measures large
	stretched  = 0.003 // of the pitch, by which a strained bolt measures long
)

// outside is the misfit, in standard uncertainties, beyond which a thread is
// out.
const outside = 3

// apart is how much worse, in the sum of squared misfits, one must fit than the
// best before the measurements are said to tell them apart: 95 % of a
// chi-squared variable with one degree of freedom.
const apart = 3.84

// Misfit is how far one measure is from what a thread would have.
type Misfit struct {
	Measure string  // pitch, major, minor or flank
	Off     float64 // measured less nominal: mm, of the flank degrees
	Sigmas  float64 // what is left of it beyond tolerance, in standard uncertainties, wear allowed for; with its sign
}

// Candidate is a thread with how it fits what was measured.
type Candidate struct {
	Thread
	Misfits []Misfit
	Score   float64 // its share, 0 to 1, among all threads of the tables; for ranking, no probability
	Out     string  // why it is out, "" where it may be it

	chi2 float64
}

// Identified is what measured values may be of.
type Identified struct {
	Measured   Measured    // completed
	Candidates []Candidate // that may be it, the likeliest first
	Others     []Candidate // that are out, those that fail least first
	Ambiguous  [][]Thread  // groups that what was measured cannot tell apart
}

// Identify ranks all threads of the tables by how they fit what was measured.
// A worn bolt measures small and a worn hole large, a strained bolt has a long
// pitch: that much is allowed, on that side alone. Among those that fit alike
// the commoner series come first. series limits the choice; none is all.
//
// Errors are ErrMeasured's.
func Identify(m Measured, series ...Series) (*Identified, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	m = m.Completed()
	id := &Identified{Measured: m}
	var all []Candidate
	total := 0.0
	for _, t := range threads() {
		if len(series) > 0 && !slices.Contains(series, t.Series) {
			continue
		}
		c := t.against(m)
		c.Score = math.Exp(-c.chi2/2) / t.rarity()
		total += c.Score
		all = append(all, c)
	}
	rank := func(c Candidate) float64 { return c.chi2 + 2*math.Log(c.rarity()) }
	sort.SliceStable(all, func(i, j int) bool { return rank(all[i]) < rank(all[j]) })
	for _, c := range all {
		if total > 0 {
			c.Score /= total
		}
		if c.Out == "" {
			id.Candidates = append(id.Candidates, c)
		} else {
			id.Others = append(id.Others, c)
		}
	}
	if len(id.Candidates) == 0 {
		return id, nil
	}
	// Where only one thread has the best fit, the group is that one.
	best := math.Inf(1)
	for _, c := range id.Candidates {
		best = math.Min(best, c.chi2)
	}
	var group []Thread
	for _, c := range id.Candidates {
		if c.chi2-best < apart {
			group = append(group, c.Thread)
		}
	}
	if len(group) > 1 {
		id.Ambiguous = append(id.Ambiguous, group)
	}
	return id, nil
}

// rarity is how much less often than the common ones the thread is met.
func (t Thread) rarity() float64 {
	r := t.Series.facts().rare
	if t.Source == "ISO 261" { // not in the selection of ISO 262
		r *= 2
	}
	return r
}

// against holds what was measured against a thread.
func (t Thread) against(m Measured) Candidate {
	c := Candidate{Thread: t}
	bolt, _ := t.Bolt("")
	hole, _ := t.Nut("")
	var why []string
	add := func(measure, words string, off, beyond, u float64, text func(v float64) string, v Value) {
		z := 0.0
		if beyond != 0 {
			z = beyond / u
		}
		c.Misfits = append(c.Misfits, Misfit{measure, off, z})
		c.chi2 += z * z
		if math.Abs(z) > outside {
			more := "less"
			if off < 0 {
				more = "more"
			}
			why = append(why, fmt.Sprintf("%s %s, %s %s than measured", words, text(v.V-off), text(math.Abs(off)), more))
		}
	}
	mm := func(v float64) string { return fmt.Sprintf("%.3f mm", v) }
	if v := m.Pitch; v.given() {
		off, u := v.V-t.Pitch, v.U95/2
		if off > 0 {
			u = math.Hypot(u, stretched*t.Pitch)
		}
		add("pitch", "pitch", off, off, u, mm, v)
	}
	if v := m.Major; v.given() {
		beyond, u := beyondLimits(v.V, bolt.Major), v.U95/2
		if beyond < 0 {
			u = math.Hypot(u, wornCrests*t.Pitch)
		}
		add("major", "major", v.V-t.Major, beyond, u, mm, v)
	}
	if v := m.Minor; v.given() {
		beyond, u := beyondLimits(v.V, hole.Minor), v.U95/2
		if beyond > 0 {
			u = math.Hypot(u, wornHole*t.Pitch)
		}
		add("minor", "minor", v.V-t.Basic().Minor, beyond, u, mm, v)
	}
	if v := m.FlankDeg; v.given() {
		off := v.V - t.Form().AngleDeg
		add("flank", "flanks", off, off, v.U95/2, func(v float64) string { return fmt.Sprintf("%.1f°", v) }, v)
	}
	if len(why) == 0 && c.chi2 > outside*outside*float64(len(c.Misfits)) {
		why = append(why, "none of the measures fits well")
	}
	c.Out = strings.Join(why, "; ")
	return c
}

// beyondLimits is how far v lies above or, negative, below limits.
func beyondLimits(v float64, limits [2]float64) float64 {
	switch {
	case v > limits[1]:
		return v - limits[1]
	case v < limits[0]:
		return v - limits[0]
	}
	return 0
}
