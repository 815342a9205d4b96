package pattern

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// JCGM 100:2008 annex H.1: the length of a nominally 50 mm end gauge compared
// with a standard, l = l_S + d − l_S(δα·θ + α_S·δθ), all in nm and °C (values
// from memory): u_c = 32 nm, ν_eff = 16, U99 = 93 nm. The propagation is that
// of every reading; the degrees of freedom follow Welch and Satterthwaite
// (annex G.4.1).
func TestEndGauge(t *testing.T) {
	const standard, theta, alpha = 50000623.0, -0.1, 11.5e-6
	// Annex H.1.3.2: the difference d by three causes.
	d := []float64{5.8, 3.9, 6.7}
	uD := math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
	nuD := welch([]float64{5.8, 3.9, 6.7}, []float64{24, 5, 8})
	if math.Abs(uD-9.7) > 0.05 || math.Abs(nuD-25.6) > 0.3 {
		t.Errorf("d: u = %.2f nm with %.1f degrees of freedom, want 9.7 and 25.6", uD, nuD)
	}
	u := []float64{25, uD, 0.58e-6, 0.029}
	nu := []float64{18, nuD, 50, 2}
	gradient := []partial{{0, 1 - theta*0 - alpha*0}, {1, 1}, {2, -standard * theta}, {3, -standard * alpha}}
	sigma := mat.NewSymDense(4, nil)
	terms := make([]float64, 4)
	for i := range u {
		sigma.SetSym(i, i, u[i]*u[i])
		terms[i] = uncertainty(sigma, gradient[i])
	}
	for i, want := range []float64{25, 9.7, 2.9, 16.6} {
		if math.Abs(terms[i]-want) > 0.1 /* the printed figures are rounded */ {
			t.Errorf("term %d is %.2f nm, want %.1f", i+1, terms[i], want)
		}
	}
	uc, nuEff := uncertainty(sigma, gradient...), welch(terms, nu)
	if math.Round(uc) != 32 || math.Floor(nuEff) != 16 {
		t.Errorf("u_c = %.2f nm, ν_eff = %.2f, want 32 and 16", uc, nuEff)
	}
	k := distuv.StudentsT{Sigma: 1, Nu: math.Floor(nuEff)}.Quantile(0.995)
	if got := math.Round(k * math.Round(uc)); got != 93 {
		t.Errorf("U99 = %.1f nm, want 93", got)
	}
}

// welch is the effective number of degrees of freedom of a sum of terms
// (JCGM 100:2008 equation G.2b).
func welch(u, nu []float64) float64 {
	square, rest := 0.0, 0.0
	for i := range u {
		square += u[i] * u[i]
		rest += math.Pow(u[i], 4) / nu[i]
	}
	return square * square / rest
}

var threeNames = []string{"scale", "unequal axes", "axes not square"}

