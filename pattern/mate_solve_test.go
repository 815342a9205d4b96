package pattern

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

func misfit(to, from []r2.Vec, room []float64, theta float64, t r2.Vec) float64 {
	worst := math.Inf(-1)
	sin, cos := math.Sincos(theta)
	for i, q := range from {
		worst = math.Max(worst, math.Hypot(to[i].X-cos*q.X+sin*q.Y-t.X, to[i].Y-sin*q.X-cos*q.Y-t.Y)-room[i])
	}
	return worst
}

func randomPoints(random *rand.Rand, n int, size float64) []r2.Vec {
	p := make([]r2.Vec, n)
	for i := range p {
		p[i] = r2.Vec{X: size * random.NormFloat64(), Y: size * random.NormFloat64()}
	}
	return p
}

// The smallest enclosing circle against its own optimality conditions: the
// point reaches the value, and the weights prove that nothing is lower.
func TestEncloseIsOptimal(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		n := 1 + random.IntN(9)
		v := randomPoints(random, n, 1)
		room := make([]float64, n)
		for i := range room {
			switch random.IntN(3) {
			case 0:
				room[i] = random.Float64()
			case 1:
				room[i] = 0.25
			}
			if i > 0 && random.IntN(8) == 0 {
				v[i] = v[i-1]
			}
		}
		at, f, s := enclose(v, room)
		value := math.Inf(-1)
		for i := range v {
			value = math.Max(value, math.Hypot(v[i].X-at.X, v[i].Y-at.Y)-room[i])
		}
		var sum r2.Vec
		low, weights := 0.0, 0.0
		for k := range s.n {
			i := s.at[k]
			sum = r2.Add(sum, r2.Scale(s.weight[k], s.unit[k]))
			low += s.weight[k] * (r2.Dot(s.unit[k], v[i]) - room[i])
			weights += s.weight[k]
			if s.weight[k] < 0 || r2.Norm(s.unit[k]) > 1+1e-12 {
				t.Fatalf("weight %g of a vector of length %g", s.weight[k], r2.Norm(s.unit[k]))
			}
		}
		if math.Abs(value-f) > 1e-12 || math.Abs(low-f) > 1e-9 || r2.Norm(sum) > 1e-9 || math.Abs(weights-1) > 1e-12 {
			t.Fatalf("%v less %v: %g claimed, %g reached, %g proven; Σλu = %v", v, room, f, value, low, sum)
		}
	}
}

func TestTurnAgainstGrid(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	evals := 0
	for range 300 {
		n := 2 + random.IntN(6)
		from := randomPoints(random, n, 50)
		noise := math.Pow(10, 3*random.Float64()-1)
		turn := 2 * math.Pi * random.Float64()
		sin, cos := math.Sincos(turn)
		to := make([]r2.Vec, n)
		room := make([]float64, n)
		for i, q := range from {
			to[i] = r2.Vec{X: cos*q.X - sin*q.Y + noise*random.NormFloat64(), Y: sin*q.X + cos*q.Y + noise*random.NormFloat64()}
			room[i] = random.Float64()
		}
		p := turning{to: to, from: from, room: room}
		s, low := p.best(p.start(), 1e-9, math.Inf(1))
		evals += len(p.samples)
		if got := misfit(to, from, room, s.theta, s.shift); math.Abs(got-s.f) > 1e-9 || s.f-low > 1e-9 || low > s.f {
			t.Fatalf("%g claimed, %g reached, %g proven", s.f, got, low)
		}
		for k := range 720 {
			g := p.at(2 * math.Pi * float64(k) / 720)
			if g.f < s.f-1e-9 {
				t.Fatalf("%g at %g, less than %g", g.f, g.theta, s.f)
			}
			if c := s.cut.at(g.theta); c > g.f+1e-9 {
				t.Fatalf("cut %g above %g", c, g.f)
			}
		}
		for range 200 {
			a := s.theta + 0.01*random.NormFloat64()
			at := r2.Vec{X: s.shift.X + noise*random.NormFloat64(), Y: s.shift.Y + noise*random.NormFloat64()}
			if g := misfit(to, from, room, a, at); g < low-1e-9 {
				t.Fatalf("%g found by trying, less than the proven %g", g, low)
			}
		}
	}
	t.Logf("%.1f angles looked at on average", float64(evals)/300)
}

// What lowestOf proves of a stretch of angles is never above the misfit there,
// and of two holes it is exact.
func TestLowestOfIsABound(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 28))
	for range 3000 {
		n := 2 + random.IntN(4)
		spread := math.Pow(10, 3*random.Float64()-2) // 0.01 to 10 mm
		p := turning{to: randomPoints(random, n, spread), from: randomPoints(random, n, 20), room: make([]float64, n)}
		for i := range p.room {
			p.room[i] = random.Float64()
		}
		from := 2 * math.Pi * random.Float64()
		to := from + 2*math.Pi*random.Float64()
		f, theta := p.lowestOf(p.at(from+(to-from)*random.Float64()).on, from, to)
		if theta < from || theta > to {
			t.Fatalf("the bound lies at %g, outside of %g to %g", theta, from, to)
		}
		least := math.Inf(1)
		for k := range 101 {
			least = math.Min(least, p.at(from+(to-from)*float64(k)/100).f)
		}
		if f > least+1e-9 {
			t.Fatalf("%d holes within %g mm: %g is proven, and %g reached", n, spread, f, least)
		}
		if s := p.at(theta); n == 2 && s.on.n == 2 && math.Abs(f-s.f) > 1e-9 {
			t.Fatalf("two holes: %g is proven, and %g the least", f, s.f)
		}
	}
}
