package pattern

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// anyPattern draws holes on a circle, uneven and each a little off it, of
// which some may be said to be off the circle, with a bore and errors shared
// and own. CentrePx.X holds the ring's index, to know it again in a reading.
func anyPattern(t *rapid.T) ([]Ring, Choice) {
	number := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	n := rapid.IntRange(2, 9).Draw(t, "holes")
	radius := number(20, 150, "radius")
	at := r2.Vec{X: number(-100, 100, "x"), Y: number(-100, 100, "y")}
	choice := Choice{Outer: map[int]int{}, Bore: n, Rim: -1, Circle: true}
	var rings []Ring
	for i := range n {
		choice.Holes = append(choice.Holes, i)
		deg := (float64(i) + number(0, 0.8, "place")) * 360 / float64(n)
		r := r2.Add(at, polar(radius*number(0.99, 1.01, "off"), deg))
		rings = append(rings, Ring{Centre: r, Diameter: number(3, 20, "diameter")})
		if n >= 5 && len(choice.OffCircle) < n-4 && rapid.IntRange(0, 3).Draw(t, "off circle") == 0 {
			rings[i].Centre = r2.Add(at, polar(0.8*radius, deg))
			choice.OffCircle = append(choice.OffCircle, i)
		}
	}
	rings = append(rings, Ring{Centre: r2.Add(at, r2.Vec{X: number(-1, 1, "bx"), Y: number(-1, 1, "by")}), Diameter: radius})
	terms := rapid.IntRange(0, 3).Draw(t, "terms")
	for i := range rings {
		r := &rings[i]
		a, b, c := number(0.001, 0.03, "ux"), number(-0.9, 0.9, "r"), number(0.001, 0.03, "uy")
		r.CentreCov = [2][2]float64{{a * a, a * b * c}, {a * b * c, c * c}}
		r.DiameterU = number(0, 0.1, "ud")
		r.ID, r.CentrePx.X, r.RimSeen = i, float64(i), 1
		for range terms {
			r.Shared = append(r.Shared, r2.Vec{X: number(-0.2, 0.2, "sx"), Y: number(-0.2, 0.2, "sy")})
			r.SharedDiameter = append(r.SharedDiameter, number(-0.1, 0.1, "sd"))
		}
	}
	return rings, choice
}

// moved returns the rings after x → A x + b.
func moved(rings []Ring, a [2][2]float64, b r2.Vec) []Ring {
	turn := func(v r2.Vec) r2.Vec {
		return r2.Vec{X: a[0][0]*v.X + a[0][1]*v.Y, Y: a[1][0]*v.X + a[1][1]*v.Y}
	}
	zoom := math.Sqrt(math.Abs(a[0][0]*a[1][1] - a[0][1]*a[1][0]))
	out := slices.Clone(rings)
	for i := range out {
		r := &out[i]
		r.Centre = r2.Add(turn(r.Centre), b)
		r.Diameter *= zoom
		r.DiameterU *= zoom
		var full mat.Dense
		m := mat.NewDense(2, 2, []float64{a[0][0], a[0][1], a[1][0], a[1][1]})
		full.Product(m, mat.NewDense(2, 2, []float64{r.CentreCov[0][0], r.CentreCov[0][1], r.CentreCov[1][0], r.CentreCov[1][1]}), m.T())
		off := (full.At(0, 1) + full.At(1, 0)) / 2
		r.CentreCov = [2][2]float64{{full.At(0, 0), off}, {off, full.At(1, 1)}}
		r.Shared, r.SharedDiameter = slices.Clone(r.Shared), slices.Clone(r.SharedDiameter)
		for k := range r.Shared {
			r.Shared[k] = turn(r.Shared[k])
			r.SharedDiameter[k] *= zoom
		}
	}
	return out
}

