package pattern

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// needed is the smallest clearance of a joint with its places as they are.
func needed(t testing.TB, face, part []r2.Vec, flip bool) float64 {
	t.Helper()
	n := len(face)
	m, err := Mate(Joint{Face: Holes{At: face}, Part: Holes{At: part}, Bolts: nTimes(8, n), PartHoles: nTimes(9, n), Flip: flip},
		MateOptions{Draws: 100, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	return m.ClearanceNeeded
}

// chanceToGoOn is Mate's probability alone.
func chanceToGoOn(j Joint, draws int, seed uint64) chance {
	e := j.newEnsemble(1, draws, seed)
	found, _, _ := j.match(e.reach())
	return chanceOf(e.misfits(found), 0)
}

func offBy(points []r2.Vec, hole int, by r2.Vec) []r2.Vec {
	out := slices.Clone(points)
	out[hole] = r2.Add(out[hole], by)
	return out
}

// Two rings of unlike pitch circles lie best with their centres together, so
// that each hole is off by half the difference: the clearance is the
// difference itself.
func TestMateUnlikePitchCircles(t *testing.T) {
	for n := 2; n <= 12; n++ {
		if got := needed(t, evenRing(n, 96), evenRing(n, 96.7), false); math.Abs(got-0.7) > 1e-8 {
			t.Errorf("%d holes: %.10f mm, want 0.7", n, got)
		}
	}
}

// Of a square of holes one is moved along the circle by δ. By virtual work
// (forces on the holes in equilibrium that add up to 1: λ there and λ/√2 at
// 45° on each neighbour) no turn and shift can do better than
// δ/(1+√2) to the first order, and the exchange reaches it: worked by hand.
func TestMateOneHoleOff(t *testing.T) {
	const delta = 0.001
	square := evenRing(4, 96)
	want := 2 * delta / (1 + math.Sqrt2)
	if got := needed(t, offBy(square, 0, r2.Vec{Y: delta}), square, false); math.Abs(got-want) > 1e-3*want {
		t.Errorf("%.8f mm, want %.8f", got, want)
	}
	// Moved outwards by δ: the hole opposite and it share, δ/2 each at most,
	// and a shift by half of it alone reaches that.
	if got := needed(t, offBy(square, 0, r2.Vec{X: delta}), square, false); math.Abs(got-delta) > 1e-3*delta {
		t.Errorf("outwards: %.8f mm, want %.8f", got, delta)
	}
}

// Two holes in one place over two that are not make the misfit the same at
// every angle, and three that all but coincide nearly so: it is proven all the
// same, to a nanometre where the others decide nothing.
func TestMateProvesWhereHolesCoincide(t *testing.T) {
	for name, c := range map[string]struct{ face, part []r2.Vec }{
		"two in one place":            {[]r2.Vec{{X: 5}, {X: 5}, {X: -20}}, []r2.Vec{{X: 5}, {X: 45}, {X: -20}}},
		"two in one place, both ways": {[]r2.Vec{{X: 5}, {X: 5}, {X: -20, Y: 3}, {Y: 30}}, []r2.Vec{{X: 5}, {X: 35}, {X: -20}, {X: -20}}},
		"two a micrometre apart":      {[]r2.Vec{{X: 5}, {X: 5.001}, {X: -20}, {Y: 9}}, []r2.Vec{{X: 5}, {X: 45}, {X: -20}, {X: 1, Y: 9}}},
		"two a tenth apart":           {[]r2.Vec{{X: 5}, {X: 5.1}, {X: -20}, {Y: 9}}, []r2.Vec{{X: 5}, {X: 45}, {X: -20}, {X: 1, Y: 9}}},
		"three a quarter apart":       {[]r2.Vec{{X: 5}, {X: 5.25}, {X: 5.1, Y: 0.2}}, []r2.Vec{{X: 5}, {X: 30}, {X: 18, Y: 20}}},
		"three in one place":          {[]r2.Vec{{X: 5}, {X: 5}, {X: 5}}, []r2.Vec{{X: 5}, {X: 30}, {X: 18, Y: 20}}},
	} {
		n := len(c.face)
		j := Joint{Face: Holes{At: c.face}, Part: Holes{At: c.part}, Bolts: nTimes(8, n), PartHoles: nTimes(9, n)}
		found, low, whole := j.match(0)
		proven := solveTolerance * (1 + 1e-6)
		if coincide(c.face) && c.face[1] != c.face[0] {
			proven = 1e-3
		}
		if !whole || found[0].f-low > proven || low > found[0].f {
			t.Errorf("%s: %.12f reached, %.12f proven", name, found[0].f, low)
		}
		// By trying: no turn and shift is better than what is proven.
		random := rand.New(rand.NewPCG(1, 1))
		face, part := j.laid()
		fr, pr := j.rooms()
		for range 20000 {
			p := turningOf(random.Perm(n), face, part, fr, pr)
			if s := p.at(2 * math.Pi * random.Float64()); s.f < low-1e-9 {
				t.Fatalf("%s: %.9f by trying, %.9f is proven to be the least", name, s.f, low)
			}
		}
	}
}

// The fixed fastener formula H = F + 2T and the floating one H = F + T (ASME
// Y14.5, appendix on tolerancing of fasteners; from memory, common practice):
// with position tolerances of T on both sides the clearance H − F of 2T, or of
// T in both sides, always suffices, and the worst case needs all of it.
func TestFastenerFormulas(t *testing.T) {
	const tol = 0.3
	random := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		n := 2 + random.IntN(7)
		ring := evenRing(n, 80)
		off := func() []r2.Vec {
			out := slices.Clone(ring)
			for i := range out {
				sin, cos := math.Sincos(2 * math.Pi * random.Float64())
				out[i] = r2.Add(out[i], r2.Scale(tol/2, r2.Vec{X: cos, Y: sin}))
			}
			return out
		}
		if got := needed(t, off(), off(), false); got > 2*tol+1e-8 {
			t.Errorf("%d holes: %g mm needed, more than 2T", n, got)
		}
	}
	ring := evenRing(2, 80)
	wide := []r2.Vec{{X: ring[0].X + tol/2}, {X: ring[1].X - tol/2}}
	narrow := []r2.Vec{{X: ring[0].X - tol/2}, {X: ring[1].X + tol/2}}
	if got := needed(t, wide, narrow, false); math.Abs(got-2*tol) > 1e-8 {
		t.Errorf("the worst case of fixed fasteners needs %g mm, want 2T", got)
	}
	for _, c := range []struct {
		clearance float64
		goes      bool
	}{{tol + 1e-6, true}, {tol - 1e-6, false}} {
		holes := nTimes(8+c.clearance, 2)
		m, err := Mate(Joint{Face: Holes{At: wide}, Part: Holes{At: narrow}, Bolts: nTimes(8, 2), FaceHoles: holes, PartHoles: holes}, MateOptions{Draws: 100})
		if err != nil || m.Margin > 0 != c.goes || m.Fits == Proven != c.goes {
			t.Errorf("floating with %g mm: %+v, %v", c.clearance, m, err)
		}
	}
}

// What Mate finds over all orders is what all permutations give, tried one by
// one.
func TestMatchingsAgainstAllPermutations(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	var permute func(to []int, k int, do func([]int))
	permute = func(to []int, k int, do func([]int)) {
		if k == len(to) {
			do(to)
			return
		}
		for i := k; i < len(to); i++ {
			to[k], to[i] = to[i], to[k]
			permute(to, k+1, do)
			to[k], to[i] = to[i], to[k]
		}
	}
	for range 40 {
		n := 2 + random.IntN(4)
		face, part := randomPoints(random, n, 30), randomPoints(random, n, 30)
		if random.IntN(2) == 0 {
			for i, p := range face {
				part[(i+1)%n] = r2.Add(p, r2.Scale(random.Float64(), randomPoints(random, 1, 1)[0]))
			}
		}
		fr, pr := make([]float64, n), make([]float64, n)
		for i := range fr {
			fr[i], pr[i] = -4, 4.5+random.Float64()
		}
		best, near := math.Inf(1), 0
		const reach = 2
		var all []float64
		to := make([]int, n)
		for i := range to {
			to[i] = i
		}
		permute(to, 0, func(to []int) {
			p := turningOf(to, face, part, fr, pr)
			s, _ := p.best(p.start(), 1e-9, math.Inf(1))
			all = append(all, s.f)
			best = math.Min(best, s.f)
		})
		for _, f := range all {
			if f <= best+reach {
				near++
			}
		}
		found, low, whole := matchings(face, part, fr, pr, reach, 1e-9)
		if !whole || math.Abs(found[0].f-best) > 1e-8 || low > best+1e-8 || low < best-1e-8 || len(found) != near {
			t.Fatalf("%d holes: %g, proven %g, %d within reach; want %g, %d", n, found[0].f, low, len(found), best, near)
		}
	}
}

// In every draw the best of all rotations counts, also one that is not the best
// at the nominal places.
func TestMisfitsAgainstAllRotations(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	const n = 6
	j := evenJoint(n, 0.1)
	for i, p := range randomPoints(random, n, 0.3) {
		j.Face.At[i] = r2.Add(j.Face.At[i], p)
	}
	e := j.newEnsemble(1, 200, 6)
	found, _, _ := j.match(e.reach())
	got := e.misfits(found)
	at, changed := 0, 0
	to := make([]int, n)
	e.each(func(face, part []r2.Vec, _ float64) {
		best, first := math.Inf(1), 0
		for turn := range n {
			for i := range to {
				to[i] = (i + turn) % n
			}
			p := turningOf(to, face, part, e.faceRoom, e.partRoom)
			if s, _ := p.best(p.start(), 1e-9, math.Inf(1)); s.f < best {
				best, first = s.f, to[0]
			}
		}
		if math.Abs(got[at]-best) > 2*drawTolerance {
			t.Errorf("draw %d: %g, want %g", at, got[at], best)
		}
		if first != found[0].to[0] {
			changed++
		}
		at++
	})
	if changed < 10 {
		t.Errorf("only in %d draws another rotation was best", changed)
	}
}

// drawJoint makes a joint of any holes at all.
func drawJoint(t *rapid.T) Joint {
	n := rapid.IntRange(2, 7).Draw(t, "holes")
	coordinate := rapid.Float64Range(-60, 60)
	points := func(name string) []r2.Vec {
		out := make([]r2.Vec, n)
		for i := range out {
			out[i] = r2.Vec{X: coordinate.Draw(t, name), Y: coordinate.Draw(t, name)}
		}
		return out
	}
	j := Joint{Face: Holes{At: points("face")}}
	if rapid.Bool().Draw(t, "alike") {
		small := rapid.Float64Range(-0.5, 0.5)
		for _, p := range j.Face.At {
			j.Part.At = append(j.Part.At, r2.Vec{X: p.X + small.Draw(t, "dx"), Y: p.Y + small.Draw(t, "dy")})
		}
	} else {
		j.Part.At = points("part")
	}
	for range n {
		j.Bolts = append(j.Bolts, rapid.Float64Range(6, 8).Draw(t, "bolt"))
		j.PartHoles = append(j.PartHoles, rapid.Float64Range(8, 10).Draw(t, "hole"))
	}
	return j
}

// coincide says whether three holes lie within a millimetre. They turn the
// misfit of a part of which they do not into nearly the same at all angles,
// which takes more samples to prove than are taken.
func coincide(at []r2.Vec) bool {
	for i, p := range at {
		near := 0
		for k, q := range at {
			if k != i && r2.Norm(r2.Sub(p, q)) < 1 {
				near++
			}
		}
		if near > 1 {
			return true
		}
	}
	return false
}

func margin(t *rapid.T, j Joint) float64 {
	if err := j.check(); err != nil {
		t.Fatal(err)
	}
	found, low, whole := j.match(0)
	proven := 2 * solveTolerance
	if coincide(j.Face.At) || coincide(j.Part.At) {
		proven = 1e-3
	}
	if whole && found[0].f-low > proven {
		t.Fatalf("%g, and only %g proven", found[0].f, low)
	}
	return -2 * found[0].f
}

// Moving, turning, renumbering and turning over both sides changes nothing,
// and it does not matter which of the two is the part.
func TestMateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJoint(t)
		want := margin(t, j)
		n := len(j.Bolts)
		alike := func(what string, k Joint) {
			if got := margin(t, k); math.Abs(got-want) > 1e-7 {
				t.Fatalf("%s: %.9f, want %.9f", what, got, want)
			}
		}
		turn := rapid.Float64Range(-4, 4).Draw(t, "turn")
		shift := r2.Vec{X: rapid.Float64Range(-500, 500).Draw(t, "shift"), Y: 12}
		moved := j
		moved.Part.At = nil
		for _, p := range j.Part.At {
			moved.Part.At = append(moved.Part.At, r2.Add(r2.Rotate(p, turn, r2.Vec{}), shift))
		}
		alike("moved and turned", moved)

		order := rapid.Permutation(intsTo(n)).Draw(t, "order")
		again := j
		again.Part.At, again.PartHoles = nil, nil
		for _, k := range order {
			again.Part.At = append(again.Part.At, j.Part.At[k])
			again.PartHoles = append(again.PartHoles, j.PartHoles[k])
		}
		alike("renumbered", again)

		mirrored := j
		mirrored.Face.At, mirrored.Part.At = nil, nil
		for i := range n {
			mirrored.Face.At = append(mirrored.Face.At, r2.Vec{X: -j.Face.At[i].X, Y: j.Face.At[i].Y})
			mirrored.Part.At = append(mirrored.Part.At, r2.Vec{X: -j.Part.At[i].X, Y: j.Part.At[i].Y})
		}
		alike("mirrored", mirrored)
		mirrored.Face.At, mirrored.Flip = j.Face.At, true
		alike("a mirrored part turned over", mirrored)

		swapped := Joint{Face: j.Part, Part: j.Face}
		for i := range n { // the rooms stay what they were
			swapped.Bolts = append(swapped.Bolts, 20-j.PartHoles[i])
			swapped.PartHoles = append(swapped.PartHoles, 20-j.Bolts[i])
		}
		alike("the part as the face", swapped)

		larger := j
		larger.PartHoles = nil
		for _, d := range j.PartHoles {
			larger.PartHoles = append(larger.PartHoles, d+0.3)
		}
		want += 0.3
		alike("larger holes", larger)
	})
}

