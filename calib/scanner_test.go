package calib

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// trueScanner takes mm on the glass (x right, y up) to pixels of a scanner
// that is off as x, y and h say.
type trueScanner struct{ x, y, h, dpi float64 }

func (s trueScanner) px(mm r2.Vec) r2.Vec {
	k := mmPerInch / s.dpi
	py := -mm.Y / (k * (1 + s.y))
	return r2.Vec{X: (mm.X - s.h*k*py) / (k * (1 + s.x)), Y: py}
}

// seesThing is a scan of a thing turned by an angle whose own size is off as e
// says: through the affine map that its nominal millimetres give.
func (s trueScanner) seesThing(name string, turn float64, e [3]float64, noise float64, rng *rand.Rand) ScanSeen {
	sin, cos := math.Sincos(turn * math.Pi / 180)
	at := func(nominal r2.Vec) r2.Vec {
		p := r2.Vec{X: nominal.X*(1+e[0]) + nominal.Y*e[2], Y: nominal.Y * (1 + e[1])}
		return s.px(r2.Vec{X: cos*p.X - sin*p.Y, Y: sin*p.X + cos*p.Y})
	}
	o, a, b := at(r2.Vec{}), at(r2.Vec{X: 1}), at(r2.Vec{Y: 1})
	m := mat.NewDense(2, 2, []float64{a.X - o.X, b.X - o.X, a.Y - o.Y, b.Y - o.Y})
	var inv mat.Dense
	if err := inv.Inverse(m); err != nil {
		panic(err)
	}
	n := func() float64 { return 1 + noise*rng.NormFloat64() }
	return ScanSeen{Name: name, rows: seenAffine([2][2]float64{{inv.At(0, 0) * n(), inv.At(0, 1) * n()}, {inv.At(1, 0) * n(), inv.At(1, 1) * n()}}, [2]float64{s.dpi, s.dpi}, noise)}
}

func (s trueScanner) seesRule(name string, turn, e, noise float64, rng *rand.Rand) ScanSeen {
	sin, cos := math.Sincos(turn * math.Pi / 180)
	v := r2.Sub(s.px(r2.Vec{X: (1 + e) * cos, Y: (1 + e) * sin}), s.px(r2.Vec{}))
	return ScanSeen{Name: name, rows: []scanRow{seenLength(r2.Scale(1+noise*rng.NormFloat64(), v), [2]float64{s.dpi, s.dpi}, 1, 0)}}
}

// A thing without error shows the scanner as it is, however it lies.
func TestScannerFromExactThings(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	s := trueScanner{0.0031, -0.0024, 0.0009, 300}
	exact := ThingU{1e-7, 1e-7, 1e-7}
	for _, turn := range []float64{0, 3, -7, 90, 45, 180, 200} {
		got, _, err := MakeScanner("a test", []ScanSeen{s.seesThing("a", turn, [3]float64{}, 0, rng)}, exact, [2]float64{300, 300})
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range [][2]float64{{got.X, s.x}, {got.Y, s.y}, {got.Shear, s.h}} {
			if math.Abs(v[0]-v[1]) > 3e-5 || !got.Measured[i] {
				t.Errorf("turned by %g°: value %d is %.6f, want %.6f", turn, i, v[0], v[1])
			}
		}
		// And its plane measures right at any resolution.
		for _, dpi := range []float64{150, 300, 1200} {
			p, err := got.Plane([2]float64{dpi, dpi})
			if err != nil {
				t.Fatal(err)
			}
			other := trueScanner{s.x, s.y, s.h, dpi}
			for _, mm := range []r2.Vec{{X: 100}, {Y: 100}, {X: 70, Y: 70}, {X: 70, Y: -70}} {
				d := r2.Norm(r2.Sub(p.MM(other.px(mm)), p.MM(other.px(r2.Vec{}))))
				if math.Abs(d/r2.Norm(mm)-1) > 3e-5 {
					t.Errorf("%g dpi: %v measures %.4f mm", dpi, mm, d)
				}
			}
		}
	}
}

// A rule shows the axis that it lies along, and says that the other is not
// measured.
func TestScannerFromOneRule(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	s := trueScanner{0.004, -0.003, 0.0005, 600}
	got, fit, err := MakeScanner("a rule", []ScanSeen{s.seesRule("a", 1, 0, 0, rng)}, RuleU, [2]float64{600, 600})
	if err != nil {
		t.Fatal(err)
	}
	if got.Measured != [3]bool{true, false, false} || math.Abs(got.X-s.x) > 1e-4 || !math.IsNaN(fit.Repeat) {
		t.Errorf("%+v %+v", got, fit)
	}
	if u := math.Sqrt(got.Cov.At(1, 1)); math.Abs(u-DefaultScaleU) > 1e-5 {
		t.Errorf("the other axis is known to %g", u)
	}
	if w := got.Warnings([2]float64{600, 600}); len(w) != 1 || !strings.Contains(w[0], "along y") {
		t.Errorf("%q", w)
	}
	if w := got.Warnings([2]float64{100, 100}); len(w) != 2 {
		t.Errorf("%q", w)
	}
}

