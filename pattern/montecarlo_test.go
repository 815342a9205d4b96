package pattern

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// results lists what a reading states, each with its expanded uncertainty.
func results(r *Reading) (names []string, values, u95 []float64) {
	add := func(name string, v, u float64) {
		names, values, u95 = append(names, name), append(values, v), append(u95, u)
	}
	for _, h := range r.Holes {
		add("x", h.X, h.XU95)
		add("y", h.Y, h.YU95)
		add("diameter", h.Diameter, h.DiameterU95)
		if h.AngleDeg != nil {
			add("angle", *h.AngleDeg, *h.AngleU95Deg)
		}
	}
	for _, s := range append(append([]Span{}, r.Gaps...), r.Chords...) {
		add("chord", s.Chord, s.ChordU95)
		// A pair about 180° apart folds over: its spread is not normal.
		if s.AngleDeg != nil && (*s.AngleDeg < 179 || *s.AngleDeg > 181) {
			add("angle between", *s.AngleDeg, *s.AngleU95Deg)
		}
	}
	if r.PitchCircle != nil {
		add("PCD", r.PitchCircle.Diameter, r.PitchCircle.DiameterU95)
	}
	if r.Bore != nil {
		add("bore's x", r.Bore.X, r.Bore.XU95)
		add("bore's y", r.Bore.Y, r.Bore.YU95)
		add("bore's diameter", r.Bore.Diameter, r.Bore.DiameterU95)
		if r.Bore.Offset != nil {
			add("bore's offset", *r.Bore.Offset, *r.Bore.OffsetU95)
		}
	}
	return names, values, u95
}

// drawn moves each ring by an error drawn from its own covariance, and all by
// errors drawn for what they share.
func drawn(random *rand.Rand, rings []Ring) []Ring {
	shared := make([]float64, len(rings[0].Shared))
	for t := range shared {
		shared[t] = random.NormFloat64()
	}
	moved := append([]Ring{}, rings...)
	for i, r := range rings {
		var l mat.Cholesky
		l.Factorize(mat.NewSymDense(2, []float64{r.CentreCov[0][0], r.CentreCov[0][1], r.CentreCov[1][0], r.CentreCov[1][1]}))
		var lower mat.TriDense
		l.LTo(&lower)
		a, b := random.NormFloat64(), random.NormFloat64()
		moved[i].Centre.X += lower.At(0, 0) * a
		moved[i].Centre.Y += lower.At(1, 0)*a + lower.At(1, 1)*b
		moved[i].Diameter += r.DiameterU * random.NormFloat64()
		for t, s := range shared {
			moved[i].Centre = r2.Add(moved[i].Centre, r2.Scale(s, r.Shared[t]))
			moved[i].Diameter += s * r.SharedDiameter[t]
		}
	}
	return moved
}

// place puts rings of differing quality at directions of a pitch circle, each
// off it by the maker's error, with a bore beside the centre.
func place(pcd float64, off []float64, directions ...float64) ([]Ring, Choice) {
	c := Choice{Bore: len(directions), Rim: -1, Circle: true}
	var rings []Ring
	for i, deg := range directions {
		c.Holes = append(c.Holes, i)
		r := ring(i, r2.Add(r2.Vec{X: 90, Y: 160}, polar(pcd/2+off[i%len(off)], deg)), 11)
		worse := 1 + float64(i%3)
		for a := range 2 {
			for b := range 2 {
				r.CentreCov[a][b] *= worse * worse
			}
		}
		rings = append(rings, r)
	}
	return append(rings, ring(len(rings), r2.Vec{X: 91.2, Y: 159.5}, 40)), c
}

