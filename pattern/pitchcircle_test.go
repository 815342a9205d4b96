package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// The derivatives against central differences of the fit itself, for holes
// that lie up to 15 % off their circle.
func TestPitchCircleJacobian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "holes")
		var holes []part
		for i := range n {
			deg := (float64(i) + rapid.Float64Range(0, 0.7).Draw(t, "place")) * 360 / float64(n)
			radius := 50 * rapid.Float64Range(0.85, 1.15).Draw(t, "radius")
			holes = append(holes, part{Ring: Ring{Centre: r2.Add(r2.Vec{X: 7, Y: -3}, polar(radius, deg))}, on: true})
			if rapid.IntRange(0, 4).Draw(t, "stray") == 0 {
				holes = append(holes, part{Ring: Ring{Centre: r2.Vec{X: float64(i), Y: 1}}})
			}
		}
		fit := func() [3]float64 {
			c, err := pitchCircle(onCircle(holes))
			if err != nil {
				t.Fatal(err)
			}
			return [3]float64{c.Centre.X, c.Centre.Y, 2 * c.Radius}
		}
		c, err := pitchCircle(onCircle(holes))
		if err != nil {
			t.Fatal(err)
		}
		jac, err := pitchCircleJacobian(c, holes)
		if err != nil {
			t.Fatal(err)
		}
		const step = 0.02 // mm: rounding 1e-7/step, curvature (step/radius)²
		for j := range 2 * len(holes) {
			v := &holes[j/2].Centre.X
			if j%2 == 1 {
				v = &holes[j/2].Centre.Y
			}
			was := *v
			*v = was + step
			up := fit()
			*v = was - step
			down := fit()
			*v = was
			for k := range 3 {
				if want := (up[k] - down[k]) / (2 * step); math.Abs(jac.At(k, j)-want) > 2e-5 {
					t.Fatalf("d(result %d)/d(coordinate %d) = %v, differences say %v", k, j, jac.At(k, j), want)
				}
			}
		}
	})
}

func onCircle(holes []part) (on []r2.Vec) {
	for _, h := range holes {
		if h.on {
			on = append(on, h.Centre)
		}
	}
	return on
}

// With n even holes, each known to σ in every direction, the fitted diameter
// is twice the mean of n radii, and each centre coordinate the mean of n
// coordinates times √2 (Fisher information of the circle; by hand).
func TestEvenPatternByHand(t *testing.T) {
	const sigma = 0.02
	for _, n := range []int{3, 4, 5, 6, 8, 12} {
		var rings []Ring
		choice := Choice{Bore: n, Rim: -1, Circle: true}
		for i := range n {
			choice.Holes = append(choice.Holes, i)
			rings = append(rings, Ring{
				Centre: polar(40, 100+360*float64(i)/float64(n)), Diameter: 9,
				CentreCov: [2][2]float64{{sigma * sigma, 0}, {0, sigma * sigma}},
			})
		}
		rings = append(rings, Ring{Diameter: 30}) // a bore known exactly shows the centre's uncertainty
		r := mustNew(t, rings, choice, Options{})
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9 {
				t.Errorf("%d holes: %s ± %.9f, want %.9f", n, what, got, want)
			}
		}
		near("PCD", r.PitchCircle.DiameterU95, 2*2*sigma/math.Sqrt(float64(n)))
		near("centre", r.Bore.XU95, 2*sigma*math.Sqrt(2/float64(n)))
		near("chord", r.Gaps[0].ChordU95, 2*sigma*math.Sqrt2)
	}
}

func TestNoPitchCircle(t *testing.T) {
	line := func(n int) (rings []Ring, c Choice) {
		c = Choice{Bore: -1, Rim: -1, Circle: true}
		for i := range n {
			c.Holes = append(c.Holes, i)
			rings = append(rings, ring(i, r2.Vec{X: 20 * float64(i), Y: 5}, 6))
		}
		return rings, c
	}
	for _, n := range []int{1, 3, 4} {
		rings, choice := line(n)
		if r, err := New(rings, choice, Options{}); err == nil {
			t.Errorf("%d holes on a line: pitch circle %+v", n, r.PitchCircle)
		}
	}
	rings, choice := line(4)
	for i := range rings {
		rings[i].Centre = r2.Vec{X: 3, Y: 4}
	}
	if _, err := New(rings, choice, Options{}); err == nil {
		t.Error("four holes in one place have a pitch circle")
	}
	rings, choice = line(2)
	r := mustNew(t, rings, choice, Options{})
	if r.PitchCircle.Diameter != 20 || len(r.Warnings) != 1 || *r.Gaps[0].AngleDeg != 180 {
		t.Errorf("two holes: %+v, %q", r.PitchCircle, r.Warnings)
	}
	rings[1].Centre = rings[0].Centre
	if _, err := New(rings, choice, Options{}); err == nil {
		t.Error("two holes in one place have a pitch circle")
	}
}