func intsTo(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// With two holes only their distance matters: the part goes on where the
// face's differs from the part's by no more than the clearance, and the
// distance is normal with √2 times a coordinate's uncertainty (to the first
// order; the uncertainty is a thousandth of the distance).
func TestMateProbabilityOfTwoHoles(t *testing.T) {
	phi := func(x float64) float64 { return (1 + math.Erf(x/math.Sqrt2)) / 2 }
	for _, c := range []struct{ off, u, clearance float64 }{
		{0, 0.1, 0.1}, {0, 0.1, 0.3}, {0.2, 0.1, 0.3}, {0.5, 0.1, 0.4}, {-0.3, 0.05, 0.3}, {1, 0.1, 0.3},
	} {
		j := Joint{
			Face:  Holes{At: []r2.Vec{{X: -50 - c.off/2}, {X: 50 + c.off/2}}, Cov: alike(c.u, 2)},
			Part:  Holes{At: []r2.Vec{{Y: -50}, {Y: 50}}},
			Bolts: nTimes(8, 2), PartHoles: nTimes(8+c.clearance, 2),
		}
		got := chanceToGoOn(j, 10000, 3)
		s := math.Sqrt2 * c.u
		want := phi((c.clearance-c.off)/s) - phi((-c.clearance-c.off)/s)
		if math.Abs(got.p-want) > 4*got.u {
			t.Errorf("%+v: %.4f ± %.4f, want %.4f", c, got.p, got.u, want)
		}
	}
}

// What all holes share, a part that is free to turn and shift does not feel: a
// joint covariance of shifts and turns alone leaves the fit certain, while a
// common scale counts in full.
func TestMateFeelsOnlyWhatItCannotFollow(t *testing.T) {
	n := 5
	ring := evenRing(n, 100)
	of := func(move func(r2.Vec) r2.Vec) *mat.SymDense {
		c := mat.NewSymDense(2*n, nil)
		v := mat.NewVecDense(2*n, nil)
		for i, p := range ring {
			v.SetVec(2*i, move(p).X)
			v.SetVec(2*i+1, move(p).Y)
		}
		c.SymRankOne(c, 1, v)
		return c
	}
	for _, c := range []struct {
		name string
		cov  *mat.SymDense
		want float64
		tol  float64
	}{
		{"shift", of(func(p r2.Vec) r2.Vec { return r2.Vec{X: 1, Y: 0.5} }), 1, 0},
		{"turn", of(func(p r2.Vec) r2.Vec { return r2.Vec{X: -0.001 * p.Y, Y: 0.001 * p.X} }), 1, 0},
		// Diameters spread by 0.2 mm: |d| < 0.3 is 1.5 σ.
		{"scale", of(func(p r2.Vec) r2.Vec { return r2.Scale(0.002, p) }), math.Erf(1.5 / math.Sqrt2), 0.02},
	} {
		j := Joint{Face: Holes{At: ring, Cov: c.cov}, Part: Holes{At: ring}, Bolts: nTimes(8, n), PartHoles: nTimes(8.3, n)}
		if got := chanceToGoOn(j, 4000, 1); math.Abs(got.p-c.want) > c.tol {
			t.Errorf("%s: %v, want %.4f", c.name, got, c.want)
		}
	}
}

// A position tolerance is drawn uniformly from its zone: of two holes the
// distance differs by at most T, and half the clearance of T lets about the
// share through that a sum of two such projections has (by simulation below).
func TestMateZone(t *testing.T) {
	j := evenJoint(2, 0)
	j.Face.Cov = nil
	j.Part.Zone = 0.4
	j.PartHoles = nTimes(8.41, 2)
	if c := chanceToGoOn(j, 5000, 1); c.p != 1 {
		t.Errorf("a clearance of T: %v", c)
	}
	j.PartHoles = nTimes(8.1, 2)
	random := rand.New(rand.NewPCG(9, 9))
	in, tries := 0, 200_000
	for range tries {
		x := 0.0
		for range 2 {
			for { // a point of the zone, by rejection
				a, b := 0.4*(random.Float64()-0.5), 0.4*(random.Float64()-0.5)
				if a*a+b*b <= 0.04 {
					x += a
					break
				}
			}
		}
		if math.Abs(x) <= 0.1 {
			in++
		}
	}
	want := float64(in) / float64(tries)
	if c := chanceToGoOn(j, 10000, 1); math.Abs(c.p-want) > 5*c.u {
		t.Errorf("%v, want %v", c, want)
	}
}

// The joint's uncertainty may be on either side, and turning both over changes
// nothing of it.
func TestMateSidesOfUncertainty(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	n := 5
	root := mat.NewDense(2*n, 2*n, nil)
	for i := range 2 * n {
		for k := range 2 * n {
			root.Set(i, k, 0.08*random.NormFloat64())
		}
	}
	cov := propagate(root, alike(1, n))
	ring := evenRing(n, 70)
	ring[2] = r2.Add(ring[2], r2.Vec{X: 0.3, Y: 0.2})
	base := Joint{Face: Holes{At: ring, Cov: cov}, Part: Holes{At: ring}, Bolts: nTimes(8, n), PartHoles: nTimes(8.7, n)}
	want := chanceToGoOn(base, 5000, 4)
	if want.p < 0.1 || want.p > 0.9 {
		t.Fatalf("%v says little", want)
	}
	swapped := base
	swapped.Face, swapped.Part = base.Part, base.Face
	over := swapped
	over.Flip = true
	over.Face.At = nil
	for _, p := range ring {
		over.Face.At = append(over.Face.At, r2.Vec{X: -p.X, Y: p.Y})
	}
	for name, j := range map[string]Joint{"on the part": swapped, "turned over": over} {
		if c := chanceToGoOn(j, 5000, 5); math.Abs(c.p-want.p) > 4*math.Hypot(c.u, want.u) {
			t.Errorf("%s: %v, want %v", name, c, want)
		}
	}
	if again := chanceToGoOn(base, 5000, 4); again != want {
		t.Error("the same seed gives another probability")
	}
}

// keyedFace is a ring of six with hole 4 seven degrees off.
func keyedFace(u float64) Holes {
	ring := evenRing(6, 96)
	sin, cos := math.Sincos(187 * degree)
	ring[3] = r2.Vec{X: 48 * cos, Y: 48 * sin}
	return Holes{At: ring, Cov: alike(u, 6)}
}

func TestMateVerdicts(t *testing.T) {
	j := evenJoint(6, 0.03)
	for _, c := range []struct {
		name string
		face Holes
		hole float64
		want Fits
	}{
		{"even", j.Face, 9, Proven},
		{"even, close", j.Face, 8.1, Unproven},
		{"even, too close", j.Face, 8.01, Refuted},
		{"keyed", keyedFace(0.03), 9, Refuted},
		{"keyed, huge holes", keyedFace(0.03), 14, Proven},
	} {
		j.Face, j.PartHoles = c.face, nTimes(c.hole, 6)
		m, err := Mate(j, MateOptions{Draws: 1000})
		if err != nil || m.Fits != c.want {
			t.Errorf("%s: %v, %v", c.name, m, err)
			continue
		}
		if math.Abs(m.Clearance-m.ClearanceNeeded-m.Margin) > 1e-9 || m.ClearanceNeeded99 < m.ClearanceNeeded {
			t.Errorf("%s: %+v", c.name, m)
		}
		worst := math.Inf(1)
		for _, h := range m.Holes {
			worst = math.Min(worst, h.Room-h.Off)
		}
		if math.Abs(2*worst-m.Margin) > 1e-8 {
			t.Errorf("%s: the holes have %g mm left, the margin is %g", c.name, worst, m.Margin)
		}
		if (m.Probability >= 0.99) != (len(m.Suggestions) == 0) {
			t.Errorf("%s: %v and %d suggestions", c.name, m.Probability, len(m.Suggestions))
		}
		validMating(t, c.name, m)
	}
}

// Turned over, a keyed cover does not go on, and a symmetric one does.
func TestMateOtherSide(t *testing.T) {
	ring := evenRing(6, 96)
	ring[3] = r2.Rotate(ring[3], 7*degree, r2.Vec{})
	ring[4] = r2.Rotate(ring[4], 3*degree, r2.Vec{})
	j := evenJoint(6, 0.01)
	j.Face.At, j.Part.At = ring, ring
	m, err := Mate(j, MateOptions{Draws: 200})
	if err != nil || m.Fits != Proven || m.OtherSide.GoesOn || m.OtherSide.ClearanceNeeded < 1 {
		t.Errorf("%+v, %v", m, err)
	}
	j = evenJoint(6, 0.01)
	if m, _ = Mate(j, MateOptions{Draws: 200}); !m.OtherSide.GoesOn {
		t.Errorf("%+v", m.OtherSide)
	}
}

var mateSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	return jsonschema.NewCompiler().Compile("../testdata/mate.schema.json")
})

