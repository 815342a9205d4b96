package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// tilted is a plane seen at an angle: a homography with eight parameters that
// are known with a joint covariance. No scan gives such a plane, but a
// photograph will, and all that Plane promises must hold for it.
func tilted(t rapid.TB) *Plane {
	names := []string{"a", "b", "c", "d", "e", "f", "g", "h"}
	params := []float64{0.12, 0.01, -30, -0.008, -0.11, 40, 2e-5, -3e-5}
	size := []float64{1e-4, 1e-4, 0.05, 1e-4, 1e-4, 0.05, 1e-8, 1e-8}
	random := rand.New(rand.NewPCG(5, 8))
	half := mat.NewDense(8, 8, nil)
	for i := range 8 {
		for j := range 8 {
			half.Set(i, j, size[i]*random.NormFloat64())
		}
	}
	var full mat.Dense
	full.Mul(half, half.T())
	cov := mat.NewSymDense(8, nil)
	for i := range 8 {
		for j := i; j < 8; j++ {
			cov.SetSym(i, j, full.At(i, j))
		}
	}
	p, err := newPlane("a tilted plane", names, params, cov, func(v []float64, px r2.Vec) r2.Vec {
		w := v[6]*px.X + v[7]*px.Y + 1
		return r2.Vec{X: (v[0]*px.X + v[1]*px.Y + v[2]) / w, Y: (v[3]*px.X + v[4]*px.Y + v[5]) / w}
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func scan(t rapid.TB, dpiX, dpiY, u float64) *Plane {
	t.Helper()
	p, err := Scan("dpi as given", [2]float64{dpiX, dpiY}, u)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func anyPlane(t *rapid.T) *Plane {
	var p *Plane
	if rapid.Bool().Draw(t, "tilted") {
		p = tilted(t)
	} else {
		p = scan(t, rapid.Float64Range(50, 2400).Draw(t, "dpi x"), rapid.Float64Range(50, 2400).Draw(t, "dpi y"), rapid.Float64Range(0, 0.02).Draw(t, "u"))
	}
	if rapid.Bool().Draw(t, "mirrored") {
		p = p.Mirrored()
	}
	return p
}

func anyPixel(t *rapid.T, name string) r2.Vec {
	return r2.Vec{X: rapid.Float64Range(0, 5000).Draw(t, name+" x"), Y: rapid.Float64Range(0, 5000).Draw(t, name+" y")}
}

// An inch is 25.4 mm (international yard and pound agreement of 1959; from
// memory), and y goes up on the face and down in the picture.
func TestScanOfAnInch(t *testing.T) {
	p := scan(t, 300, 600, 0.002)
	for _, c := range []struct{ px, mm r2.Vec }{
		{r2.Vec{}, r2.Vec{}},
		{r2.Vec{X: 300}, r2.Vec{X: 25.4}},
		{r2.Vec{Y: 600}, r2.Vec{Y: -25.4}},
		{r2.Vec{X: 150, Y: 1200}, r2.Vec{X: 12.7, Y: -50.8}},
	} {
		if off := r2.Norm(r2.Sub(p.MM(c.px), c.mm)); off > 1e-12 {
			t.Errorf("%v px is at %v mm, want %v", c.px, p.MM(c.px), c.mm)
		}
	}
	if x, y := p.MMPerPx(r2.Vec{X: 77, Y: 88}); math.Abs(x-25.4/300) > 1e-12 || math.Abs(y-25.4/600) > 1e-12 {
		t.Errorf("%g and %g mm per px", x, y)
	}
	if p.URel != 0.002 {
		t.Errorf("relative uncertainty %g", p.URel)
	}
}

func TestScanRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		dpi [2]float64
		u   float64
	}{
		{[2]float64{0, 300}, 0.002}, {[2]float64{300, 0}, 0.002}, {[2]float64{-300, 300}, 0.002},
		{[2]float64{nan, 300}, 0.002}, {[2]float64{300, inf}, 0.002},
		{[2]float64{300, 300}, -0.001}, {[2]float64{300, 300}, nan}, {[2]float64{300, 300}, inf}, {[2]float64{300, 300}, 0.6},
	} {
		if _, err := Scan("", c.dpi, c.u); err == nil {
			t.Errorf("%v dpi with %g was taken", c.dpi, c.u)
		}
	}
}

// A scale without uncertainty shares no error.
func TestExactScale(t *testing.T) {
	for _, s := range scan(t, 300, 300, 0).Shared(r2.Vec{X: 1000, Y: 2000}) {
		if r2.Norm(s) != 0 {
			t.Errorf("shares %v mm", s)
		}
	}
}

// The outer products of the shared displacements of two points add up to
// their covariance J Σ J'ᵀ (JCGM 102:2011 clause 6.2.1).
func TestSharedIsTheCovariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlane(t)
		a, b := anyPixel(t, "a"), anyPixel(t, "b")
		sa, sb := p.Shared(a), p.Shared(b)
		var want mat.Dense
		want.Product(p.ByParams(a), p.Cov, p.ByParams(b).T())
		var got [2][2]float64
		for k := range sa {
			got[0][0] += sa[k].X * sb[k].X
			got[0][1] += sa[k].X * sb[k].Y
			got[1][0] += sa[k].Y * sb[k].X
			got[1][1] += sa[k].Y * sb[k].Y
		}
		size := 1e-30
		for k := range sa {
			size += r2.Norm2(sa[k]) + r2.Norm2(sb[k])
		}
		for i := range 2 {
			for j := range 2 {
				if math.Abs(got[i][j]-want.At(i, j)) > 1e-9*size {
					t.Fatalf("covariance %d,%d of %v and %v: %g, want %g", i, j, a, b, got[i][j], want.At(i, j))
				}
			}
		}
	})
}

