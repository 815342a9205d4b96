package pattern

import (
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

// scanRing is a ring as a home scanner at 300 dpi gives it: its own error of
// edgeU along x and y (0.02 to 0.025 mm rms is what rendered rubbings show),
// and the three errors that the holes of a scan share (calib.Scan).
func scanRing(id int, c r2.Vec, edgeU float64) Ring {
	const scale, axes, shear = 0.002 / math.Sqrt2, 0.002 * math.Sqrt2, 0.0006
	return Ring{
		ID: id, Centre: c, Diameter: 9,
		CentreCov:      [2][2]float64{{edgeU * edgeU, 0}, {0, edgeU * edgeU}},
		DiameterU:      0.05,
		Shared:         []r2.Vec{r2.Scale(scale, c), {X: axes / 2 * c.X, Y: -axes / 2 * c.Y}, {X: shear * c.Y}},
		SharedDiameter: []float64{scale * 9, 0, 0},
		RimSeen:        1,
	}
}

// simulated is the reading of holes at directions (degrees) on a pitch
// circle, drilled with the standard uncertainty drilledU along x and y.
func simulated(t testing.TB, random *rand.Rand, pcd float64, directions []float64, drilledU, edgeU float64) *Reading {
	t.Helper()
	var at []r2.Vec
	for _, deg := range directions {
		c := polar(pcd/2, deg)
		at = append(at, r2.Add(c, r2.Vec{X: drilledU * random.NormFloat64(), Y: drilledU * random.NormFloat64()}))
	}
	return scannedAt(t, random, true, edgeU, at...)
}

// scannedAt is the reading of holes at places about the middle of a page.
func scannedAt(t testing.TB, random *rand.Rand, onCircle bool, edgeU float64, at ...r2.Vec) *Reading {
	t.Helper()
	var rings []Ring
	choice := Choice{Bore: -1, Rim: -1, Circle: onCircle}
	for i, c := range at {
		rings = append(rings, scanRing(i, r2.Add(c, r2.Vec{X: 105, Y: 150}), edgeU))
		choice.Holes = append(choice.Holes, i)
	}
	r, err := New(drawn(random, rings), choice, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// anyEven is n even directions, turned at random.
func anyEven(random *rand.Rand, n int) []float64 {
	d := make([]float64, n)
	first := 360 * random.Float64()
	for i := range d {
		d[i] = first + 360*float64(i)/float64(n)
	}
	return d
}

// Faces of 3 to 12 holes: at most 5 % of those whose holes are even, drilled
// exactly or as well as the allowance says, are called uneven, and at least
// 95 % of those with one hole a degree off are. Small circles, on which a
// degree is less than drilling makes, are told apart in the log.
func TestFalseAlarmsAndKeys(t *testing.T) {
	const draws = 400
	for _, c := range []struct {
		name        string
		n           int     // holes; 0: 3 to 12
		low, high   float64 // pitch circle, mm
		drilled     float64 // share of the allowance
		key         float64
		least, most float64 // share called uneven
	}{
		{"even, drilled exactly", 0, 30, 170, 0, 0, 0, 0.05},
		{"even, drilled as allowed", 0, 30, 170, 1, 0, 0, 0.05},
		{"1° key, drilled exactly", 0, 60, 170, 0, 1, 0.95, 1},
		{"1° key, drilled as allowed", 0, 60, 170, 1, 1, 0.95, 1},
		{"1° key, small circles", 0, 30, 60, 0, 1, 0.95, 1},
		{"2° key, small circles", 0, 30, 60, 0, 2, 0.95, 1},
		{"three, drilled exactly", 3, 60, 170, 0, 0, 0, 0.05},
		{"three, drilled as allowed", 3, 60, 170, 1, 0, 0, 0.05},
		{"three, 1° key", 3, 60, 170, 0, 1, 0.95, 1},
		{"three, 1° key, as allowed", 3, 60, 170, 1, 1, 0.95, 1},
	} {
		random := rand.New(rand.NewPCG(5, 9))
		tally := map[Spacing]int{}
		for range draws {
			n := c.n
			if n == 0 {
				n = 3 + random.IntN(10)
			}
			pcd := c.low + (c.high-c.low)*random.Float64()
			d := anyEven(random, n)
			d[random.IntN(n)] += c.key * float64(1-2*random.IntN(2))
			r := simulated(t, random, pcd, d, c.drilled*drilledU95(pcd/2)/coverage2, 0.022)
			tally[r.Verdict.Spacing]++
		}
		t.Logf("%-28s even %3d, undecided %3d, uneven %3d of %d", c.name, tally[Even], tally[Undecided], tally[Uneven], draws)
		if share := float64(tally[Uneven]) / draws; share < c.least || share > c.most {
			t.Errorf("%s: %.3f are called uneven, want %g to %g", c.name, share, c.least, c.most)
		}
	}
}

// The p-value of the χ² test is uniform when its assumptions hold: Pearson's
// test in ten classes, and its mean number of degrees of freedom.
func TestPValueIsUniform(t *testing.T) {
	const draws = 2000
	random := rand.New(rand.NewPCG(2, 3))
	var classes [10]float64
	for range draws {
		n := 3 + random.IntN(6)
		r := simulated(t, random, 96, anyEven(random, n), drilledU95(48)/coverage2, 0.03)
		if want := 2*n - 4; r.Verdict.DoF != want {
			t.Fatalf("%d holes: %d degrees of freedom, want %d", n, r.Verdict.DoF, want)
		}
		p := distuv.ChiSquared{K: float64(r.Verdict.DoF)}.Survival(*r.Verdict.ChiSquare)
		classes[min(9, int(10*p))]++
	}
	chi2 := 0.0
	for _, c := range classes {
		chi2 += (c - draws/10) * (c - draws/10) / (draws / 10)
	}
	if limit := (distuv.ChiSquared{K: 9}).Quantile(0.999); chi2 > limit {
		t.Errorf("p-values fall into %v: χ² = %.1f, limit %.1f", classes, chi2, limit)
	}
}

// The same χ² by projection: with B an orthonormal basis of all that even
// places cannot explain, rᵀ(BᵀΣB)⁻¹r of r = Bᵀx. There the singular
// covariance of the reading needs no care, and the reading's own origin does
// not matter: the source's coordinates give the same.
func TestChiSquareByProjection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		choice.OffCircle = nil
		r := read(t, rings, choice, Options{})
		if len(r.Holes) < 3 {
			return
		}
		n := len(r.Holes)
		project := func(x []float64, sigma mat.Symmetric) float64 {
			var svd mat.SVD
			svd.Factorize(evenColumns(n), mat.SVDFull)
			var u mat.Dense
			svd.UTo(&u)
			b := u.Slice(0, 2*n, 4, 2*n)
			var left mat.VecDense
			left.MulVec(b.T(), mat.NewVecDense(2*n, x))
			full := mat.NewSymDense(2*n, nil)
			full.CopySym(sigma)
			for i := range 2 * n {
				full.SetSym(i, i, full.At(i, i)+math.Pow(r.Verdict.DrilledU95/coverage2, 2))
			}
			var chol mat.Cholesky
			chol.Factorize(propagate(b.T(), full))
			var solved mat.VecDense
			if chol.SolveVecTo(&solved, &left) != nil {
				t.Fatal("singular")
			}
			return mat.Dot(&left, &solved)
		}
		var x []float64
		for _, h := range r.Holes {
			x = append(x, h.X, h.Y)
		}
		got := *r.Verdict.ChiSquare
		if want := project(x, mat.NewSymDense(2*n, slices.Clone(r.CovarianceMM2))); math.Abs(got-want) > 1e-6*(1+want) {
			t.Fatalf("χ² = %v, by projection %v", got, want)
		}
	})
}