// validMating holds what is written as JSON against its schema.
func validMating(t testing.TB, name string, m *Mating) {
	t.Helper()
	schema, err := mateSchema()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := m.WriteJSON(&b); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	document, err := jsonschema.UnmarshalJSON(&b)
	if err == nil {
		err = schema.Validate(document)
	}
	if err != nil {
		t.Errorf("%s: %v", name, err)
	}
}

func suggestion(m *Mating, kind SuggestionKind) *Suggestion {
	for i := range m.Suggestions {
		if m.Suggestions[i].Kind == kind {
			return &m.Suggestions[i]
		}
	}
	return nil
}

// Each suggestion, followed, must give what it promises.
func TestSuggestionsHold(t *testing.T) {
	j := evenJoint(6, 0.03)
	j.Face = keyedFace(0.03)
	sizes := []HoleSize{{"close", 8.4}, {"normal", 9}, {"loose", 10}, {"huge", 14}, {"vast", 20}}
	m, err := Mate(j, MateOptions{Draws: 3000, Seed: 1, Sizes: sizes})
	if err != nil || m.Fits != Refuted {
		t.Fatal(m, err)
	}
	follow := func(name string, j Joint) {
		t.Helper()
		// Other draws than those that the suggestion comes from.
		if c := chanceToGoOn(j, 5000, 77); c.p < 0.99 {
			t.Errorf("%s gives %v", name, c)
		}
	}
	for _, s := range m.Suggestions {
		// Every length of the text follows the unit, and nothing else does.
		inches := s.Words(func(mm float64) string { return fmt.Sprintf("%.4f in", mm/25.4) })
		if strings.Contains(inches, " mm") || strings.Contains(s.Text, " in;") || strings.Count(inches, " in") < strings.Count(s.Text, " mm") {
			t.Errorf("%q, in inches %q", s.Text, inches)
		}
	}
	larger := suggestion(m, Larger)
	if larger == nil || larger.Diameter != 14 {
		t.Fatalf("larger holes: %+v", larger)
	}
	bigger := j
	bigger.PartHoles = nTimes(larger.Diameter, 6)
	follow("larger holes", bigger)

	if suggestion(m, AsMeasured) == nil {
		t.Error("laying out as measured is not suggested")
	}
	copied := j
	copied.Part = Holes{At: j.Face.At}
	follow("as measured", copied)
	if made, _ := Mate(j, MateOptions{Draws: 400, Made: true}); suggestion(made, AsMeasured) != nil {
		t.Error("a part that exists is to be laid out anew")
	}

	// The keyed hole is the one to slot, along the circle; 7° of 48 mm are
	// 5.86 mm, less what the clearances give.
	slot := suggestion(m, Slot)
	if slot == nil || slot.Hole != 4 || slot.Length < 4 || slot.Length > 5.86 || !strings.Contains(slot.Text, "counter-clockwise") {
		t.Fatalf("slot: %+v", slot)
	}
	// A slot is many holes side by side, of which one must do.
	face, part := j.laid()
	faceRoom, partRoom := j.rooms()
	found, _, _ := j.match(0.1)
	sin, cos := math.Sincos(slot.TowardDeg * degree)
	goes, draws := 0, 300
	e := j.newEnsemble(1, draws, 99)
	e.each(func(face, part []r2.Vec, _ float64) {
		for _, m := range found {
			p := turningOf(m.to, face, part, faceRoom, partRoom)
			at := p.to[3]
			for s := 0.0; s <= slot.Length; s += 0.05 {
				p.to[3] = r2.Sub(at, r2.Scale(s, r2.Vec{X: cos, Y: sin}))
				if b, _ := p.best(m.theta, 1e-6, math.Inf(1)); b.f <= 0 {
					goes++
					return
				}
			}
		}
	})
	if float64(goes) < 0.97*float64(draws) {
		t.Errorf("with the slot %d of %d draws go on", goes, draws)
	}
	// And not much shorter: without errors, the shortest slot by trying.
	p := turningOf(found[0].to, face, part, faceRoom, partRoom)
	hole := 3
	l := p.slotLength(hole, r2.Vec{X: cos, Y: sin}, found[0].theta)
	for s, want := range map[float64]bool{l - 0.01: false, l + 0.001: true} {
		q := turningOf(found[0].to, face, part, faceRoom, partRoom)
		q.to[hole] = r2.Sub(q.to[hole], r2.Scale(s, r2.Vec{X: cos, Y: sin}))
		if b, _ := q.best(found[0].theta, 1e-9, math.Inf(1)); b.f <= 0 != want {
			t.Errorf("a slot of %g mm: %v, want %v (%g is the least)", s, b.f <= 0, want, l)
		}
	}
}

