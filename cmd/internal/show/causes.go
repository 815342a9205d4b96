package show

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"boltrose/pattern"
)

// Causes are what one ± of a reading comes from, the largest first: that of
// the pitch circle's diameter, or of the longest chord where there is none.
type Causes struct {
	Of    string // as "pitch circle diameter ±0.27 mm"
	Terms []Cause
}

// Cause is what one source of error contributes, k = 2.
type Cause struct {
	Name string
	U95  float64 // mm
	Text string  // with its unit
}

// NewCauses finds what a reading's ± comes from; false where it does not say.
func NewCauses(r *pattern.Reading, unit Unit) (Causes, bool) {
	of, value := "pitch circle diameter", func(t pattern.BudgetTerm) float64 { return *t.PCDU95 }
	if r.PitchCircle == nil {
		longest, at := pattern.Span{}, -1
		for k, s := range r.Neighbours() {
			if at < 0 || s.Chord > longest.Chord {
				longest, at = s, k
			}
		}
		if at < 0 {
			return Causes{}, false
		}
		of, value = fmt.Sprintf("chord %d–%d", longest.From, longest.To), func(t pattern.BudgetTerm) float64 { return t.ChordsU95[at] }
	}
	var c Causes
	squares := 0.0
	for _, t := range r.Budget {
		if u := value(t); u > 0 {
			c.Terms = append(c.Terms, Cause{Plain(t.Term), u, unit.plusMinus(u)})
			squares += u * u
		}
	}
	slices.SortStableFunc(c.Terms, func(a, b Cause) int { return cmp.Compare(b.U95, a.U95) })
	c.Of = of + " " + unit.plusMinus(math.Sqrt(squares))
	return c, len(c.Terms) > 0
}

// Shortened keeps the largest causes and adds the others up.
func (c Causes) Shortened(most int, unit Unit) Causes {
	squares := 0.0
	for _, t := range c.Terms[most:] {
		squares += t.U95 * t.U95
	}
	rest := math.Sqrt(squares)
	terms := append(slices.Clone(c.Terms[:most]), Cause{"the rest", rest, unit.plusMinus(rest)})
	return Causes{c.Of, terms}
}

func (u Unit) plusMinus(mm float64) string {
	return measured(0, mm*u.perMM, u.decimals).pm + " " + u.Name
}