// Drawing the errors and computing everything anew must spread each result as
// its stated uncertainty says (JCGM 101 clause 5: propagation of
// distributions). With 4,000 draws a standard deviation is itself known to
// 1/√8000 = 1.1 %; 5 % are more than four times that, for about 300 results.
func TestUncertaintiesAgainstMonteCarlo(t *testing.T) {
	const rounding = 1e-7 // mm or degrees: what is left of an uncertainty that cancels
	even := []float64{0}
	uneven := []float64{0.3, -0.2, 0.1, -0.4, 0.25}
	for _, c := range []struct {
		name       string
		pcd        float64
		off        []float64
		directions []float64
		opts       Options
		offCircle  []int
		free       bool
	}{
		{name: "two", pcd: 60, off: even, directions: []float64{80, 260}},
		{name: "three even", pcd: 80, off: even, directions: []float64{80, 200, 320}},
		{name: "three on half the circle", pcd: 80, off: even, directions: []float64{80, 130, 255}},
		{name: "four keyed", pcd: 96, off: uneven, directions: []float64{75, 160, 255, 345}},
		{name: "six keyed, 0° at the third", pcd: 96, off: uneven, directions: []float64{75, 135, 195, 255, 320, 10}, opts: Options{Zero: 3}},
		{name: "six, two off the circle", pcd: 96, off: []float64{0.1, 0, -9}, directions: []float64{75, 135, 195, 255, 315, 15}, offCircle: []int{2, 5}},
		{name: "known pitch circle", pcd: 96, off: uneven, directions: []float64{75, 135, 195, 255, 320, 10}, opts: Options{KnownPCD: 96.4, KnownPCDU: 0.05}},
		{name: "free", pcd: 96, off: []float64{3, -10, 7}, directions: []float64{75, 135, 210, 300}, free: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			rings, choice := place(c.pcd, c.off, c.directions...)
			choice.OffCircle = c.offCircle
			choice.Circle = !c.free
			stated := mustNew(t, rings, choice, c.opts)
			names, centre, u95 := results(stated)
			sum, squares := make([]float64, len(names)), make([]float64, len(names))
			random := rand.New(rand.NewPCG(7, 11))
			const draws = 4000
			for range draws {
				opts := c.opts
				if opts.KnownPCD != 0 {
					opts.KnownPCD += opts.KnownPCDU * random.NormFloat64()
				}
				r, err := measure(drawn(random, rings), choice, opts)
				if err != nil {
					t.Fatal(err)
				}
				_, values, _ := results(r)
				for i, v := range values {
					d := v - centre[i]
					sum[i] += d
					squares[i] += d * d
				}
			}
			for i, name := range names {
				mean := sum[i] / draws
				got, want := math.Sqrt(squares[i]/draws-mean*mean), u95[i]/2
				if math.Abs(got-want) > 0.05*want+rounding {
					t.Errorf("%s (%.4f): spread %.5f, stated standard uncertainty %.5f", name, centre[i], got, want)
				}
				if math.Abs(mean) > 0.15*want+rounding {
					t.Errorf("%s (%.4f): the mean is off by %.5f with an uncertainty of %.5f", name, centre[i], mean, want)
				}
			}
		})
	}
}

// The whole stated covariance, not only its diagonal.
func TestCovarianceAgainstMonteCarlo(t *testing.T) {
	rings, choice := place(96, []float64{0.3, -0.2, 0.1}, 75, 160, 255, 345)
	stated := mustNew(t, rings, choice, Options{})
	n := 2 * len(stated.Holes)
	random := rand.New(rand.NewPCG(3, 5))
	sum := make([]float64, n*n)
	const draws = 8000
	for range draws {
		r, err := measure(drawn(random, rings), choice, Options{})
		if err != nil {
			t.Fatal(err)
		}
		d := make([]float64, n)
		for i, h := range r.Holes {
			d[2*i], d[2*i+1] = h.X-stated.Holes[i].X, h.Y-stated.Holes[i].Y
		}
		for i := range n {
			for j := range n {
				sum[i*n+j] += d[i] * d[j] / draws
			}
		}
	}
	for i := range n {
		for j := range n {
			unit := math.Sqrt(stated.CovarianceMM2[i*n+i] * stated.CovarianceMM2[j*n+j])
			if diff := math.Abs(sum[i*n+j] - stated.CovarianceMM2[i*n+j]); diff > 0.06*unit {
				t.Errorf("covariance %d,%d: %g drawn, %g stated", i, j, sum[i*n+j], stated.CovarianceMM2[i*n+j])
			}
		}
	}
}

// The stated interval of the bore's offset holds the true one about 19 times
// in 20 whether the bore is concentric or not, though a distance cannot be
// negative.
func TestOffsetCoverage(t *testing.T) {
	for _, offset := range []float64{0, 0.005, 0.01, 0.02, 0.03, 0.04, 0.06, 0.1, 0.5} {
		rings, choice := place(96, []float64{0}, 75, 135, 195, 255, 315, 15)
		for i := range rings {
			rings[i].CentreCov = [2][2]float64{{1e-4, 0}, {0, 1e-4}}
		}
		rings[choice.Bore].Centre = r2.Vec{X: 90 + offset*0.6, Y: 160 + offset*0.8}
		random := rand.New(rand.NewPCG(1, 2))
		const draws = 2000
		held := 0
		for range draws {
			r, err := measure(drawn(random, rings), choice, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(*r.Bore.Offset-offset) <= *r.Bore.OffsetU95 {
				held++
			}
		}
		share := float64(held) / draws
		t.Logf("offset %.3f mm: %.1f %% of the intervals hold it", offset, 100*share)
		if share < 0.94 || share > 0.985 {
			t.Errorf("offset %.3f mm: %.1f %% of the intervals hold it", offset, 100*share)
		}
	}
}
