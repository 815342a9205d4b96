package pattern_test

import (
	"bytes"
	"fmt"
	"log"
	"math"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// Three holes measured with calipers, from centre to centre.
func ExampleSolve() {
	s, err := pattern.Solve(pattern.Measured{
		PCD: 60,
		Between: []pattern.Distance{
			{From: 1, To: 2, Value: 42.43, Over: pattern.Centres},
			{From: 2, To: 3, Value: 51.96, Over: pattern.Centres},
			{From: 3, To: 1, Value: 57.96, Over: pattern.Centres},
		},
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, h := range s.Reading.Holes {
		fmt.Printf("hole %d at %.1f ±%.1f°\n", h.ID, *h.AngleDeg, *h.AngleU95Deg)
	}
	// Output:
	// hole 1 at 0.0 ±0.0°
	// hole 2 at 90.0 ±0.1°
	// hole 3 at 210.0 ±0.2°
}

// A reading is kept as JSON; here, two holes of six that are known to be even.
func ExampleReadJSON() {
	s, err := pattern.Solve(pattern.Measured{
		PCD: 96, Holes: 6, Even: true,
		Between: []pattern.Distance{{From: 1, To: 2, Value: 48, Over: pattern.Centres}},
	})
	if err != nil {
		log.Fatal(err)
	}
	var file bytes.Buffer
	if err := s.Reading.WriteJSON(&file); err != nil {
		log.Fatal(err)
	}
	r, err := pattern.ReadJSON(&file)
	if err != nil {
		log.Fatal(err)
	}
	for _, g := range r.Gaps {
		fmt.Printf("%d-%d: %.0f°, chord %.1f mm\n", g.From, g.To, *g.AngleDeg, g.Chord)
	}
	// Output:
	// 1-2: 60°, chord 48.0 mm
	// 2-3: 60°, chord 48.0 mm
	// 3-4: 60°, chord 48.0 mm
	// 4-5: 60°, chord 48.0 mm
	// 5-6: 60°, chord 48.0 mm
	// 6-1: 60°, chord 48.0 mm
}

// Even sixths do not go onto a face whose fourth hole is seven degrees off.
func ExampleMate() {
	even := []float64{0, 60, 120, 180, 240, 300}
	measured := []float64{0, 60, 120, 187, 240, 300}
	part, face := pattern.Holes{}, pattern.Holes{}
	for i := range even {
		part.At = append(part.At, onCircle(48, even[i]))
		face.At = append(face.At, onCircle(48, measured[i]))
	}
	m, err := pattern.Mate(pattern.Joint{
		Face: face, Part: part,
		Bolts: []float64{8, 8, 8, 8, 8, 8}, PartHoles: []float64{9, 9, 9, 9, 9, 9},
	}, pattern.MateOptions{Draws: 1000, Seed: 1})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(m.Fits)
	// Output:
	// refuted
}

func onCircle(radius, deg float64) r2.Vec {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return r2.Vec{X: radius * cos, Y: radius * sin}
}