// What the terms say of a pair of points, drawing the parameters says too
// (JCGM 101). 4,000 draws tell a standard deviation to 1.1 %.
func TestSharedAgainstMonteCarlo(t *testing.T) {
	const draws = 4000
	a, b := r2.Vec{X: 700, Y: 300}, r2.Vec{X: 2100, Y: 1900}
	for name, p := range map[string]*Plane{"scan": scan(t, 300, 300, 0.002), "coarse scan from behind": scan(t, 100, 150, 0.01).Mirrored(), "tilted": tilted(t)} {
		// What a chord between the points may be wrong by.
		at := r2.Sub(p.MM(b), p.MM(a))
		along := r2.Unit(at)
		want := 0.0
		sa, sb := p.Shared(a), p.Shared(b)
		for k := range sa {
			d := r2.Dot(along, r2.Sub(sb[k], sa[k]))
			want += d * d
		}
		want = math.Sqrt(want)

		var l mat.Cholesky
		if !l.Factorize(p.Cov) {
			t.Fatal(name)
		}
		var lower mat.TriDense
		l.LTo(&lower)
		random := rand.New(rand.NewPCG(1, 9))
		n := len(p.Params)
		squares := 0.0
		for range draws {
			z := mat.NewVecDense(n, nil)
			for i := range n {
				z.SetVec(i, random.NormFloat64())
			}
			var e mat.VecDense
			e.MulVec(&lower, z)
			params := make([]float64, n)
			for i := range n {
				params[i] = p.Params[i] + e.AtVec(i)
			}
			d := r2.Norm(r2.Sub(p.at(params, b), p.at(params, a))) - r2.Norm(at)
			squares += d * d
		}
		if got := math.Sqrt(squares / draws); math.Abs(got-want) > 0.05*want {
			t.Errorf("%s: the length of %.1f mm spreads by %.5f mm, stated %.5f", name, r2.Norm(at), got, want)
		}
	}
}

// The uncertainty of the scale is what a length's is when it runs midway
// between the axes, where the independent errors of both share in it.
func TestScanLengths(t *testing.T) {
	const u = 0.002
	p := scan(t, 300, 300, u)
	rel := func(dx, dy float64) float64 {
		a, b := r2.Vec{X: 500, Y: 800}, r2.Vec{X: 500 + dx, Y: 800 + dy}
		along := r2.Unit(r2.Sub(p.MM(b), p.MM(a)))
		sum := 0.0
		sa, sb := p.Shared(a), p.Shared(b)
		for k := range sa {
			d := r2.Dot(along, r2.Sub(sb[k], sa[k]))
			sum += d * d
		}
		return math.Sqrt(sum) / r2.Norm(r2.Sub(p.MM(b), p.MM(a)))
	}
	const axis, both = u, u / math.Sqrt2
	for _, c := range []struct{ dx, dy, want float64 }{
		{1000, 0, axis}, {0, 1000, axis},
		{700, 700, math.Hypot(both, shearU/2)}, {700, -700, math.Hypot(both, shearU/2)},
	} {
		if got := rel(c.dx, c.dy); math.Abs(got-c.want) > 1e-6*c.want {
			t.Errorf("along %g, %g px: relative uncertainty %.6f, want %.6f", c.dx, c.dy, got, c.want)
		}
	}
}