// Where the face is too badly known, a better measurement is what is needed.
func TestSuggestsMeasuring(t *testing.T) {
	j := evenJoint(6, 0.02)
	v := mat.NewVecDense(12, nil) // a scale that is known to 1 %
	for i, p := range j.Face.At {
		v.SetVec(2*i, 0.01*p.X)
		v.SetVec(2*i+1, 0.01*p.Y)
	}
	cov := alike(0.02, 6)
	cov.SymRankOne(cov, 1, v)
	j.Face.Cov = cov
	m, err := Mate(j, MateOptions{Draws: 2000, Made: true})
	if err != nil || m.Fits != Unproven {
		t.Fatal(m, err)
	}
	if s := suggestion(m, KnownPCD); s == nil || s.Probability < 0.99 || s.U95 > 0.06 {
		t.Errorf("calipers: %+v", s)
	}
	s := suggestion(m, MeasureMore)
	if s == nil {
		t.Fatal("a better measurement is not suggested")
	}
	factor := s.U95 / largestU95(cov, 1)
	better := j
	c := mat.NewSymDense(12, nil)
	c.ScaleSym(factor*factor, cov)
	better.Face.Cov = c
	if c := chanceToGoOn(better, 4000, 5); c.p < 0.985 {
		t.Errorf("measured to %g of the uncertainty: %v", factor, c)
	}
	c.ScaleSym(1.5*1.5*factor*factor, cov)
	if c := chanceToGoOn(better, 4000, 5); c.p > 0.99 {
		t.Errorf("half as much again would do too: %v", c)
	}
}

