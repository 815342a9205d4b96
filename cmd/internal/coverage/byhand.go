package main

import (
	"errors"
	"math/rand/v2"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// takeByHand measures a face with calipers: the pitch circle and all gaps, or
// the gaps and some distances across; between centres or over pins.
func takeByHand(j job) ([]outcome, error) {
	rng := j.random()
	face := j.draw(rng, 36, 250)
	var t truth
	for _, h := range face.Holes {
		t.holes = append(t.holes, r2.Vec{X: h.X, Y: h.Y})
	}
	n := len(t.holes)
	m := pattern.Measured{Holes: n}
	if n < 4 || rng.Float64() < 0.5 {
		m.PCDU = statedU(rng)
		m.PCD = 2*t.pitchCircle().Radius + m.PCDU*rng.NormFloat64()
	}
	pins := rng.Float64() < 0.5
	distance := func(a, b int) {
		u := statedU(rng)
		d := pattern.Distance{From: a + 1, To: b + 1, U: u, Over: pattern.Centres}
		d.Value = r2.Norm(r2.Sub(t.holes[a], t.holes[b])) + u*rng.NormFloat64()
		if pins {
			d.Over, d.Pins = pattern.Outside, [2]float64{face.Holes[a].Diameter, face.Holes[b].Diameter}
			d.Value += (d.Pins[0] + d.Pins[1]) / 2
		}
		m.Between = append(m.Between, d)
	}
	for i := range n {
		distance(i, (i+1)%n)
	}
	for i := range n {
		if m.PCD == 0 && n > 3 && i < (i+n/2)%n {
			distance(i, (i+n/2)%n)
		}
	}
	s, err := pattern.Solve(m)
	switch {
	case errors.Is(err, pattern.ErrContradiction), errors.Is(err, pattern.ErrUndetermined):
		o := j.compare(byHand, t, nil)
		o.note = err.Error()
		return []outcome{o}, nil
	case err != nil:
		return nil, err
	}
	at := map[int]r2.Vec{}
	for i, p := range t.holes {
		at[i+1] = p
	}
	return []outcome{j.hold(byHand, t, s.Reading, at)}, nil
}

// statedU is half of a ± that somebody may state for calipers.
func statedU(rng *rand.Rand) float64 { return []float64{0.02, 0.05, 0.1}[rng.IntN(3)] / 2 }
