package pattern

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// byScanner puts holes of 8 mm where a scanner of 0.2 % saw them whose axes err
// independently, each with an error of its own of ownU.
func byScanner(ownU float64, at ...r2.Vec) ([]Ring, Choice) {
	c := Choice{Bore: -1, Rim: -1}
	var rings []Ring
	for i, p := range at {
		c.Holes = append(c.Holes, i)
		rings = append(rings, Ring{
			ID: i + 1, Centre: p, Diameter: 8, DiameterU: 0.03, RimSeen: 1,
			CentreCov:      [2][2]float64{{ownU * ownU, 0}, {0, ownU * ownU}},
			Shared:         []r2.Vec{{X: 0.002 * p.X}, {Y: 0.002 * p.Y}, {X: 0.0006 * p.Y}},
			SharedDiameter: []float64{0.008, 0.008, 0},
		})
	}
	return rings, c
}

// square is four holes in the order of a reading's numbers: 1 top right, 2
// top left, 3 bottom left, 4 bottom right.
func square(ownU, side float64) ([]Ring, Choice) {
	h := side / 2
	return byScanner(ownU, r2.Vec{X: h, Y: h}, r2.Vec{X: -h, Y: h}, r2.Vec{X: -h, Y: -h}, r2.Vec{X: h, Y: -h})
}

func chord(t testing.TB, r *Reading, from, to int) Span {
	t.Helper()
	for _, c := range r.Chords {
		if c.From == from && c.To == to || c.From == to && c.To == from {
			return c
		}
	}
	t.Fatalf("no chord %d-%d", from, to)
	return Span{}
}

func between(from, to int, mm, u float64) Distance {
	return Distance{From: from, To: to, Value: mm, U: u, Over: Centres}
}

// A distance along x tells the scale of x and next to nothing of that of y:
// nothing but the distance is known better than before.
func TestKnownDistanceAlongOneAxis(t *testing.T) {
	rings, choice := square(0.01, 100)
	plain := mustNew(t, rings, choice, Options{})
	r := mustNew(t, rings, choice, Options{Between: []Distance{between(1, 2, 100.15, 0.025)}})
	along, across := chord(t, r, 1, 2), chord(t, r, 2, 3)
	// The weighted mean of 100.15 ± 0.025 and 100 ± hypot(0.2, 0.01·√2).
	own := math.Hypot(0.2, 0.01*math.Sqrt2)
	u := 1 / math.Sqrt(1/(0.025*0.025)+1/(own*own))
	if want := u * u * (100.15/(0.025*0.025) + 100/(own*own)); math.Abs(along.Chord-want) > 1e-9 || math.Abs(along.ChordU95-2*u) > 1e-6 {
		t.Errorf("along x: %.5f ±%.5f, want %.5f ±%.5f", along.Chord, along.ChordU95, want, 2*u)
	}
	if before := chord(t, plain, 2, 3); math.Abs(across.ChordU95-before.ChordU95) > 1e-4*before.ChordU95 || math.Abs(across.Chord-100) > 1e-3 {
		t.Errorf("across: %.4f ±%.4f, and without the distance ±%.4f", across.Chord, across.ChordU95, before.ChordU95)
	}
	// The other side along x has its own edges, and the same scale.
	if other := chord(t, r, 3, 4); math.Abs(other.Chord-100.15) > 0.01 || other.ChordU95 < 2*0.02 || other.ChordU95 > 2*math.Sqrt(0.025*0.025+4*0.01*0.01)+0.005 {
		t.Errorf("the other side: %.4f ±%.4f", other.Chord, other.ChordU95)
	}
}

// Without any scale of the source's own the distance alone gives it, in every
// direction alike.
func TestKnownDistanceWithoutScale(t *testing.T) {
	rings, choice := square(0.01, 3) // in units of the source, 40 mm each
	for i := range rings {
		rings[i].CentreCov = [2][2]float64{{1e-8, 0}, {0, 1e-8}} // 0.1 thousandth of the unit: 4 µm
		for k := range rings[i].Shared {
			rings[i].Shared[k], rings[i].SharedDiameter[k] = r2.Vec{}, 0
		}
	}
	r := mustNew(t, rings, choice, Options{NoScale: true, Between: []Distance{between(2, 1, 120, 0.025)}})
	own := 40 * 1e-4 * math.Sqrt2
	for _, c := range r.Chords {
		want, u := 120.0, math.Hypot(0.025, own*math.Sqrt2)
		switch {
		case c.From == 1 && c.To == 2:
			u = 0.025
		case c.To-c.From == 2:
			want = 120 * math.Sqrt2
			u = 0 // checked by Monte Carlo
		}
		if math.Abs(c.Chord-want) > 1e-6 || u > 0 && math.Abs(c.ChordU95-2*u) > 0.02*u {
			t.Errorf("%d-%d: %.5f ±%.5f, want %.5f ±%.5f", c.From, c.To, c.Chord, c.ChordU95, want, 2*u)
		}
	}
	if _, err := New(rings, choice, Options{NoScale: true}); err != ErrNoScale {
		t.Errorf("neither scale nor distance: %v", err)
	}
	if _, err := New(rings, choice, Options{NoScale: true, KnownPCD: 96}); err != ErrNoScale {
		t.Errorf("a known pitch circle of a free pattern: %v", err)
	}
}

