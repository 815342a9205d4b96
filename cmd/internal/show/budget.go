package show

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"

	"boltrose/pattern"
)

// mostTerms are the columns of a budget that fit a screen; smaller terms are
// added up.
const mostTerms = 5

// Budget prints what the uncertainties of a reading come from, which cause is
// the largest in each, and what would make the whole better.
func Budget(w io.Writer, r *pattern.Reading, unit Unit) error {
	var b bytes.Buffer
	budgetTable(&b, r, unit)
	a := r.Advise()
	if a.U95 > 0 {
		fmt.Fprintln(&b)
		advice(&b, r, a, unit)
	}
	_, err := w.Write(b.Bytes())
	return err
}

func budgetTable(w io.Writer, r *pattern.Reading, unit Unit) {
	if len(r.Budget) == 0 {
		wrap(w, "", "This reading does not say what its uncertainties come from.")
		return
	}
	wrap(w, "", "What each ± comes from: each cause alone, k = 2, in "+unit.Name+". The squares add up.")
	fmt.Fprintln(w)
	type row struct {
		name string
		of   func(t pattern.BudgetTerm) float64
	}
	var rows []row
	if r.PitchCircle != nil {
		rows = append(rows, row{"PCD", func(t pattern.BudgetTerm) float64 { return *t.PCDU95 }})
	}
	for k, s := range r.Neighbours() {
		rows = append(rows, row{fmt.Sprintf("Chord %d–%d", s.From, s.To), func(t pattern.BudgetTerm) float64 { return t.ChordsU95[k] }})
	}
	if r.Budget[0].BoreOffsetU95 != nil {
		rows = append(rows, row{"Bore's offset", func(t pattern.BudgetTerm) float64 { return *t.BoreOffsetU95 }})
	}
	// The terms in the order of how much they matter anywhere.
	terms := slices.Clone(r.Budget)
	weight := func(t pattern.BudgetTerm) float64 {
		most := 0.0
		for _, q := range rows {
			most = math.Max(most, q.of(t))
		}
		return most
	}
	slices.SortStableFunc(terms, func(a, b pattern.BudgetTerm) int {
		switch d := weight(b) - weight(a); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	var tab Table
	column := func(head string, cell func(row) string) {
		var cells []string
		for _, q := range rows {
			cells = append(cells, cell(q))
		}
		tab.add(head, cells)
	}
	together := func(q row, terms []pattern.BudgetTerm) float64 {
		sum := 0.0
		for _, t := range terms {
			sum += q.of(t) * q.of(t)
		}
		return math.Sqrt(sum)
	}
	number := func(v float64) string { return decimal(v*unit.perMM, unit.decimals) }
	column("", func(q row) string { return q.name })
	column("±", func(q row) string { return number(together(q, terms)) })
	shown := min(len(terms), mostTerms)
	if len(terms) == mostTerms+1 {
		shown++
	}
	for _, t := range terms[:shown] {
		column(Plain(t.Term), func(q row) string { return number(q.of(t)) })
	}
	if rest := terms[shown:]; len(rest) > 0 {
		column("the rest", func(q row) string { return number(together(q, rest)) })
	}
	column("most of it", func(q row) string {
		top := slices.MaxFunc(terms, func(a, b pattern.BudgetTerm) int {
			switch {
			case q.of(a) < q.of(b):
				return -1
			case q.of(a) > q.of(b):
				return 1
			}
			return 0
		})
		if q.of(top) == 0 {
			return "–"
		}
		return Plain(top.Term)
	})
	tab.write(w)
}

// instruction is a remedy in words.
func instruction(r *pattern.Reading, m pattern.Remedy) string {
	switch m.Cure {
	case pattern.Calipers:
		flag := "--known"
		if r.Source.Kind == pattern.ByHand {
			flag = "--between"
		}
		return fmt.Sprintf("one caliper measurement (±%g mm) between holes %d and %d, from centre to centre, given as %s %d-%d=MM", pattern.CaliperU95, m.From, m.To, flag, m.From, m.To)
	case pattern.Rule:
		return fmt.Sprintf("scanning a steel rule along each axis, and giving what it measures as --dpi X,Y with --scale-u %g%%", 100*pattern.RuleU)
	}
	return "another rubbing of the same face, combined with this one"
}

func advice(w io.Writer, r *pattern.Reading, a pattern.Advice, unit Unit) {
	pm := func(mm float64) string { return measured(0, mm*unit.perMM, unit.decimals).pm + " " + unit.Name }
	if a.Dominant != "" {
		wrap(w, "", fmt.Sprintf("Most of the %s's %s comes from %s: %.0f %% of its square.", a.Target, pm(a.U95), Plain(a.Dominant), 100*a.Share))
	}
	if a.Best < 0 {
		wrap(w, "", "Nothing cheap makes it much better.")
	} else {
		m := a.Remedies[a.Best]
		wrap(w, "", fmt.Sprintf("The cheapest thing that helps: %s. It would take the %s from %s to %s.", instruction(r, m), a.Target, pm(a.U95), pm(m.U95)))
	}
	for i, m := range a.Remedies {
		if i != a.Best {
			wrap(w, "  ", fmt.Sprintf("or %s: to %s", instruction(r, m), pm(m.U95)))
		}
	}
}