// facts are what a reading says that no move of the whole face changes,
// named by the rings instead of by the reading's numbers: lengths, the angle
// from one hole to another, and all their uncertainties.
func facts(r *Reading, mirrored bool) map[[3]int]float64 {
	f := map[[3]int]float64{}
	ring := map[int]int{}
	for _, h := range r.Holes {
		ring[h.ID] = int(h.XPx)
		f[[3]int{0, int(h.XPx), 0}] = h.Diameter
		f[[3]int{0, int(h.XPx), 1}] = h.DiameterU95
		f[[3]int{0, int(h.XPx), 2}] = math.Hypot(h.X, h.Y)
		f[[3]int{0, int(h.XPx), 3}] = math.Hypot(h.XU95, h.YU95)
	}
	spans := func(kind int, list []Span) {
		for _, s := range list {
			from, to := ring[s.From], ring[s.To]
			if kind == 2 && from > to || kind == 1 && mirrored {
				from, to = to, from
			}
			key := 10*kind + from
			f[[3]int{key, to, 0}] = s.Chord
			f[[3]int{key, to, 1}] = s.ChordU95
			if s.AngleDeg != nil {
				f[[3]int{key, to, 2}] = *s.AngleDeg
				f[[3]int{key, to, 3}] = *s.AngleU95Deg
			}
		}
	}
	spans(1, r.Gaps)
	spans(2, r.Chords)
	f[[3]int{-1, 0, 0}] = r.PitchCircle.Diameter
	f[[3]int{-1, 0, 1}] = r.PitchCircle.DiameterU95
	f[[3]int{-1, 0, 2}] = r.PitchCircle.RMS
	f[[3]int{-1, 0, 3}] = *r.Bore.Offset
	f[[3]int{-1, 0, 4}] = *r.Bore.OffsetU95
	return f
}

// settled is how far, in units of a result, two fits of the same holes may
// differ: a sum of squares cannot be told from its minimum closer than about
// the root of the rounding error, here some 1e-7 mm (0.1 nm).
const settled = 1e-6

func same(t *rapid.T, want, got map[[3]int]float64, factor func(key [3]int) float64) {
	t.Helper()
	if len(want) != len(got) {
		t.Fatalf("%d facts became %d", len(want), len(got))
	}
	for key, w := range want {
		w *= factor(key)
		if g, ok := got[key]; !ok || math.Abs(g-w) > settled*(1+math.Abs(w)) {
			t.Fatalf("fact %v: %v became %v", key, w, g)
		}
	}
}

func unchanged([3]int) float64 { return 1 }

func read(t *rapid.T, rings []Ring, choice Choice, opts Options) *Reading {
	t.Helper()
	r, err := New(rings, choice, opts)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestTurningTheFace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		deg := rapid.Float64Range(0, 360).Draw(t, "turn")
		c, s := math.Cos(deg*degree), math.Sin(deg*degree)
		turned := moved(rings, [2][2]float64{{c, -s}, {s, c}}, r2.Vec{X: 30, Y: -7})
		before, after := read(t, rings, choice, Options{}), read(t, turned, choice, Options{})
		same(t, facts(before, false), facts(after, false), unchanged)

		// The same hole at 0° turns with the face.
		for _, h := range after.Holes {
			if h.XPx == before.Holes[0].XPx {
				after = read(t, turned, choice, Options{Zero: h.ID})
			}
		}
		if d := math.Mod(*after.TurnDeg-*before.TurnDeg-deg+720+180, 360) - 180; math.Abs(d) > settled {
			t.Fatalf("turned by %v°, the reading says %v° → %v°", deg, *before.TurnDeg, *after.TurnDeg)
		}
	})
}

func TestMirroringTheFace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		mirror := moved(rings, [2][2]float64{{-1, 0}, {0, 1}}, r2.Vec{X: 12})
		before, after := read(t, rings, choice, Options{}), read(t, mirror, choice, Options{})
		same(t, facts(before, false), facts(after, true), unchanged)
	})
}

func TestAnotherUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		k := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		after := read(t, moved(rings, [2][2]float64{{k, 0}, {0, k}}, r2.Vec{}), choice, Options{})
		same(t, facts(read(t, rings, choice, Options{}), false), facts(after, false), func(key [3]int) float64 {
			if key[0] >= 10 && key[2] >= 2 { // an angle
				return 1
			}
			return k
		})
	})
}