// Outside and inside of one pair give the distance between centres whatever
// the edges are wrong by: half of their sum, as machinists know.
func TestOutsideAndInside(t *testing.T) {
	rings, choice := square(0.01, 100)
	one := []Distance{{From: 1, To: 2, Value: 108.5, U: 0.025, Over: Outside}}
	both := append(one, Distance{From: 1, To: 2, Value: 91.7, U: 0.025, Over: Inside})
	opts := Options{DiameterBiasU: 0.25, Between: one}
	r := mustNew(t, rings, choice, opts)
	if c := chord(t, r, 1, 2); c.ChordU95 < 0.28 {
		t.Errorf("outside over rubbed edges: %.3f ±%.3f", c.Chord, c.ChordU95)
	}
	opts.Between = both
	r = mustNew(t, rings, choice, opts)
	if c := chord(t, r, 1, 2); math.Abs(c.Chord-100.1) > 0.01 || c.ChordU95 > 2*0.025/math.Sqrt2+0.002 {
		t.Errorf("outside and inside: %.3f ±%.3f", c.Chord, c.ChordU95)
	}
	// Over pins the rubbed diameters do not matter.
	opts.Between = []Distance{{From: 1, To: 2, Value: 108.1, U: 0.025, Over: Outside, Pins: [2]float64{8, 8}}}
	r = mustNew(t, rings, choice, opts)
	if c := chord(t, r, 1, 2); math.Abs(c.Chord-100.1) > 0.01 || c.ChordU95 > 0.05 {
		t.Errorf("over pins: %.3f ±%.3f", c.Chord, c.ChordU95)
	}
}