// Scanners, things and scans drawn at random: how often the three numbers lie
// within ±2 u. (The drawn scans have no error of their angle, of which the third
// is supposed to have some.)
func TestScannerCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	thing := ThingU{0.0008, 0.0006, 0.0003}
	var within [2][3]int
	const draws = 1500
	for range draws {
		s := trueScanner{0.003 * rng.NormFloat64(), 0.003 * rng.NormFloat64(), 0.0006 * rng.NormFloat64(), 300}
		e := [3]float64{thing[0] * rng.NormFloat64(), thing[1] * rng.NormFloat64(), thing[2] * rng.NormFloat64()}
		rule := RuleU[0] * rng.NormFloat64()
		for k, scans := range [2][]ScanSeen{
			{s.seesThing("a", 1, e, repeatU, rng), s.seesThing("b", 91, e, repeatU, rng), s.seesThing("c", 2, e, repeatU, rng)},
			{s.seesRule("a", 1, rule, repeatU, rng), s.seesRule("b", 89, rule, repeatU, rng), s.seesRule("c", 0, rule, repeatU, rng)},
		} {
			u := thing
			if k == 1 {
				u = RuleU
			}
			got, _, err := MakeScanner("draws", scans, u, [2]float64{300, 300})
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range []float64{got.X - s.x, got.Y - s.y, got.Shear - s.h} {
				if math.Abs(v) <= 2*math.Sqrt(got.Cov.At(i, i)) {
					within[k][i]++
				}
			}
		}
	}
	t.Logf("cards %v, rules %v of %d", within[0], within[1], draws)
	for k := range within {
		for i, n := range within[k] {
			if share := float64(n) / draws; share < 0.92 || share > 0.998 && i < 2 {
				t.Errorf("kind %d, value %d: %.1f %% within ±", k, i, 100*share)
			}
		}
	}
}

// The card turned by a quarter tells the axes' ratio without the card's own.
func TestScannerQuarterTurn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	s := trueScanner{0.003, -0.002, 0, 300}
	e := [3]float64{0.0012, -0.0009, 0.0004}
	thing := ThingU{0.0015, 0.0015, 0.0005}
	ratioU := func(scans ...ScanSeen) (off, u float64) {
		got, _, err := MakeScanner("a card", scans, thing, [2]float64{300, 300})
		if err != nil {
			t.Fatal(err)
		}
		return got.X - got.Y - (s.x - s.y), math.Sqrt(got.Cov.At(0, 0) + got.Cov.At(1, 1) - 2*got.Cov.At(0, 1))
	}
	_, before := ratioU(s.seesThing("a", 0, e, 1e-6, rng))
	off, after := ratioU(s.seesThing("a", 0, e, 1e-6, rng), s.seesThing("b", 90, e, 1e-6, rng))
	if after > before/4 || math.Abs(off) > 2*after {
		t.Errorf("u of the ratio %.6f, turned %.6f, off %.6f", before, after, off)
	}
}

func TestScannerOutlier(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	s := trueScanner{0.002, 0.001, 0, 300}
	var scans []ScanSeen
	for _, name := range []string{"a", "b", "c", "d"} {
		scans = append(scans, s.seesThing(name, 0, [3]float64{}, 0.0001, rng))
	}
	slipped := s
	slipped.y += 0.006
	scans[2] = slipped.seesThing("c", 0, [3]float64{}, 0.0001, rng)
	got, fit, err := MakeScanner("cards", scans, ThingU{0.0008, 0.0006, 0.0003}, [2]float64{300, 300})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(fit.Outliers, []string{"c"}) || got.Scans != 3 || math.Abs(got.Y-s.y) > 0.001 || len(fit.Warnings) != 1 {
		t.Errorf("%+v %+v", got, fit)
	}
	if _, _, err := MakeScanner("", nil, RuleU, [2]float64{}); err == nil {
		t.Error("a profile of no scan")
	}
	if _, _, err := MakeScanner("", []ScanSeen{{Name: "x", rows: []scanRow{{value: math.NaN(), u: 1}}}}, RuleU, [2]float64{}); err == nil {
		t.Error("a profile of no number")
	}
}