func TestPxIsTheInverseOfMM(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlane(t)
		px, start := anyPixel(t, "px"), anyPixel(t, "start")
		got, ok := p.Px(p.MM(px), start)
		if !ok || r2.Norm(r2.Sub(got, px)) > 1e-6 {
			t.Fatalf("%v px came back as %v (%v)", px, got, ok)
		}
	})
}

func TestPxWhereThereIsNone(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	p := scan(t, 300, 300, 0.002)
	for _, mm := range []r2.Vec{{X: nan}, {Y: nan}, {X: inf}, {Y: -inf}, {X: nan, Y: inf}} {
		if px, ok := p.Px(mm, r2.Vec{}); ok {
			t.Errorf("%v mm is at %v px", mm, px)
		}
	}
	flat, err := newPlane("no plane", nil, nil, nil, func([]float64, r2.Vec) r2.Vec { return r2.Vec{X: 1} })
	if err != nil {
		t.Fatal(err)
	}
	if px, ok := flat.Px(r2.Vec{X: 3}, r2.Vec{}); ok {
		t.Errorf("a plane of one point has %v", px)
	}
	if s := flat.Shared(r2.Vec{}); len(s) != 0 {
		t.Errorf("a plane without parameters shares %v", s)
	}
}

// From behind, right is left: places and their errors alike; and twice is not
// at all.
func TestMirrored(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, px := anyPlane(t), anyPixel(t, "px")
		m := p.Mirrored()
		flip := func(v r2.Vec) r2.Vec { return r2.Vec{X: -v.X, Y: v.Y} }
		if m.MM(px) != flip(p.MM(px)) || m.Mirrored().MM(px) != p.MM(px) {
			t.Fatalf("%v is at %v, and mirrored at %v", px, p.MM(px), m.MM(px))
		}
		a, b := p.Shared(px), m.Shared(px)
		for k := range a {
			if r2.Norm(r2.Sub(flip(a[k]), b[k])) > 1e-9*r2.Norm(a[k]) {
				t.Fatalf("error %d moves %v, mirrored %v", k, a[k], b[k])
			}
		}
		ax, ay := p.MMPerPx(px)
		if bx, by := m.MMPerPx(px); math.Abs(ax-bx) > 1e-9*ax || math.Abs(ay-by) > 1e-9*ay {
			t.Fatalf("%g, %g mm per px, mirrored %g, %g", ax, ay, bx, by)
		}
	})
}

// The factor of a covariance is one also where some parameters are exact or
// follow from others; what is no covariance has none.
func TestSemiCholesky(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, rank := rapid.IntRange(1, 6).Draw(t, "n"), rapid.IntRange(0, 6).Draw(t, "rank")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		cov := mat.NewSymDense(n, nil)
		for range rank {
			v := make([]float64, n)
			for i := range v {
				if random.IntN(4) > 0 {
					v[i] = random.NormFloat64()
				}
			}
			cov.SymRankOne(cov, 1, mat.NewVecDense(n, v))
		}
		l, err := semiCholesky(cov)
		if err != nil {
			t.Fatal(err)
		}
		var back mat.Dense
		back.Mul(l, l.T())
		if !mat.EqualApprox(&back, cov, 1e-5) {
			t.Fatalf("L Lᵀ = %v, want %v", mat.Formatted(&back), mat.Formatted(cov))
		}
	})
	for _, bad := range []*mat.SymDense{
		mat.NewSymDense(1, []float64{-1}),
		mat.NewSymDense(2, []float64{1, 2, 2, 1}),
		mat.NewSymDense(2, []float64{0, 1, 1, 1}),
		mat.NewSymDense(1, []float64{math.NaN()}),
		mat.NewSymDense(1, []float64{math.Inf(1)}),
	} {
		if l, err := semiCholesky(bad); err == nil {
			t.Errorf("%v has the factor %v", mat.Formatted(bad), mat.Formatted(l))
		}
	}
}