func TestOrderOfTheRings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		before := read(t, rings, choice, Options{})
		order := rapid.Permutation(slices.Clone(choice.Holes)).Draw(t, "order")
		shuffled := slices.Clone(rings)
		place := map[int]int{}
		for to, from := range order {
			shuffled[to] = rings[from]
			place[from] = to
		}
		other := choice
		other.OffCircle = nil
		for _, i := range choice.OffCircle {
			other.OffCircle = append(other.OffCircle, place[i])
		}
		after := read(t, shuffled, other, Options{})
		same(t, facts(before, false), facts(after, false), unchanged)
		for i, h := range before.Holes {
			if h.XPx != after.Holes[i].XPx {
				t.Fatalf("hole %d is another one", h.ID)
			}
		}
	})
}

func TestNumbering(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		r := read(t, rings, choice, Options{})
		if !r.Holes[0].OnCircle {
			t.Fatal("hole 1 is not on the circle")
		}
		fromTwelve := func(h Hole) float64 { return math.Abs(math.Atan2(h.X, h.Y)) }
		for i, h := range r.Holes {
			if h.OnCircle && fromTwelve(h) < fromTwelve(r.Holes[0])-1e-9 {
				t.Fatalf("hole %d is nearer to twelve o'clock than hole 1", h.ID)
			}
			if i > 0 && *h.AngleDeg < *r.Holes[i-1].AngleDeg {
				t.Fatalf("hole %d at %v° follows one at %v°", h.ID, *h.AngleDeg, *r.Holes[i-1].AngleDeg)
			}
		}
		turn := 0.0
		for _, g := range r.Gaps {
			turn += *g.AngleDeg
		}
		if math.Abs(turn-360) > 1e-9 {
			t.Fatalf("the gaps add up to %v°", turn)
		}
	})
}

// Any hole may be at 0°: its own angle is certain, the directions stay.
func TestZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		before := read(t, rings, choice, Options{})
		zero := rapid.IntRange(1, len(rings)-1).Draw(t, "zero")
		after := read(t, rings, choice, Options{Zero: zero})
		h := after.Holes[zero-1]
		if *h.AngleDeg != 0 || *h.AngleU95Deg != 0 {
			t.Fatalf("the hole at 0° is at %v° ± %v°", *h.AngleDeg, *h.AngleU95Deg)
		}
		for i, h := range after.Holes {
			was := math.Mod(*before.TurnDeg+*before.Holes[i].AngleDeg, 360)
			is := math.Mod(*after.TurnDeg+*h.AngleDeg, 360)
			if d := math.Abs(was - is); math.Min(d, 360-d) > 1e-9 || h.ID != i+1 || h.X != before.Holes[i].X {
				t.Fatalf("hole %d moved from %v° to %v°", h.ID, was, is)
			}
		}
	})
}

// withScale adds an error of the scale, about any point, that all rings share.
func withScale(rings []Ring, u float64, about r2.Vec) []Ring {
	out := slices.Clone(rings)
	for i, r := range out {
		out[i].Shared = append(slices.Clone(r.Shared), r2.Scale(u, r2.Sub(r.Centre, about)))
		out[i].SharedDiameter = append(slices.Clone(r.SharedDiameter), u*r.Diameter)
	}
	return out
}

// An error of the scale widens chords and the pitch circle by its share and
// leaves the angles as they are.
func TestScaleErrorIsNotFeltByAngles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		u := rapid.Float64Range(0, 0.02).Draw(t, "u")
		scaled := withScale(rings, u, r2.Vec{X: rapid.Float64Range(-300, 300).Draw(t, "about"), Y: 20})
		before, after := read(t, rings, choice, Options{}), read(t, scaled, choice, Options{})
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > settled*(1+want) {
				t.Fatalf("%s: ± %v, want %v", what, got, want)
			}
		}
		for i, h := range after.Holes {
			near("angle", *h.AngleU95Deg, *before.Holes[i].AngleU95Deg)
		}
		for i, g := range after.Gaps {
			near("gap", *g.AngleU95Deg, *before.Gaps[i].AngleU95Deg)
		}
		for i, c := range after.Chords {
			if c.Chord > 1 {
				near("chord", c.ChordU95, math.Hypot(before.Chords[i].ChordU95, 2*u*c.Chord))
			}
		}
		d := after.PitchCircle.Diameter
		near("PCD", after.PitchCircle.DiameterU95, math.Hypot(before.PitchCircle.DiameterU95, 2*u*d))
	})
}

