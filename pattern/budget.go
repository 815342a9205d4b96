package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// BudgetTerm is what one cause of error contributes to the results, each the
// expanded uncertainty (k = 2, mm) that it alone would leave. The causes are
// independent, so that the squares of the terms add up to the squares of the
// stated uncertainties (JCGM 100:2008 equation 10).
type BudgetTerm struct {
	Term string `json:"term"`

	// PCDU95 is null in a free pattern. BoreOffsetU95 is that of the bore's
	// distance from the pitch circle's centre along the way it is off; null
	// where there is no such distance.
	PCDU95        *float64 `json:"pcd_u95_mm"`
	BoreOffsetU95 *float64 `json:"bore_offset_u95_mm"`

	// ChordsU95 are those of the chords between neighbours, in the order of
	// the gaps; in a free pattern between each hole and the next by number.
	ChordsU95 []float64 `json:"chords_u95_mm"`
}

// The terms that every picture has, or that known lengths bring along. The
// others are named by the source of scale (Options.SharedNames).
const (
	EdgeTerm   = "edge location"
	LengthTerm = "known lengths"
	sharedTerm = "what all holes share"
)

// Neighbours are the chords that a budget lists.
func (r *Reading) Neighbours() []Span {
	if r.PitchCircle != nil {
		return r.Gaps
	}
	byPair := map[[2]int]Span{}
	for _, s := range r.Chords {
		byPair[[2]int{min(s.From, s.To), max(s.From, s.To)}] = s
	}
	spans := []Span{}
	for i := range r.Holes[1:] {
		a, b := r.Holes[i].ID, r.Holes[i+1].ID
		if s, ok := byPair[[2]int{min(a, b), max(a, b)}]; ok {
			spans = append(spans, s)
		}
	}
	return spans
}

// budget attributes the uncertainties of the reading to their causes.
//
// A result that changes by g per unit of the reading's source coordinates,
// after known lengths have moved them by their gain K, feels an error δ of the
// source as gᵀ(I − K B)δ and an error ε of the lengths as gᵀK ε, where B holds
// the derivatives of the lengths.
func (p *assembly) budget(r *Reading, shared *mat.Dense) []BudgetTerm {
	m := len(p.parts)
	var results []*mat.VecDense // g of each: the PCD, the bore's offset, the chords
	add := func(by ...partial) {
		g := mat.NewVecDense(3*m, nil)
		for _, d := range by {
			g.SetVec(d.at, g.AtVec(d.at)+d.d)
		}
		results = append(results, g)
	}
	datum, err := p.datumJacobian()
	if err != nil {
		return []BudgetTerm{}
	}
	hasOffset := p.hasCircle && p.bore >= 0
	if p.hasCircle {
		g := mat.NewVecDense(3*m, nil)
		for i := range 2 * p.holes {
			g.SetVec(i, datum.At(2, i))
		}
		if p.fittedU == 0 { // known exactly
			g.Zero()
		}
		results = append(results, g)
	}
	if hasOffset {
		u := r2.Vec{X: 1}
		if v := p.at[p.bore]; r2.Norm(v) > 0 {
			u = r2.Unit(v)
		}
		add(partial{2 * p.bore, u.X}, partial{2*p.bore + 1, u.Y})
		g := results[len(results)-1]
		for i := range 2 * p.holes {
			g.SetVec(i, g.AtVec(i)-u.X*datum.At(0, i)-u.Y*datum.At(1, i))
		}
	}
	spans := r.Neighbours()
	for _, s := range spans {
		i, j := s.From-1, s.To-1 // a new reading's holes are numbered from 1
		v := r2.Sub(p.at[j], p.at[i])
		if r2.Norm(v) > 0 {
			v = r2.Unit(v)
		}
		add(partial{2 * i, -v.X}, partial{2*i + 1, -v.Y}, partial{2 * j, v.X}, partial{2*j + 1, v.Y})
	}

	var names []string
	squares := map[string][]float64{} // of each result's standard uncertainty
	put := func(name string, result int, variance float64) {
		if squares[name] == nil {
			names = append(names, name)
			squares[name] = make([]float64, len(results))
		}
		squares[name][result] += math.Max(variance, 0)
	}
	_, terms := shared.Dims()
	if len(results) == 0 { // a single hole
		return []BudgetTerm{}
	}
	for k, g := range results {
		if p.given != nil {
			var byLength, back mat.VecDense // Kᵀg with K = cross · weight, and BᵀKᵀg
			back.MulVec(p.given.cross.T(), g)
			byLength.MulVec(p.given.weight, &back)
			back.Reset()
			back.MulVec(p.given.by.T(), &byLength)
			g.SubVec(g, &back)
			put(LengthTerm, k, mat.Inner(&byLength, p.givenNoise, &byLength))
		}
		own := 0.0
		for i, q := range p.parts {
			x, y, d := g.AtVec(2*i), g.AtVec(2*i+1), g.AtVec(2*m+i)*q.DiameterU
			own += x*x*q.CentreCov[0][0] + 2*x*y*q.CentreCov[0][1] + y*y*q.CentreCov[1][1] + d*d
		}
		put(EdgeTerm, k, own)
		for t := range terms {
			v := mat.Dot(g, shared.ColView(t))
			if t == terms-1 { // of a scale that only the lengths give
				if v != 0 {
					put(LengthTerm, k, v*v)
				}
				continue
			}
			name := sharedTerm
			if t < len(p.opts.SharedNames) {
				name = p.opts.SharedNames[t]
			}
			put(name, k, v*v)
		}
	}
	budget := make([]BudgetTerm, 0, len(names))
	for _, name := range names {
		if slices.Max(squares[name]) == 0 {
			continue // nothing of it is in any result
		}
		t := BudgetTerm{Term: name}
		u := make([]float64, len(results))
		for k, v := range squares[name] {
			u[k] = coverage * math.Sqrt(v)
		}
		if p.hasCircle {
			t.PCDU95, u = &u[0], u[1:]
		}
		if hasOffset {
			t.BoreOffsetU95, u = &u[0], u[1:]
		}
		t.ChordsU95 = u
		budget = append(budget, t)
	}
	return budget
}