// The stated interval against the one drawn: propagation of distributions
// (JCGM 101:2008). Clause 8: with two significant digits of the standard
// uncertainty, the ends may differ by half a unit of the second.
func TestIntervalsByClause8(t *testing.T) {
	for _, c := range []struct {
		directions []float64
		off        []float64
	}{
		{[]float64{75, 160, 255, 345}, []float64{0.3, -0.2, 0.1}},
		{[]float64{80, 140, 200, 267, 320, 20}, []float64{0}},
		{[]float64{80, 130, 255}, []float64{0}},
	} {
		rings, choice := place(96, c.off, c.directions...)
		r := mustNew(t, rings, choice, Options{SharedNames: threeNames})
		random := rand.New(rand.NewPCG(11, 3))
		const draws = 30000
		pcd, chord := make([]float64, draws), make([]float64, draws)
		n := len(c.directions)
		at := make([]r2.Vec, n)
		id := map[int]int{} // of the reading's holes 1 and 2, by where they are
		for i := range n {
			for _, h := range r.Holes[:2] {
				if r2.Norm(r2.Sub(r2.Vec{X: h.XPx, Y: h.YPx}, rings[i].CentrePx)) < 1e-9 {
					id[h.ID] = i
				}
			}
		}
		for k := range draws {
			for i, q := range drawn(random, rings)[:n] {
				at[i] = q.Centre
			}
			fit, err := pitchCircle(at)
			if err != nil {
				t.Fatal(err)
			}
			pcd[k] = 2 * fit.Radius
			chord[k] = r2.Norm(r2.Sub(at[id[1]], at[id[2]]))
		}
		// k = 2 of a normal distribution holds 95.45 %.
		tail := distuv.UnitNormal.CDF(-coverage)
		for _, q := range []struct {
			name   string
			values []float64
			v, u95 float64
		}{{"PCD", pcd, r.PitchCircle.Diameter, r.PitchCircle.DiameterU95}, {"chord", chord, r.Gaps[0].Chord, r.Gaps[0].ChordU95}} {
			slices.Sort(q.values)
			low, high := q.values[int(tail*draws)], q.values[int((1-tail)*draws)]
			u := q.u95 / coverage
			tolerance := 0.5 * math.Pow(10, math.Floor(math.Log10(u))-1)
			// The ends of a drawn interval scatter themselves.
			scatter := 3 * u * math.Sqrt(tail*(1-tail)/draws) / distuv.UnitNormal.Prob(coverage)
			if math.Abs(q.v-q.u95-low) > tolerance+scatter || math.Abs(q.v+q.u95-high) > tolerance+scatter {
				t.Errorf("%s of %d holes: %.4f to %.4f stated, %.4f to %.4f drawn, tolerance %.4f", q.name, n, q.v-q.u95, q.v+q.u95, low, high, tolerance)
			}
		}
	}
}

// Each term alone against draws of that error alone, also when lengths are
// known: the budget attributes rightly, and does not only add up.
func TestBudgetTermsAgainstMonteCarlo(t *testing.T) {
	known := Options{SharedNames: threeNames, Between: []Distance{{From: 1, To: 4, Value: 96, U: 0.03, Over: Centres}}}
	for name, opts := range map[string]Options{"by the scan": {SharedNames: threeNames}, "with a known length": known} {
		rings, choice := place(96, []float64{0}, 80, 140, 200, 267, 320, 20)
		stated := mustNew(t, rings, choice, opts)
		if len(opts.Between) > 0 {
			for _, s := range stated.Chords {
				if s.From == 1 && s.To == 4 {
					opts.Between[0].Value = s.Chord
				}
			}
			stated = mustNew(t, rings, choice, opts)
		}
		_, values, _ := budgeted(stated)
		for _, term := range stated.Budget {
			random := rand.New(rand.NewPCG(5, 6))
			squares := make([]float64, len(values))
			const draws = 1200
			for range draws {
				moved, o := alone(random, rings, term.Term, opts)
				r, err := measure(moved, choice, o)
				if err != nil {
					t.Fatal(err)
				}
				_, v, _ := budgeted(r)
				for k := range v {
					squares[k] += (v[k] - values[k]) * (v[k] - values[k]) / draws
				}
			}
			names, _, want := budgeted(stated, term)
			for k := range want {
				if got := coverage * math.Sqrt(squares[k]) / small; math.Abs(got-want[k]) > 0.1*want[k]+2e-4 {
					t.Errorf("%s, %s of the %s: ± %.4f drawn, ± %.4f stated", name, term.Term, names[k], got, want[k])
				}
			}
		}
	}
}

