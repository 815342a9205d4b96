package pattern

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Cure is a kind of thing to do.
type Cure string

const (
	Calipers Cure = "calipers" // one distance between two holes, ±CaliperU95
	Rule     Cure = "rule"     // a steel rule scanned along each axis, to RuleU
	Rubbing  Cure = "rubbing"  // another rubbing of the same face, combined
)

// Remedy is one thing to do, and what the target's ± would be after it.
type Remedy struct {
	Cure     Cure
	From, To int     // the holes, of Calipers
	U95      float64 // mm, of the target afterwards
}

// Advice says what would make a reading better.
type Advice struct {
	Target   string   // what is to become better: the PCD, or the longest chord
	U95      float64  // mm, its ± now
	Dominant string   // the term that makes most of it; "" without a budget
	Share    float64  // of that term in the square of the ±
	Remedies []Remedy // cheapest first: calipers, a steel rule, another rubbing
	Best     int      // index of the one to take, −1 where none is worth its while
}

// worthwhile is the share of the ± that a remedy may leave to be recommended;
// of those that do, the cheapest is.
const worthwhile = 0.7

// useless is the share from which on a remedy is not even mentioned.
const useless = 0.95

// RuleU is the relative standard uncertainty of either axis after a steel
// rule was scanned along it: a fifth of a millimetre over 200 mm, k = 2.
const RuleU = 0.0005

// Advise computes for every pair of holes what one caliper measurement between
// them would do, by conditioning the joint covariance on it, and what the
// other remedies would.
func (r *Reading) Advise() Advice {
	a := Advice{Best: -1}
	n := len(r.Holes)
	if n < 2 {
		return a
	}
	sigma := mat.NewSymDense(2*n, append([]float64(nil), r.CovarianceMM2...))
	target, index := r.target(&a)
	if target == nil || !(a.U95 > 0) {
		return a
	}
	var toTarget mat.VecDense
	toTarget.MulVec(sigma, target)
	now := mat.Dot(target, &toTarget)

	best, pair, length := math.Inf(1), [2]int{}, 0.0
	for i := range n {
		for j := i + 1; j < n; j++ {
			v := r2.Vec{X: r.Holes[j].X - r.Holes[i].X, Y: r.Holes[j].Y - r.Holes[i].Y}
			l := r2.Norm(v)
			if l == 0 {
				continue
			}
			u := r2.Scale(1/l, v)
			by := []partial{{2 * i, -u.X}, {2*i + 1, -u.Y}, {2 * j, u.X}, {2*j + 1, u.Y}}
			cross := 0.0
			for _, d := range by {
				cross += d.d * toTarget.AtVec(d.at)
			}
			left := now - cross*cross/(covariance(sigma, by, by)+CaliperU95*CaliperU95/(coverage*coverage))
			// Of pairs that do as well the longest is the easiest to take.
			if left < best*(1-1e-3) || left < best*(1+1e-3) && l > length*(1+1e-6) {
				best, pair, length = math.Min(best, left), [2]int{r.Holes[i].ID, r.Holes[j].ID}, l
			}
		}
	}
	if !math.IsInf(best, 1) {
		a.Remedies = append(a.Remedies, Remedy{
			Cure: Calipers, From: pair[0], To: pair[1],
			U95: coverage * math.Sqrt(math.Max(best, 0)),
		})
	}
	a.others(r, index)
	a.Remedies = slices.DeleteFunc(a.Remedies, func(m Remedy) bool { return m.U95 > useless*a.U95 })
	for i, m := range a.Remedies {
		if a.Best < 0 && m.U95 <= worthwhile*a.U95 {
			a.Best = i
		}
	}
	return a
}

// target is the derivative of what is to become better; index finds it in
// the budget, −1 for the PCD.
func (r *Reading) target(a *Advice) (g *mat.VecDense, index int) {
	n := len(r.Holes)
	g = mat.NewVecDense(2*n, nil)
	if r.PitchCircle != nil {
		a.Target, a.U95, index = "PCD", r.PitchCircle.DiameterU95, -1
		holes := make([]part, n)
		var on []r2.Vec
		for i, h := range r.Holes {
			holes[i] = part{Ring: Ring{Centre: r2.Vec{X: h.X, Y: h.Y}}, on: h.OnCircle}
			if h.OnCircle {
				on = append(on, holes[i].Centre)
			}
		}
		c, err := pitchCircle(on)
		if err != nil {
			return nil, index
		}
		jac, err := pitchCircleJacobian(c, holes)
		if err != nil {
			return nil, index
		}
		for i := range 2 * n {
			g.SetVec(i, jac.At(2, i))
		}
	} else {
		spans := r.Neighbours()
		for k, s := range spans {
			if k == 0 || s.Chord > spans[index].Chord {
				index = k
			}
		}
		s := spans[index]
		a.Target, a.U95 = fmt.Sprintf("distance %d–%d", s.From, s.To), s.ChordU95
		at := map[int]int{}
		for i, h := range r.Holes {
			at[h.ID] = i
		}
		i, j := at[s.From], at[s.To]
		if s.Chord == 0 {
			return nil, index
		}
		x, y := (r.Holes[j].X-r.Holes[i].X)/s.Chord, (r.Holes[j].Y-r.Holes[i].Y)/s.Chord
		for at, v := range map[int]float64{2 * i: -x, 2*i + 1: -y, 2 * j: x, 2*j + 1: y} {
			g.SetVec(at, v)
		}
	}
	top := -1.0
	for _, t := range r.Budget {
		if u := t.of(index); u > top {
			top, a.Dominant = u, t.Term
			a.Share = u * u / (a.U95 * a.U95)
		}
	}
	return g, index
}

// of is the term's share of a neighbours' chord or, with −1, of the PCD.
func (t BudgetTerm) of(index int) float64 {
	switch {
	case index >= 0 && index < len(t.ChordsU95):
		return t.ChordsU95[index]
	case index < 0 && t.PCDU95 != nil:
		return *t.PCDU95
	}
	return 0
}

// others adds what does not follow from the covariance but from the budget.
func (a *Advice) others(r *Reading, index int) {
	with := func(cure Cure, factor func(term string) float64) {
		sum, some := 0.0, false
		for _, t := range r.Budget {
			f := factor(t.Term)
			some = some || f < 1
			sum += math.Pow(f*t.of(index), 2)
		}
		if some {
			a.Remedies = append(a.Remedies, Remedy{Cure: cure, U95: math.Sqrt(sum)})
		}
	}
	if u := r.Scale.URel; u > RuleU && strings.Contains(r.Scale.Method, "dpi") {
		with(Rule, func(term string) float64 {
			if term == EdgeTerm || term == LengthTerm {
				return 1
			}
			return RuleU / u
		})
	}
	if r.Source.WidthPx > 0 {
		with(Rubbing, func(term string) float64 {
			if term == EdgeTerm {
				return math.Sqrt2 / 2
			}
			return 1
		})
	}
}