// Draws of a non-central χ² exceed the limit as often as they are to.
func TestNoncentrality(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	for _, dof := range []int{1, 2, 4, 8, 20} {
		lambda := noncentrality(dof, 0.01, 0.95)
		limit := distuv.ChiSquared{K: float64(dof)}.Quantile(0.99)
		exceeds := 0
		const draws = 20000
		for range draws {
			sum := 0.0
			for i := range dof {
				z := random.NormFloat64()
				if i == 0 {
					z += math.Sqrt(lambda)
				}
				sum += z * z
			}
			if sum > limit {
				exceeds++
			}
		}
		if share := float64(exceeds) / draws; math.Abs(share-0.95) > 0.006 {
			t.Errorf("%d degrees of freedom: λ = %.2f has the power %.4f", dof, lambda, share)
		}
	}
}

// What each face is recognised as, over errors drawn anew.
func TestLayouts(t *testing.T) {
	at := func(pcd float64, directions ...float64) (p []r2.Vec) {
		for _, d := range directions {
			p = append(p, polar(pcd/2, d))
		}
		return p
	}
	turned := func(deg float64, p ...r2.Vec) (q []r2.Vec) {
		for _, v := range p {
			q = append(q, r2.Rotate(v, deg*degree, r2.Vec{}))
		}
		return q
	}
	grid := []r2.Vec{{}, {X: 30}, {X: 60}, {Y: 40}, {X: 30, Y: 40}, {X: 60, Y: 40}}
	for _, c := range []struct {
		name    string
		holes   []r2.Vec
		free    bool
		spacing Spacing
		layout  Layout
		turns   int
		flip    Flip
		says    []string
	}{
		{"even sixths", at(96, 80, 140, 200, 260, 320, 20), false, Even, EvenSpaces, 6, FlipSame, []string{"6 holes are equally spaced, 60° apart"}},
		{"even thirds", at(96, 80, 200, 320), false, Even, EvenSpaces, 3, FlipSame, []string{"120° apart"}},
		{"the press", at(96, 90, 150, 210, 277, 330, 30), false, Uneven, OneShifted, 1, FlipDifferent, []string{"hole 4 sits 5.", "counter-clockwise of its even place", "the other 5 are even", "one position only and one way up"}},
		{"the press mirrored", at(96, 90, 150, 210, 263, 330, 30), false, Uneven, OneShifted, 1, FlipDifferent, []string{"hole 4 sits 5.", " clockwise of its even place"}},
		{"five of six", at(96, 90, 150, 210, 330, 30), false, Uneven, SomeEmpty, 1, FlipSame, []string{"5 holes lie in 6 equal spaces of 60°, and one place is empty (at 180° from hole 1)"}},
		{"four of six", at(96, 90, 150, 270, 330), false, Uneven, SomeEmpty, 2, FlipSame, []string{"the other 2 places are empty (at 120°, 300° from hole 1)"}},
		{"three of four", at(96, 90, 180, 270), false, Uneven, SomeEmpty, 1, FlipSame, []string{"3 holes lie in 4 equal spaces"}},
		{"rectangle", at(96, 55, 125, 235, 305), false, Uneven, Interleaved, 2, FlipSame, []string{"corners of a rectangle, "}},
		{"two rings of three", at(96, 90, 115, 210, 235, 330, 355), false, Uneven, Interleaved, 3, FlipSame, []string{"two even rings of 3 holes, one turned against the other by 2"}},
		{"half-turn only", at(96, 90, 125, 170, 270, 305, 350), false, Uneven, Interleaved, 2, FlipDifferent, []string{"repeats every 180°"}},
		{"kite", at(96, 92, 170, 14, 272), false, Uneven, Irregular, 1, FlipSame, []string{"flipped over too"}},
		{"irregular", at(96, 90, 157, 33, 220, 310, 265), false, Uneven, Irregular, 1, FlipDifferent, []string{"wider than its even share of 60°"}},
		{"line", turned(20, r2.Vec{}, r2.Vec{X: 30}, r2.Vec{X: 60}, r2.Vec{X: 90}), true, Undecided, OnLine, 0, FlipUndecided, []string{"4 holes lie on a straight line", "equally spaced"}},
		{"line, uneven", turned(70, r2.Vec{}, r2.Vec{X: 30}, r2.Vec{X: 75}, r2.Vec{X: 90}), true, Undecided, OnLine, 0, FlipUndecided, []string{"straight line, "}},
		{"grid", grid, true, Undecided, OnGrid, 0, FlipUndecided, []string{"grid of 3 by 2, turned by ", "equally spaced one way"}},
		{"grid, turned", turned(33, grid...), true, Undecided, OnGrid, 0, FlipUndecided, []string{"grid of 3 by 2"}},
		{"grid, one empty", turned(-12, append(slices.Clone(grid[:5]), r2.Vec{Y: 80}, r2.Vec{X: 30, Y: 80}, r2.Vec{X: 60, Y: 80})...), true, Undecided, OnGrid, 0, FlipUndecided, []string{"grid of 3 by 3, 1 place of them empty"}},
		{"anywhere", []r2.Vec{{}, {X: 33, Y: 7}, {X: 60, Y: -30}, {X: -10, Y: 43}, {X: 20, Y: 50}, {X: 65, Y: 40}}, true, Undecided, NoLayout, 0, FlipUndecided, []string{"No pitch circle"}},
	} {
		right := 0
		const draws = 40
		var last string
		for k := range draws {
			random := rand.New(rand.NewPCG(uint64(k), 1))
			r := scannedAt(t, random, !c.free, 0.02, c.holes...)
			v := r.Verdict
			good := v.Spacing == c.spacing && v.Layout == c.layout && v.Turns == c.turns && v.Flip == c.flip
			for _, s := range c.says {
				good = good && strings.Contains(v.Text, s)
			}
			if good {
				right++
			} else {
				last = string(v.Spacing) + " " + string(v.Layout) + " " + string(v.Flip) + ": " + v.Text
			}
		}
		if right < draws*85/100 {
			t.Errorf("%s: right %d times of %d; for example %s", c.name, right, draws, last)
		}
	}
}