// budgeted lists the results of a budget and what a term says of them.
func budgeted(r *Reading, terms ...BudgetTerm) (names []string, values, u95 []float64) {
	add := func(name string, v float64, of func(t BudgetTerm) float64) {
		names, values = append(names, name), append(values, v)
		for _, t := range terms {
			u95 = append(u95, of(t))
		}
	}
	add("PCD", r.PitchCircle.Diameter, func(t BudgetTerm) float64 { return *t.PCDU95 })
	add("bore", *r.Bore.Offset, func(t BudgetTerm) float64 { return *t.BoreOffsetU95 })
	for k, g := range r.Gaps {
		add(fmt.Sprint("chord ", g.From), g.Chord, func(t BudgetTerm) float64 { return t.ChordsU95[k] })
	}
	return names, values, u95
}

// small is the share of each error that is drawn: with whole ones a scan now
// and then contradicts the known length, and then its scale is given up.
const small = 0.3

// alone draws the error of one term only.
func alone(random *rand.Rand, rings []Ring, term string, opts Options) ([]Ring, Options) {
	if term == LengthTerm {
		d := opts.Between[0]
		d.Value += small * d.U * random.NormFloat64()
		opts.Between = []Distance{d}
		return rings, opts
	}
	only := slices.Clone(rings)
	at := slices.Index(threeNames, term)
	for i := range only {
		q := &only[i]
		q.Shared = make([]r2.Vec, len(rings[i].Shared))
		q.SharedDiameter = make([]float64, len(rings[i].Shared))
		if at >= 0 {
			q.Shared[at], q.SharedDiameter[at] = rings[i].Shared[at], rings[i].SharedDiameter[at]
			q.CentreCov, q.DiameterU = [2][2]float64{{1e-18, 0}, {0, 1e-18}}, 0
		}
	}
	out := slices.Clone(rings)
	for i, q := range drawn(random, only) {
		out[i].Centre = r2.Add(out[i].Centre, r2.Scale(small, r2.Sub(q.Centre, out[i].Centre)))
		out[i].Diameter += small * (q.Diameter - out[i].Diameter)
	}
	return out, opts
}

// Whatever the pattern: the terms add up to every stated uncertainty.
func TestBudgetAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		opts := Options{SharedNames: threeNames[:rapid.IntRange(0, 3).Draw(t, "names")]}
		if rapid.Bool().Draw(t, "free") {
			choice = Choice{Holes: choice.Holes, Bore: choice.Bore, Rim: -1}
		}
		plain := read(t, rings, choice, Options{})
		if rapid.Bool().Draw(t, "known") {
			s := plain.Chords[0]
			opts.Between = []Distance{{From: s.From, To: s.To, Value: s.Chord * 1.0005, U: 0.02, Over: Centres}}
		}
		r := read(t, rings, choice, opts)
		var pcd float64
		chords := make([]float64, len(r.Neighbours()))
		for _, term := range r.Budget {
			if term.PCDU95 != nil {
				pcd += *term.PCDU95 * *term.PCDU95
			}
			for k, u := range term.ChordsU95 {
				chords[k] += u * u
			}
		}
		near := func(what string, square, want float64) {
			if got := math.Sqrt(square); math.Abs(got-want) > 1e-6+1e-5*want {
				t.Fatalf("%s: the terms add up to ± %v, stated ± %v", what, got, want)
			}
		}
		if r.PitchCircle != nil {
			near("PCD", pcd, r.PitchCircle.DiameterU95)
		}
		for k, s := range r.Neighbours() {
			near(fmt.Sprint("chord ", s.From), chords[k], s.ChordU95)
		}
	})
}