// A card on the glass, rendered: the scanner's scale within the card's
// tolerance, either way round.
func TestScanOfCard(t *testing.T) {
	const dpi = 200
	for _, upright := range []bool{false, true} {
		s := ordinarySheet(5)
		s.w, s.h, s.tilt, s.turn = 850, 800, 0, 1.4
		s.sheet, s.corner, s.paper, s.ground = r2.Vec{X: 85.60, Y: 53.98}, 3.18, 90, 235
		if upright {
			s.sheet = r2.Vec{X: 53.98, Y: 85.60}
		}
		// A scanner with pixels a thousandth larger than it says.
		s.away = s.optics().fx * mmPerInch / dpi * 1.001
		size, err := ParseSheet("card")
		if err != nil {
			t.Fatal(err)
		}
		seen, thing, err := ScanOfSheet("card.png", s.render(), [2]float64{dpi, dpi}, size)
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := MakeScanner("a card", []ScanSeen{seen}, thing, [2]float64{dpi, dpi})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("upright %v: %+.5f, %+.5f, shear %+.5f; u %.5f %.5f", upright, got.X, got.Y, got.Shear, math.Sqrt(got.Cov.At(0, 0)), math.Sqrt(got.Cov.At(1, 1)))
		if math.Abs(got.X-0.001) > 5e-4 || math.Abs(got.Y-0.001) > 5e-4 || math.Abs(got.Shear) > 5e-4 || got.Measured != [3]bool{true, true, true} {
			t.Errorf("%+v", got)
		}
	}
}

func TestScanOfNothing(t *testing.T) {
	s := ordinarySheet(1)
	s.paper, s.w, s.h = s.ground, 300, 200
	pic := s.render()
	size, _ := ParseSheet("card")
	if _, _, err := ScanOfSheet("a", pic, [2]float64{300, 300}, size); err == nil {
		t.Error("a card was seen")
	}
	if _, _, err := ScanOfRule("a", pic, [2]float64{300, 300}, 1); err == nil {
		t.Error("a rule was seen")
	}
	if _, _, err := ScanOfFrame("a", pic, [2]float64{300, 300}, PrintedBars{}); err == nil {
		t.Error("a frame was seen")
	}
}

func aScanner(t testing.TB) *Scanner {
	rng := rand.New(rand.NewPCG(1, 2))
	s := trueScanner{0.0031, -0.0024, 0.0009, 300}
	got, _, err := MakeScanner("3 scans of ID-1 card", []ScanSeen{s.seesThing("a", 1, [3]float64{}, 0.0001, rng)}, ThingU{0.0008, 0.0006, 0.0003}, [2]float64{300, 300})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestScannerJSON(t *testing.T) {
	s := aScanner(t)
	var b bytes.Buffer
	if err := s.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	back, err := ReadScanner(&b)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(back.X-s.X) > 1e-15 || math.Abs(back.Y-s.Y) > 1e-15 || back.Shear != s.Shear || !mat.Equal(back.Cov, s.Cov) || back.MadeFrom != s.MadeFrom || back.Measured != s.Measured {
		t.Errorf("%+v came back as %+v", s, back)
	}
	if n := strings.Count(text, "\n"); n > 25 {
		t.Errorf("%d lines:\n%s", n, text)
	}
	for _, c := range [][2]string{
		{`"boltrose scanner profile"`, `"boltrose lens profile"`},
		{`"scale_x"`, `"scale_z"`}, {`"scale_x": 1.00`, `"scale_x": 3.00`}, {`"scans": 1`, `"scans": 0`}, {`"scans": 1`, `"scan": 1, "scans": 1`},
		{`"dpi": [300,300]`, `"dpi": [0,300]`}, {`{`, `[`}, {`"covariance": [`, `"covariance": [[1,2,3],`},
	} {
		if !strings.Contains(text, c[0]) {
			t.Fatalf("no %s in\n%s", c[0], text)
		}
		if s, err := ReadScanner(strings.NewReader(strings.Replace(text, c[0], c[1], 1))); err == nil {
			t.Errorf("%s was read as %+v", c[1], s)
		}
	}
}

func FuzzReadScanner(f *testing.F) {
	var b bytes.Buffer
	if err := aScanner(f).WriteJSON(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"kind":"boltrose scanner profile"}`))
	f.Fuzz(func(t *testing.T, in []byte) {
		s, err := ReadScanner(bytes.NewReader(in))
		if err != nil {
			return
		}
		p, err := s.Plane([2]float64{300, 300})
		if err != nil {
			return
		}
		mm := p.MM(r2.Vec{X: 1000, Y: 1000})
		if math.IsNaN(mm.X+mm.Y+p.URel) || math.IsInf(mm.X+mm.Y+p.URel, 0) {
			t.Errorf("%s gives %v", in, mm)
		}
		s.Warnings([2]float64{300, 300})
		if err := s.WriteJSON(&bytes.Buffer{}); err != nil {
			t.Error(err)
		}
	})
}

// An inch is 25.4 mm.
func TestParsePitch(t *testing.T) {
	for in, want := range map[string]float64{"1mm": 1, "0.5mm": 0.5, "0.5 MM": 0.5, "1/16in": 25.4 / 16, "1/64\"": 25.4 / 64, "0.1in": 2.54} {
		if got, err := ParsePitch(in); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: %g, %v", in, got, err)
		}
	}
	for _, in := range []string{"", "1", "mm", "in", "0mm", "-1mm", "1/0in", "nanmm", "infin", "1/2/3in", "99mm"} {
		if got, err := ParsePitch(in); err == nil {
			t.Errorf("%q was read as %g", in, got)
		}
	}
}