// Stated uncertainties against drawing all errors, of the picture and of the
// calipers (JCGM 101): of a linear best estimate the scatter about the truth
// is the conditional covariance.
func TestKnownAgainstMonteCarlo(t *testing.T) {
	for _, c := range []struct {
		name string
		opts Options
	}{
		{"one", Options{Between: []Distance{between(1, 2, 0, 0.03)}}},
		{"one, no scale", Options{NoScale: true, Between: []Distance{between(1, 3, 0, 0.03)}}},
		{"three", Options{Between: []Distance{between(1, 2, 0, 0.03), between(1, 3, 0, 0.05), between(2, 5, 0, 0.02)}}},
		{"two and a pitch circle", Options{KnownPCD: 1, KnownPCDU: 0.04, Between: []Distance{between(1, 2, 0, 0.03), between(1, 4, 0, 0.03)}}},
		{"over the holes", Options{Between: []Distance{{From: 1, To: 4, U: 0.03, Over: Outside}, {From: 2, To: 5, U: 0.03, Over: Inside}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rings, choice := place(96, []float64{0.3, -0.2, 0.1, -0.4, 0.25}, 75, 135, 195, 255, 320, 10)
			truth := mustNew(t, rings, choice, Options{})
			at := func(o Options, random *rand.Rand) Options {
				o.Between = slices.Clone(o.Between)
				for i := range o.Between {
					d := &o.Between[i]
					s := chord(t, truth, d.From, d.To)
					k := known{Distance: *d}
					d.Value = s.Chord + k.side()*(truth.Holes[d.From-1].Diameter+truth.Holes[d.To-1].Diameter)/2
					if random != nil {
						d.Value += d.U * random.NormFloat64()
					}
				}
				if o.KnownPCD != 0 {
					o.KnownPCD = truth.PitchCircle.Diameter
					if random != nil {
						o.KnownPCD += o.KnownPCDU * random.NormFloat64()
					}
				}
				return o
			}
			stated := mustNew(t, rings, choice, at(c.opts, nil))
			names, centre, u95 := results(stated)
			_, want, _ := results(truth)
			squares, sums := make([]float64, len(names)), make([]float64, len(names))
			random := rand.New(rand.NewPCG(17, 4))
			const draws = 1500
			n := 0
			for range draws {
				r, err := New(drawn(random, rings), choice, at(c.opts, random))
				if err != nil {
					t.Fatal(err)
				}
				if len(r.Warnings) > 0 {
					continue // 5 % contradict the scale by chance and leave it out
				}
				n++
				_, values, _ := results(r)
				for i, v := range values {
					d := v - want[i]
					squares[i] += d * d
					sums[i] += d
				}
			}
			if n < draws*92/100 || !c.opts.NoScale && n > draws*98/100 {
				t.Errorf("%d of %d draws agree; 95 %% should", n, draws)
			}
			for i, name := range names {
				if math.Abs(centre[i]-want[i]) > 1e-6 {
					t.Errorf("%s: %.6f became %.6f by lengths that are true", name, want[i], centre[i])
				}
				got, u := math.Sqrt(squares[i]/float64(n)), u95[i]/2
				// Of draws that agree, the extreme ones are missing; 1,500
				// draws tell a standard deviation to 1.8 %.
				if got > 1.08*u+1e-7 || got < 0.83*u-1e-7 {
					t.Errorf("%s (%.4f): spread %.5f, stated standard uncertainty %.5f", name, centre[i], got, u)
				}
			}
		})
	}
}

// The same by another formula: the normal equations of all coordinates, of
// which the picture's are pseudo-observations.
func TestKnownAgainstNormalEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		plain := read(t, rings, choice, Options{})
		n := len(plain.Holes)
		from := rapid.IntRange(1, n).Draw(t, "from")
		to := (from+rapid.IntRange(1, n-1).Draw(t, "to")-1)%n + 1
		u := rapid.Float64Range(0.01, 0.3).Draw(t, "u")
		s := chord(t0(t), plain, from, to)
		// Close to what the picture says, so that one step is as good as all.
		opts := Options{Between: []Distance{between(from, to, s.Chord+1e-5, u)}}
		r := read(t, rings, choice, opts)

		p, err := gather(rings, choice)
		if err != nil {
			t.Fatal(err)
		}
		if err := p.locate(); err != nil {
			t.Fatal(err)
		}
		p.number()
		m := len(p.parts)
		sigma, _ := sourceCovariance(p.parts)
		for i := range 3 * m {
			sigma.SetSym(i, i, sigma.At(i, i)+1e-9) // a diameter may be exact
		}
		var chol mat.Cholesky
		if !chol.Factorize(sigma) {
			t.Skip("a covariance too near to singular for this formula")
		}
		info := mat.NewSymDense(3*m, nil)
		if chol.InverseTo(info) != nil {
			t.Skip("too near to singular")
		}
		a, b := from-1, to-1
		dir := r2.Unit(r2.Sub(p.parts[b].Centre, p.parts[a].Centre))
		row := mat.NewVecDense(3*m, nil)
		row.SetVec(2*a, -dir.X)
		row.SetVec(2*a+1, -dir.Y)
		row.SetVec(2*b, dir.X)
		row.SetVec(2*b+1, dir.Y)
		info.SymRankOne(info, 1/(u*u), row)
		if !chol.Factorize(info) {
			t.Skip("too near to singular")
		}
		post := mat.NewSymDense(3*m, nil)
		if chol.InverseTo(post) != nil {
			t.Skip("too near to singular")
		}
		for i := range n {
			for j := i + 1; j < n; j++ {
				v := r2.Unit(r2.Sub(p.parts[j].Centre, p.parts[i].Centre))
				want := 2 * uncertainty(post, partial{2 * i, -v.X}, partial{2*i + 1, -v.Y}, partial{2 * j, v.X}, partial{2*j + 1, v.Y})
				got := chord(t0(t), r, i+1, j+1)
				if math.Abs(got.ChordU95-want) > 1e-3*want+2e-4 {
					t.Fatalf("%d-%d: ±%.6f, by normal equations ±%.6f", i+1, j+1, got.ChordU95, want)
				}
				if before := chord(t0(t), plain, i+1, j+1); got.ChordU95 > before.ChordU95*(1+1e-6)+1e-7 {
					t.Fatalf("%d-%d is known to ±%.6f without, and to ±%.6f with one more distance", i+1, j+1, before.ChordU95, got.ChordU95)
				}
			}
		}
	})
}

