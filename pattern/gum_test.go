package pattern

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// JCGM 100:2008 annex H.2: resistance, reactance and impedance from correlated
// means of voltage, current and phase (values from memory; the results follow
// from the inputs within the rounding of the printed figures).
func TestSimultaneousResistanceAndReactance(t *testing.T) {
	v, i, phi := 4.9990, 19.6610e-3, 1.04446
	u := []float64{0.0032, 0.0095e-3, 0.00075}
	r := [3][3]float64{{1, -0.36, 0.86}, {-0.36, 1, -0.65}, {0.86, -0.65, 1}}
	sigma := mat.NewSymDense(3, nil)
	for a := range 3 {
		for b := a; b < 3; b++ {
			sigma.SetSym(a, b, r[a][b]*u[a]*u[b])
		}
	}
	c, s := math.Cos(phi), math.Sin(phi)
	z := v / i
	got := propagate(mat.NewDense(3, 3, []float64{
		c / i, -z * c / i, -z * s,
		s / i, -z * s / i, z * c,
		1 / i, -z / i, 0,
	}), sigma)
	for k, want := range []struct{ value, got, u float64 }{{127.732, z * c, 0.071}, {219.847, z * s, 0.295}, {254.260, z, 0.236}} {
		if math.Abs(want.got-want.value) > 0.001 {
			t.Errorf("result %d is %.4f, want %.3f", k+1, want.got, want.value)
		}
		if got := math.Sqrt(got.At(k, k)); math.Abs(got-want.u) > 0.0015 {
			t.Errorf("result %d has the standard uncertainty %.4f, want %.3f", k+1, got, want.u)
		}
	}
	for _, want := range []struct {
		a, b int
		r    float64
	}{{0, 1, -0.588}, {0, 2, -0.485}, {1, 2, 0.993}} {
		if got := got.At(want.a, want.b) / math.Sqrt(got.At(want.a, want.a)*got.At(want.b, want.b)); math.Abs(got-want.r) > 0.01 {
			t.Errorf("results %d and %d are correlated by %.3f, want %.3f", want.a+1, want.b+1, got, want.r)
		}
	}
	// One result at a time says the same.
	one := []partial{{0, 1 / i}, {1, -z / i}}
	if a, b := uncertainty(sigma, one...), math.Sqrt(got.At(2, 2)); math.Abs(a-b) > 1e-12 {
		t.Errorf("the impedance's uncertainty is %v alone and %v with the others", a, b)
	}
}

func TestPropagateLess(t *testing.T) {
	sigma := mat.NewSymDense(4, []float64{4, 1, 0.5, 0, 1, 3, 0.2, 0.1, 0.5, 0.2, 2, -0.7, 0, 0.1, -0.7, 1})
	f := mat.NewDense(4, 2, []float64{1, 0, 0.3, -2, 0, 0.7, 5, 1})
	d := mat.NewDense(2, 4, []float64{0.25, 0, 0.25, 1, -1, 2, 0, 0.5})
	var j mat.Dense
	j.Mul(f, d)
	j.Scale(-1, &j)
	for i := range 4 {
		j.Set(i, i, j.At(i, i)+1)
	}
	if got, want := propagateLess(sigma, f, d), propagate(&j, sigma); !mat.EqualApprox(got, want, 1e-12) {
		t.Errorf("got\n%v\nwant\n%v", mat.Formatted(got), mat.Formatted(want))
	}
}

func TestLength(t *testing.T) {
	c := cov2{xx: 0.0004, xy: 0, yy: 0.0001}
	for _, test := range []struct{ x, y, u95 float64 }{
		{10, 0, 0.04},       // along x
		{0, 10, 0.02},       // along y
		{0, 0, 0.04},        // the worst direction
		{0.01, 0, 0.04},     //
		{0.0405, 0, 0.0405}, // not told from zero: the interval reaches it
		{0.055, 0, 0.04},
	} {
		l, u := c.length(r2.Vec{X: test.x, Y: test.y})
		if l != math.Hypot(test.x, test.y) || math.Abs(u-test.u95) > 1e-12 {
			t.Errorf("(%v, %v): %v ± %v, want ± %v", test.x, test.y, l, u, test.u95)
		}
	}
	// √χ²₂(0.95) is where 1 − exp(−k²/2) is 0.95.
	if p := 1 - math.Exp(-coverage2*coverage2/2); math.Abs(p-0.95) > 1e-5 {
		t.Errorf("a circle of %v holds %v", coverage2, p)
	}
}

// The circle that holds 95 % of the points drawn, from alike in every direction
// to known in all but one, where it is that of a normal distribution.
func TestRadius95(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 71))
	const draws = 200_000
	for _, least := range []float64{0, 0.1, 0.5, 1} {
		c := turned(1, least, 0.7)
		q, within := c.radius95(), 0
		for range draws {
			if math.Hypot(random.NormFloat64(), least*random.NormFloat64()) <= q {
				within++
			}
		}
		if share := float64(within) / draws; math.Abs(share-0.95) > 0.002 {
			t.Errorf("%g: a circle of %g holds %.2f %%", least, q, 100*share)
		}
	}
	if q := turned(1, 0, 0.7).radius95(); math.Abs(q-1.95996) > 2e-5 {
		t.Errorf("known in all directions but one: %g, want the normal distribution's 1.95996", q)
	}
}

// turned is the covariance with these standard uncertainties along directions
// that are turned by a (radians).
func turned(most, least, a float64) cov2 {
	sin, cos := math.Sincos(a)
	m, l := most*most, least*least
	return cov2{m*cos*cos + l*sin*sin, (m - l) * sin * cos, m*sin*sin + l*cos*cos}
}

// The interval of a length holds the truth wherever that lies between zero and
// far from it, and however unlike the directions are: in 95 % at zero, where the
// circle says whether it reaches down to it, in 95.45 % far off, where it is
// that of k = 2. Between, the length's distribution is Rice's.
func TestLengthCoverage(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 14))
	const draws = 20_000
	for _, truth := range []float64{0, 0.5, 1, 1.5, 2, 2.5, 3, 4, 5, 7, 20} {
		within := 0
		c := cov2{1, 0, 1}
		for range draws {
			l, u := c.length(r2.Vec{X: truth + random.NormFloat64(), Y: random.NormFloat64()})
			if math.Abs(l-truth) <= u {
				within++
			}
		}
		if share := float64(within) / draws; share < 0.943 || share > 0.972 {
			t.Errorf("a length of %g standard uncertainties: %.2f %% within its ±", truth, 100*share)
		}
	}
	for _, least := range []float64{0.2, 0.5, 0.8} { // of no length
		within := 0
		c := cov2{1, 0, least * least}
		for range draws {
			l, u := c.length(r2.Vec{X: random.NormFloat64(), Y: least * random.NormFloat64()})
			if l <= u {
				within++
			}
		}
		if share := float64(within) / draws; share < 0.944 || share > 0.956 {
			t.Errorf("no length, directions of 1 and %g: %.2f %% within its ±", least, 100*share)
		}
	}
}
