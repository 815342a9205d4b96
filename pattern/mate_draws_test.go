package pattern

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// uncertainJoint is a joint of which both sides are known badly, the part by a
// covariance, by a zone or by both.
func uncertainJoint(random *rand.Rand, n int, face, part, zone float64) Joint {
	j := evenJoint(n, face)
	j.Part.At = slices.Clone(j.Part.At)
	for i, p := range randomPoints(random, n, 0.3) {
		j.Part.At[i] = r2.Add(j.Part.At[i], p)
	}
	if part > 0 {
		j.Part.Cov = alike(part, n)
	}
	j.Part.Zone = zone
	return j
}

// What each says the places of a draw are off is exactly what the worst hole of
// the face and the worst of the part are off together. The search for the best
// assignment trusts it.
func TestDrawsSayHowFarOffTheyAre(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 15))
	for _, c := range []struct{ face, part, zone float64 }{
		{0.2, 0, 0}, {0.1, 0.3, 0}, {0.1, 0, 0.6}, {0.05, 0.1, 0.4},
	} {
		e := uncertainJoint(random, 5, c.face, c.part, c.zone).newEnsemble(1, 100, 3)
		most := func(now, nominal []r2.Vec) (d float64) {
			for i := range now {
				d = math.Max(d, r2.Norm(r2.Sub(now[i], nominal[i])))
			}
			return d
		}
		largest := 0.0
		e.each(func(face, part []r2.Vec, off float64) {
			a, b := most(face, e.face), most(part, e.part)
			if math.Abs(off-a-b) > 1e-12 || a == 0 || (c.part+c.zone > 0) != (b > 0) {
				t.Fatalf("%+v: said to be %g off, and %g + %g are", c, off, a, b)
			}
			largest = math.Max(largest, off)
		})
		if reach := e.reach(); math.Abs(reach-2*largest) > 1e-12 {
			t.Errorf("%+v: a reach of %g, want twice %g", c, reach, largest)
		}
	}
}

// With errors on both sides the best of all rotations counts in every draw.
func TestMisfitsWithErrorsOnBothSides(t *testing.T) {
	random := rand.New(rand.NewPCG(16, 23))
	const n = 5
	j := uncertainJoint(random, n, 0.02, 0.3, 0.5)
	e := j.newEnsemble(1, 300, 6)
	found, _, _ := j.match(e.reach())
	got := e.misfits(found)
	at := 0
	to := make([]int, n)
	e.each(func(face, part []r2.Vec, _ float64) {
		best := math.Inf(1)
		for turn := range n {
			for i := range to {
				to[i] = (i + turn) % n
			}
			p := turningOf(to, face, part, e.faceRoom, e.partRoom)
			s, _ := p.best(p.start(), 1e-9, math.Inf(1))
			best = math.Min(best, s.f)
		}
		if math.Abs(got[at]-best) > 2*drawTolerance {
			t.Errorf("draw %d: %g, want %g", at, got[at], best)
		}
		at++
	})
}

// The shortest slot is what trying one length after another finds, whichever
// way the slot runs: also where it does not run along the way that the hole is
// off; or a fiftieth of a millimetre longer, because a large turn bends the
// misfit a little.
func TestSlotLengthIsTheShortest(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 2))
	helped, hopeless := 0, 0
	for range 150 {
		n := 3 + random.IntN(6)
		part := evenRing(n, 60)
		hole := random.IntN(n)
		turn := 2 * math.Pi * random.Float64()
		away := r2.Vec{X: math.Cos(turn), Y: math.Sin(turn)}
		face := offBy(part, hole, r2.Scale(0.8+1.5*random.Float64(), away))
		room := make([]float64, n)
		for i := range room {
			room[i] = 0.15 + 0.35*random.Float64()
		}
		skew := 1.6*random.Float64() - 0.8
		toward := r2.Rotate(away, skew, r2.Vec{})
		problem := func() turning {
			return turning{to: slices.Clone(face), from: part, room: room}
		}
		fits := func(length float64) float64 {
			p := problem()
			p.to[hole] = r2.Sub(p.to[hole], r2.Scale(length, toward))
			s, _ := p.best(p.start(), 1e-7, math.Inf(1))
			return s.f
		}
		p := problem()
		got := p.slotLength(hole, toward, p.start())
		low, high, found := 0.0, 0.0, false
		for l := 0.0; l <= 6 && !found; l += 0.01 {
			if fits(l) <= 0 {
				low, high, found = l-0.01, l, true
			}
		}
		switch {
		case !found:
			hopeless++
			// A slot that just fails may be taken for one that just does.
			if !math.IsInf(got, 1) && fits(got) > 2*drawTolerance {
				t.Errorf("a slot of %g mm is said to do, and leaves %g mm", got, fits(got))
			}
		case got < low-1e-4 || got > high+0.02:
			t.Errorf("%d holes, %.0f° off the way: %g mm, and from %g to %g mm on it goes", n, skew/degree, got, low, high)
		default:
			helped++
		}
	}
	if helped < 40 || hopeless < 10 {
		t.Errorf("%d slots that help and %d that do not say little", helped, hopeless)
	}
}

// The slope by which the search for a slot's length goes is that of the misfit,
// by differences.
func TestSlotSlope(t *testing.T) {
	random := rand.New(rand.NewPCG(15, 16))
	steep := 0
	for range 200 {
		n := 3 + random.IntN(5)
		part := randomPoints(random, n, 30)
		p := turning{from: part, room: make([]float64, n)}
		for i, q := range part {
			p.to = append(p.to, r2.Add(q, randomPoints(random, 1, 1)[0]))
			p.room[i] = random.Float64()
		}
		turn := 2 * math.Pi * random.Float64()
		hole, toward := random.IntN(n), r2.Vec{X: math.Cos(turn), Y: math.Sin(turn)}
		place := p.to[hole]
		at := func(length float64) sample {
			p.to[hole] = r2.Sub(place, r2.Scale(length, toward))
			s, _ := p.best(p.start(), 1e-12, math.Inf(1))
			return s
		}
		const step = 1e-4
		before, after := at(-step), at(step)
		here := at(0)
		want := (after.f - before.f) / (2 * step)
		if math.Abs((after.f-here.f)-(here.f-before.f)) > 1e-3*step {
			continue // a kink
		}
		if got := p.slope(here, hole, toward); math.Abs(got-want) > 2e-3 {
			t.Errorf("%d holes: a slope of %g, by differences %g", n, got, want)
		}
		if math.Abs(want) > 0.05 && math.Abs(want) < 0.6 {
			steep++
		}
	}
	if steep < 20 {
		t.Errorf("%d slopes say little", steep)
	}
}