// t0 lets helpers that take a testing.TB serve a property.
func t0(t *rapid.T) testing.TB { return rapidTB{TB: nil, t: t} }

type rapidTB struct {
	testing.TB
	t *rapid.T
}

func (r rapidTB) Helper()                        { r.t.Helper() }
func (r rapidTB) Fatalf(format string, a ...any) { r.t.Fatalf(format, a...) }

// The order of the distances and of the holes' names does not matter, and the
// same distance measured twice is one measured √2 times as well.
func TestKnownOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := square(0.02, 100)
		u := rapid.Float64Range(0.01, 0.1).Draw(t, "u")
		a := between(1, 2, 100+rapid.Float64Range(-0.1, 0.1).Draw(t, "a"), u)
		b := between(2, 3, 100+rapid.Float64Range(-0.1, 0.1).Draw(t, "b"), u)
		turned := between(3, 2, b.Value, u)
		x := read(t, rings, choice, Options{Between: []Distance{a, b}})
		y := read(t, rings, choice, Options{Between: []Distance{turned, a}})
		twice := read(t, rings, choice, Options{Between: []Distance{a, a}})
		a.U /= math.Sqrt2
		once := read(t, rings, choice, Options{Between: []Distance{a}})
		for i := range x.Chords {
			for _, pair := range [][2]Span{{x.Chords[i], y.Chords[i]}, {twice.Chords[i], once.Chords[i]}} {
				if math.Abs(pair[0].Chord-pair[1].Chord) > 1e-7 || math.Abs(pair[0].ChordU95-pair[1].ChordU95) > 1e-7 {
					t.Fatalf("%v and %v", pair[0], pair[1])
				}
			}
		}
	})
}

// The numbers of the holes are those without the distances, even where these
// move a hole past twelve o'clock.
func TestKnownKeepsTheNumbers(t *testing.T) {
	rings, choice := square(0.2, 100)
	a := mustNew(t, rings, choice, Options{})
	b := mustNew(t, rings, choice, Options{Between: []Distance{between(2, 3, 100.3, 0.01), between(1, 3, 141.7, 0.01)}})
	for i := range a.Holes {
		if a.Holes[i].XPx != b.Holes[i].XPx || r2.Norm(r2.Sub(r2.Vec{X: a.Holes[i].X, Y: a.Holes[i].Y}, r2.Vec{X: b.Holes[i].X, Y: b.Holes[i].Y})) > 1 {
			t.Errorf("hole %d moved from %+v to %+v", i+1, a.Holes[i], b.Holes[i])
		}
	}
}

func TestContradictions(t *testing.T) {
	// Sides of 100 and 60: 1-2 and 3-4 along x, 2-3 and 4-1 along y.
	rings, choice := byScanner(0.01, r2.Vec{X: 50, Y: 30}, r2.Vec{X: -50, Y: 30}, r2.Vec{X: -50, Y: -30}, r2.Vec{X: 50, Y: -30})
	long := math.Hypot(100, 60)
	scale := Scale{Method: "dpi of the file (PNG pHYs)"}
	for _, c := range []struct {
		name    string
		between []Distance
		noScale bool
		refused bool
		want    []string // in the error or in the only warning
	}{
		{name: "agrees", between: []Distance{between(1, 2, 100.2, 0.025)}},
		{name: "off by more than the scale allows", between: []Distance{between(1, 2, 101, 0.025)},
			want: []string{"known distance 1-2 of 101.000 mm measures 100.000 mm by the dpi of the file (PNG pHYs), 1.000 mm apart where ±0.40", "not used"}},
		{name: "swapped", refused: true, between: []Distance{between(1, 2, 60.05, 0.025)},
			want: []string{"known distance 1-2 of 60.050 mm measures 100.000 ±0.40", "it would fit 1-4, 2-3"}},
		{name: "fits nothing", refused: true, between: []Distance{between(1, 2, 80, 0.025)},
			want: []string{"fits no other pair"}},
		{name: "the scale is wrong, the distances agree", between: []Distance{between(1, 2, 110, 0.025), between(2, 3, 66, 0.025)},
			want: []string{"by the dpi of the file", "that scale is not used"}},
		{name: "one of three swapped", refused: true, between: []Distance{between(1, 2, 100.1, 0.025), between(2, 3, 60.04, 0.025), between(1, 3, 60.1, 0.025)},
			want: []string{"known distance 1-3 of 60.100 mm disagrees", "it would fit 1-4, 2-3", "standard uncertainties"}},
		{name: "a little off", between: []Distance{between(1, 2, 100.1, 0.025), between(3, 4, 100.1, 0.025), between(1, 3, long*1.001+0.5, 0.025)},
			want: []string{"known distance 1-3 of 117.2", "disagrees", "widened"}},
		{name: "two and no scale", noScale: true, refused: true, between: []Distance{between(1, 2, 100, 0.025), between(3, 4, 110, 0.025)},
			want: []string{"contradict each other on this picture", "1-2", "3-4"}},
		{name: "no such hole", refused: true, between: []Distance{between(1, 7, 100, 0.025)}, want: []string{"known distance 1-7", "numbered 1 to 4"}},
		{name: "the same hole", refused: true, between: []Distance{between(2, 2, 100, 0.025)}, want: []string{"same hole twice"}},
		{name: "too thick pins", noScale: true, refused: true, between: []Distance{{From: 1, To: 2, Value: 5, U: 0.02, Over: Outside, Pins: [2]float64{8, 8}}}, want: []string{"no room"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := New(rings, choice, Options{Between: c.between, NoScale: c.noScale, Scale: scale})
			var said string
			switch {
			case c.refused && err == nil:
				t.Fatalf("not refused: %q", r.Warnings)
			case c.refused:
				said = err.Error()
			case err != nil:
				t.Fatal(err)
			case len(c.want) == 0 && len(r.Warnings) > 0:
				t.Fatalf("warnings: %q", r.Warnings)
			case len(c.want) > 0 && len(r.Warnings) != 1:
				t.Fatalf("warnings: %q", r.Warnings)
			case len(c.want) > 0:
				said = r.Warnings[0]
			}
			for _, w := range c.want {
				if !strings.Contains(said, w) {
					t.Errorf("%q lacks %q", said, w)
				}
			}
		})
	}
}