// What is promised of a caliper measurement is what it does when it is taken,
// and no other pair does better.
func TestAdviceHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		if len(choice.Holes)-len(choice.OffCircle) < 3 {
			return
		}
		rings = withScale(rings, 0.002, r2.Vec{X: 40})
		r := read(t, rings, choice, Options{})
		a := r.Advise()
		if a.U95 != r.PitchCircle.DiameterU95 {
			t.Fatalf("%+v", a)
		}
		if len(a.Remedies) == 0 {
			return // calipers are no better than what is known
		}
		least, promised := math.Inf(1), a.Remedies[0].U95
		for _, s := range r.Chords {
			if s.Chord < 1 {
				continue
			}
			with := read(t, rings, choice, Options{Between: []Distance{{From: s.From, To: s.To, Value: s.Chord, U: 0.025, Over: Centres}}})
			u := with.PitchCircle.DiameterU95
			least = math.Min(least, u)
			if a.Remedies[0].From == s.From && a.Remedies[0].To == s.To && math.Abs(u-promised) > 1e-4+1e-3*u {
				t.Fatalf("%+v: ± %v promised, ± %v got", a.Remedies[0], promised, u)
			}
		}
		if promised > least*1.002+1e-5 {
			t.Fatalf("%+v, but ± %v is possible", a.Remedies[0], least)
		}
	})
}

// A scan's PCD is the scale's, and calipers across it are the cheapest cure.
func TestAdviceOfAScan(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	r := simulated(t, random, 96, []float64{90, 150, 210, 277, 330, 30}, 0, 0.02)
	a := r.Advise()
	if a.Best != 0 || a.U95 < 0.2 || a.Remedies[0].U95 > a.U95/2 || a.Target != "PCD" {
		t.Errorf("%+v", a)
	}
	if a.Dominant != sharedTerm {
		t.Errorf("what dominates is %q", a.Dominant)
	}
}

// A budget that does not add up, and a verdict or candidate that nobody gave,
// are told.
func TestBadConclusions(t *testing.T) {
	rings, choice := keyed()
	good := string(written(t, mustNew(t, rings, choice, Options{})))
	for from, want := range map[string]string{
		`"pcd_u95_mm": 0.`:       "does not add up",
		`"spacing": "uneven"`:    "verdict.spacing",
		`"flip": "different"`:    "verdict.flip",
		`"layout": "one_`:        "verdict.layout",
		`"worst_hole": 6`:        "no such hole",
		`"step_mm": `:            "candidate",
		`"p_value": `:            "p_value",
		`"chords_u95_mm": [`:     "chords where there are",
		`"pcd_count": `:          "are listed",
		`"degrees_of_freedom": `: "less than none",
	} {
		to := map[string]string{
			`"pcd_u95_mm": 0.`: `"pcd_u95_mm": 9.`, `"step_mm": `: `"step_mm": -`, `"p_value": `: `"p_value": 7`, `"chords_u95_mm": [`: `"chords_u95_mm": [1,`,
			`"pcd_count": `: `"pcd_count": -`, `"worst_hole": 6`: `"worst_hole": 66`, `"degrees_of_freedom": `: `"degrees_of_freedom": -`,
		}[from]
		if to == "" {
			to = from[:len(from)-1] + "x\""
			if !strings.HasSuffix(from, `"`) {
				to = from + "x"
			}
		}
		text := strings.Replace(good, from, to, 1)
		if text == good {
			t.Errorf("there is no %s in\n%s", from, good)
			continue
		}
		if _, err := ReadJSON(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v does not say %q", to, err, want)
		}
	}
}

// Calipers have no edges to locate; the budget has no term for them.
func TestBudgetByHand(t *testing.T) {
	s, err := Solve(Measured{Holes: 3, Between: []Distance{
		{From: 1, To: 2, Value: 48.3, U: 0.025, Over: Centres}, {From: 2, To: 3, Value: 60.1, U: 0.025, Over: Centres}, {From: 3, To: 1, Value: 55, U: 0.025, Over: Centres},
	}})
	if err != nil {
		t.Fatal(err)
	}
	r := s.Reading
	if len(r.Budget) != 1 || r.Budget[0].Term == EdgeTerm || math.Abs(*r.Budget[0].PCDU95-r.PitchCircle.DiameterU95) > 1e-6 {
		t.Errorf("%+v for PCD ±%v", r.Budget, r.PitchCircle.DiameterU95)
	}
	if r.Verdict.Spacing != Uneven || r.Candidates == nil {
		t.Errorf("%+v", r.Verdict)
	}
}