// Nothing is claimed that the measurement cannot carry.
func TestRoughReadingsDecideNothing(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 8))
	for range 200 {
		r := simulated(t, random, 96, anyEven(random, 6), 0, 0.3)
		if r.Verdict.Spacing == Even {
			t.Fatalf("even, known to 0.3 mm: %s", r.Verdict.Text)
		}
		if r.Verdict.Spacing == Undecided && !strings.Contains(r.Verdict.Text, "To decide it") {
			t.Fatalf("no way out: %s", r.Verdict.Text)
		}
	}
}

// Rough readings of holes anywhere lie near some equal spaces by chance: that
// is not taken for a layout.
func TestChanceIsNoLayout(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 8))
	claimed := 0
	const draws = 300
	for range draws {
		var d []float64
		for i := range 5 {
			d = append(d, 72*float64(i)+50*random.Float64())
		}
		if r := simulated(t, random, 60, d, 0, 1.2); r.Verdict.Layout == SomeEmpty {
			claimed++
		}
	}
	if claimed > draws*3/100 {
		t.Errorf("%d of %d irregular patterns are taken for places of which some are empty", claimed, draws)
	}
}

// Twelve holes of which one is a little off are not twelve in 24 places, of which
// every other one is empty; and where any hole may be the one, they are not listed.
func TestOneOffIsNotHalfEmpty(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 8))
	uneven := 0
	for range 200 {
		d := anyEven(random, 12)
		d[4] -= 0.8
		v := simulated(t, random, 50, d, 0, 0.07).Verdict
		if v.Spacing == Uneven {
			uneven++
		}
		if v.Layout == SomeEmpty && v.Places == 24 {
			t.Fatalf("half empty: %s", v.Text)
		}
		if strings.Count(v.Text, ",") > 8 {
			t.Fatalf("lists too many: %s", v.Text)
		}
	}
	if uneven < 20 {
		t.Errorf("only %d of 200 are uneven: this shows nothing", uneven)
	}
}