// What the lengths tell of the source's errors is what they tell of the
// places: the pixel's way through the adjusted plane ends at the adjusted hole.
func TestAdjustmentTellsTheSharedErrors(t *testing.T) {
	rings, choice := square(1e-6, 100) // all but without errors of their own
	var a Adjustment
	r := mustNew(t, rings, choice, Options{
		Between:  []Distance{between(1, 2, 100.3, 0.01), between(2, 3, 99.9, 0.01), between(1, 3, 141.5, 0.01)},
		Adjusted: func(got Adjustment) Scale { a = got; return Scale{Method: got.Method} },
	})
	for i, h := range r.Holes {
		p := rings[i].Centre
		for k, s := range rings[i].Shared {
			p = r2.Add(p, r2.Scale(a.Shared[k], s))
		}
		if d := r2.Norm(r2.Sub(p, r2.Vec{X: h.X, Y: h.Y})); d > 1e-3 {
			t.Errorf("hole %d is at %.4f,%.4f, and by the shared errors at %v", i+1, h.X, h.Y, p)
		}
	}
	if a.Zoom != 1 || a.Shared[3] != 0 || a.Cov.At(3, 3) != 0 {
		t.Errorf("a scale was freed: %+v", a)
	}
	if len(a.Lengths) != 3 || !a.Lengths[0].Told || a.Lengths[0].Name != "known distance 1-2" || math.Abs(a.Lengths[0].Adjusted-100.3) > 0.02 {
		t.Errorf("%+v", a.Lengths)
	}
	for i := range 3 {
		if v := a.Cov.At(i, i); v <= 0 || v > 0.2 {
			t.Errorf("shared error %d has the variance %g after three good distances", i, v)
		}
	}
}

// No distances make New panic, and what it makes can be written.
func FuzzKnown(f *testing.F) {
	f.Add(1, 2, 96.0, 0.05, uint8(0), 0.0, false, 0.0)
	f.Add(3, 1, 1e-9, 1e5, uint8(1), 8.0, true, 96.0)
	f.Add(2, 6, 70.0, 0.0, uint8(2), 8.0, true, 1e-300)
	f.Fuzz(func(t *testing.T, from, to int, mm, u float64, over uint8, pin float64, noScale bool, pcd float64) {
		rings, choice := keyed()
		d := Distance{From: from, To: to, Value: mm, U: u, Over: []Over{Centres, Outside, Inside, "askew"}[over%4], Pins: [2]float64{pin, pin}}
		r, err := New(rings, choice, Options{NoScale: noScale, KnownPCD: pcd, Between: []Distance{d, between(1, 4, 95, 0.1)}})
		if err == nil {
			written(t, r)
		}
	})
}