// A known pitch circle gives a source without a scale one, whatever its
// millimetres are: nothing of them is left, and the angles are as before.
func TestKnownPitchCircleGivesTheScale(t *testing.T) {
	const left = 1e-5 // of a scale that is only very uncertain, and not wholly unknown
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		k := rapid.Float64Range(0.1, 10).Draw(t, "unit")
		other := moved(rings, [2][2]float64{{k, 0}, {0, k}}, r2.Vec{X: 40})
		plain := read(t, rings, choice, Options{})
		opts := Options{KnownPCD: plain.PitchCircle.Diameter, KnownPCDU: rapid.SampledFrom([]float64{0, 0.001, 0.03, 0.1}).Draw(t, "u"), NoScale: true}
		a, b := read(t, rings, choice, opts), read(t, other, choice, opts)
		fa, fb := facts(a, false), facts(b, false)
		for key, w := range fa {
			if g := fb[key]; math.Abs(g-w) > left*(1+math.Abs(w)) {
				t.Fatalf("fact %v: %v became %v", key, w, g)
			}
		}
		if math.Abs(b.PitchCircle.DiameterU95-2*opts.KnownPCDU) > left || math.Abs(b.PitchCircle.Diameter-opts.KnownPCD) > left {
			t.Fatalf("the known PCD %v ± %v is stated as %v ± %v", opts.KnownPCD, 2*opts.KnownPCDU, b.PitchCircle.Diameter, b.PitchCircle.DiameterU95)
		}
		for i, h := range b.Holes {
			if d := math.Abs(*h.AngleDeg - *plain.Holes[i].AngleDeg); math.Min(d, 360-d) > left || math.Abs(*h.AngleU95Deg-*plain.Holes[i].AngleU95Deg) > left*(1+*h.AngleU95Deg) {
				t.Fatalf("hole %d's angle %v ± %v became %v ± %v", h.ID, *plain.Holes[i].AngleDeg, *plain.Holes[i].AngleU95Deg, *h.AngleDeg, *h.AngleU95Deg)
			}
		}
	})
}

// Everything else follows from the coordinates and their covariance alone, as
// a reader of the file may do it.
func TestCovarianceIsEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rings, choice := anyPattern(t)
		r := read(t, rings, choice, Options{})
		var holes []part
		var on []r2.Vec
		for _, h := range r.Holes {
			holes = append(holes, part{Ring: Ring{Centre: r2.Vec{X: h.X, Y: h.Y}}, on: h.OnCircle})
			if h.OnCircle {
				on = append(on, r2.Vec{X: h.X, Y: h.Y})
			}
		}
		c, err := pitchCircle(on)
		if err != nil {
			t.Fatal(err)
		}
		if r2.Norm(c.Centre) > settled || math.Abs(2*c.Radius-r.PitchCircle.Diameter) > settled {
			t.Fatalf("the coordinates' circle is %+v", c)
		}
		jac, err := pitchCircleJacobian(c, holes)
		if err != nil {
			t.Fatal(err)
		}
		n := 2 * len(holes)
		sigma := propagate(jac, mat.NewSymDense(n, slices.Clone(r.CovarianceMM2)))
		if got := 2 * math.Sqrt(sigma.At(2, 2)); math.Abs(got-r.PitchCircle.DiameterU95) > 1e-6*got {
			t.Fatalf("PCD ± %v from the covariance, ± %v stated", got, r.PitchCircle.DiameterU95)
		}
		// The origin is the circle's centre: it has no uncertainty of its own.
		if sigma.At(0, 0)+sigma.At(1, 1) > 1e-9*sigma.At(2, 2) {
			t.Fatalf("the origin's variance is %v", sigma.At(0, 0))
		}
	})
}

func TestAnyPatternMakesAValidDocument(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rings, choice := anyPattern(rt)
		if rapid.Bool().Draw(rt, "free") {
			choice = Choice{Holes: choice.Holes, Bore: choice.Bore, Rim: -1}
		}
		written(t, read(rt, rings, choice, Options{}))
	})
}