func TestBoreAndSecondCircle(t *testing.T) {
	rings, choice := place(96, []float64{0}, 75, 135, 195, 255, 315, 15)
	for _, c := range []struct {
		off  float64
		want bool
	}{{0, false}, {0.1, false}, {1, true}} {
		rings[choice.Bore].Centre = r2.Vec{X: 90 + c.off, Y: 160}
		r := mustNew(t, rings, choice, Options{})
		said := slices.ContainsFunc(r.Verdict.Notes, func(s string) bool { return strings.Contains(s, "not concentric") })
		if said != c.want {
			t.Errorf("bore %g mm off: %q", c.off, r.Verdict.Notes)
		}
	}
	var two []Ring
	second := Choice{Bore: -1, Rim: -1, Circle: true}
	for i, p := range []r2.Vec{polar(48, 90), polar(48, 180), polar(48, 270), polar(48, 0), polar(30, 30), polar(30, 150), polar(30, 270)} {
		two = append(two, scanRing(i, r2.Add(p, r2.Vec{X: 100, Y: 100}), 0.02))
		second.Holes = append(second.Holes, i)
		if i > 3 {
			second.OffCircle = append(second.OffCircle, i)
		}
	}
	r := mustNew(t, two, second, Options{})
	if n := r.Verdict.Notes; len(n) != 1 || !strings.Contains(n[0], "two pitch circles") || !strings.Contains(n[0], "60.00 mm") || !strings.Contains(n[0], "equally spaced") {
		t.Errorf("two pitch circles: %q", n)
	}
	two[5].Centre.X += 2
	if n := mustNew(t, two, second, Options{}).Verdict.Notes; len(n) != 0 {
		t.Errorf("no second circle: %q", n)
	}
}