func TestMateRefuses(t *testing.T) {
	good := evenJoint(4, 0.1)
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		spoil func(*Joint)
		want  string
	}{
		{"unequal", func(j *Joint) { j.Part.At = evenRing(5, 96) }, "the face has 4 holes and the part 5"},
		{"empty", func(j *Joint) { j.Face.At = nil }, "without holes"},
		{"bolts", func(j *Joint) { j.Bolts = nTimes(8, 3) }, "3 bolts"},
		{"thin hole", func(j *Joint) { j.PartHoles = nTimes(7.9, 4) }, "goes through none"},
		{"thin face hole", func(j *Joint) { j.FaceHoles = nTimes(7, 4) }, "does not go through"},
		{"NaN", func(j *Joint) { j.Face.At[0].X = nan }, "cannot be at"},
		{"NaN bolt", func(j *Joint) { j.Bolts = nTimes(nan, 4) }, "cannot be NaN"},
		{"zone", func(j *Joint) { j.Part.Zone = -1 }, "position tolerance"},
		{"covariance", func(j *Joint) { j.Face.Cov = alike(1, 3) }, "covariance"},
		{"many", func(j *Joint) {
			n := MaxMateHoles + 1
			j.Face, j.Part = Holes{At: evenRing(n, 900)}, Holes{At: evenRing(n, 900)}
		}, "more than"},
	} {
		j := good
		j.Face.At = slices.Clone(good.Face.At)
		c.spoil(&j)
		if m, err := Mate(j, MateOptions{Draws: 100}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v", c.name, m, err)
		}
	}
	if _, err := Mate(good, MateOptions{Draws: 1}); err == nil {
		t.Error("one draw will do")
	}
}