// judged is what of a verdict no move of the face changes, its holes named by
// the rings.
func judged(r *Reading) map[string]float64 {
	v := r.Verdict
	f := map[string]float64{"turns": float64(v.Turns), "places": float64(v.Places), "dof": float64(v.DoF)}
	f["spacing "+string(v.Spacing)+" layout "+string(v.Layout)+" flip "+string(v.Flip)] = 1
	for name, n := range map[string]*float64{"p": v.PValue, "chi2": v.ChiSquare, "miss": v.WorstMiss, "miss u": v.WorstMissU95, "seen": v.SeenShift, "flip miss": v.FlipMiss} {
		if n != nil {
			f[name] = *n
		}
	}
	return f
}

// Turning, mirroring and renumbering leave the verdict as it is, and so does
// another unit of length when the allowance for drilling is given in it.
func TestVerdictMovesWithTheFace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		if rapid.Bool().Draw(t, "even") { // or as uneven as any pattern is
			n := len(choice.Holes)
			for i := range n {
				rings[i].Centre = r2.Add(polar(50, 360*float64(i)/float64(n)), r2.Vec{X: 0.05 * rings[i].CentreCov[0][1] / rings[i].CentreCov[0][0]})
			}
			choice.OffCircle = nil
		}
		deg := rapid.Float64Range(0, 360).Draw(t, "turn")
		k := rapid.SampledFrom([]float64{1, 1, 0.5, 3}).Draw(t, "unit")
		side := rapid.SampledFrom([]float64{1, -1}).Draw(t, "side")
		sin, cos := math.Sincos(deg * degree)
		other := moved(rings, [2][2]float64{{k * cos * side, -k * sin}, {k * sin * side, k * cos}}, r2.Vec{X: 30, Y: -7})
		a := read(t, rings, choice, Options{DrilledU95: 0.1})
		b := read(t, other, choice, Options{DrilledU95: 0.1 * k})
		if k != 1 && a.Verdict.Spacing != b.Verdict.Spacing {
			return // what may hide and what may be meant are millimetres
		}
		want, got := judged(a), judged(b)
		for name, w := range want {
			switch name {
			case "miss", "miss u", "seen", "flip miss":
				w *= k
			}
			if k != 1 && (name == "p" || strings.HasPrefix(name, "spacing") || name == "turns" || name == "places") {
				continue
			}
			if g, ok := got[name]; !ok || math.Abs(g-w) > 1e-4*(1+math.Abs(w)) {
				t.Fatalf("%s: %v became %v\n%s\n%s", name, w, g, a.Verdict.Text, b.Verdict.Text)
			}
		}
	})
}

// A reading written before there were verdicts gets one when it is read.
func TestOldReadingsAreJudged(t *testing.T) {
	rings, choice := keyed()
	r := mustNew(t, rings, choice, Options{})
	text := string(written(t, r))
	start := strings.Index(text, `  "verdict"`)
	end := strings.Index(text, `  "warnings"`)
	old, err := ReadJSON(strings.NewReader(text[:start] + text[end:]))
	if err != nil {
		t.Fatal(err)
	}
	if old.Verdict.Text != r.Verdict.Text {
		t.Errorf("%q became %q", r.Verdict.Text, old.Verdict.Text)
	}
}

// Sizes and uncertainties at the ends of what a reading may hold.
func TestVerdictOfAnything(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rings, choice := anyPattern(rt)
		k := rapid.SampledFrom([]float64{1e-6, 1e-3, 1, 1e3}).Draw(rt, "size")
		u := rapid.SampledFrom([]float64{0, 1e-6, 1, 1e4}).Draw(rt, "u")
		rings = moved(rings, [2][2]float64{{k, 0}, {0, k}}, r2.Vec{})
		for i := range rings {
			for a := range 2 {
				for b := range 2 {
					rings[i].CentreCov[a][b] *= u * u
				}
			}
		}
		choice.Circle = rapid.Bool().Draw(rt, "circle")
		if r, err := New(rings, choice, Options{}); err == nil {
			written(t, r)
			if r.Verdict.Text == "" || strings.Contains(r.Verdict.Text, "NaN") || strings.Contains(r.Verdict.Text, "Inf") {
				rt.Fatalf("%q", r.Verdict.Text)
			}
		}
	})
}

func BenchmarkJudge(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 1))
	r := simulated(b, random, 96, anyEven(random, 6), 0, 0.02)
	for b.Loop() {
		r.Judge(0)
	}
}