// No joint at all, however odd, gives a number that JSON cannot hold or takes
// long.
func TestMateOdd(t *testing.T) {
	at := func(points ...r2.Vec) Holes { return Holes{At: points} }
	o := r2.Vec{}
	line := func(n int) []r2.Vec {
		p := make([]r2.Vec, n)
		for i := range p {
			p[i].X = float64(10 * i)
		}
		return p
	}
	grid := func(side int) []r2.Vec {
		var p []r2.Vec
		for x := range side {
			for y := range side {
				p = append(p, r2.Vec{X: float64(12 * x), Y: float64(12 * y)})
			}
		}
		return p
	}
	wide := Holes{At: grid(5), Cov: alike(3, 25)}
	for _, c := range []struct {
		name       string
		face, part Holes
	}{
		{"one hole", at(o), at(r2.Vec{X: 5})},
		{"all in one place", at(o, o, o), at(o, o, o)},
		{"all in one place, not the part", at(o, o, o), at(line(3)...)},
		{"a line", at(line(8)...), at(line(8)...)},
		{"a grid", at(grid(5)...), at(grid(5)...)},
		{"a grid that is badly known", wide, at(grid(5)...)},
		{"a line and a ring", at(line(12)...), Holes{At: evenRing(12, 96)}},
		{"a large ring", Holes{At: evenRing(60, 900), Cov: alike(0.05, 60)}, Holes{At: evenRing(60, 900)}},
		{"far away", at(r2.Vec{X: 1e6, Y: 1e6}, r2.Vec{X: 1e6, Y: -1e6}), at(o, r2.Vec{X: 1e-6})},
	} {
		n := len(c.face.At)
		m, err := Mate(Joint{Face: c.face, Part: c.part, Bolts: nTimes(8, n), PartHoles: nTimes(8.5, n)}, MateOptions{Draws: 100})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		validMating(t, c.name, m)
	}
}
