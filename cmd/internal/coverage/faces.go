package main

import (
	"math"
	"math/rand/v2"

	"boltrose/samples"
)

// kind is a kind of hole pattern.
type kind struct {
	name  string
	holes func(*rand.Rand) []float64 // directions, degrees
	more  func(*samples.Face, *rand.Rand)
}

func even(n int) func(*rand.Rand) []float64 {
	return func(*rand.Rand) []float64 {
		list := make([]float64, n)
		for i := range list {
			list[i] = 360 * float64(i) / float64(n)
		}
		return list
	}
}

// someEven is an even pattern of 4 to 8 holes.
func someEven(rng *rand.Rand) []float64 { return even(4 + rng.IntN(5))(rng) }

var kinds = []kind{
	{"3 even holes", even(3), nil},
	{"4 even holes", even(4), nil},
	{"6 even holes", even(6), nil},
	{"8 even holes", even(8), nil},
	{"one hole shifted", func(rng *rand.Rand) []float64 {
		list := someEven(rng)
		list[0] += (0.02 + 0.23*rng.Float64()) * 360 / float64(len(list))
		return list
	}, nil},
	{"irregular", func(rng *rand.Rand) []float64 {
		// Gaps of a third of the circle's even share and more.
		n := 3 + rng.IntN(6)
		gaps, sum := make([]float64, n), 0.0
		for i := range gaps {
			gaps[i] = 1 + 2*rng.Float64()
			sum += gaps[i]
		}
		list, at := make([]float64, n), 0.0
		for i := range list {
			list[i] = at
			at += 360 * gaps[i] / sum
		}
		return list
	}, nil},
	{"some places empty", func(rng *rand.Rand) []float64 {
		list := even(6 + rng.IntN(5))(rng)
		for range 1 + rng.IntN(2) {
			i := rng.IntN(len(list))
			list = append(list[:i:i], list[i+1:]...)
		}
		return list
	}, nil},
	{"two hole sizes", someEven, func(f *samples.Face, rng *rand.Rand) {
		share := 0.6 + 0.15*rng.Float64()
		for i := 1; i < len(f.Holes); i += 2 {
			f.Holes[i].Diameter = math.Max(4, share*f.Holes[i].Diameter)
		}
	}},
	{"bore off centre", someEven, func(f *samples.Face, rng *rand.Rand) {
		if b := f.Bore; b != nil {
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			off := math.Min(0.2+1.3*rng.Float64(), b.Diameter/20)
			b.X, b.Y, b.Diameter = off*cos, off*sin, b.Diameter-2*off
		}
	}},
}

// draw makes a face of the kind on a pitch circle between two diameters (mm),
// its holes in counter-clockwise order. No hole is drilled quite where it is
// meant, and no bore quite concentric; half of the bores are chamfered.
func (k kind) draw(rng *rand.Rand, low, high float64) samples.Face {
	directions := k.holes(rng)
	n := float64(len(directions))
	pcd := low * math.Pow(high/low, rng.Float64())
	largest := math.Min(pcd*math.Sin(math.Pi/n)/2.5, math.Min(18, pcd/4))
	d := 4 + (math.Max(largest, 4)-4)*rng.Float64()
	f := samples.Keyed(pcd, directions, d)
	for i := range f.Holes {
		f.Holes[i].X += drillU * rng.NormFloat64()
		f.Holes[i].Y += drillU * rng.NormFloat64()
	}
	if room := pcd/2 - 0.9*d - 3; room > 5 && rng.Float64() < 0.75 {
		f.Bore = &samples.Disc{
			X: drillU * rng.NormFloat64(), Y: drillU * rng.NormFloat64(),
			Diameter: 2 * room * (0.45 + 0.5*rng.Float64()),
		}
	}
	if k.more != nil {
		k.more(&f, rng)
	}
	if b := f.Bore; b != nil && rng.Float64() < 0.5 { // the others are sharp
		b.Outer = b.Diameter + 2*(leastChamfer+(mostChamfer-leastChamfer)*rng.Float64())
	}
	return f
}

// withRim ends the metal outside the holes.
func withRim(f *samples.Face, rng *rand.Rand) {
	edge := 0.0
	for _, h := range f.Holes {
		edge = math.Max(edge, math.Hypot(h.X, h.Y)+0.9*h.Diameter)
	}
	f.Rim = &samples.Disc{Diameter: 2 * (edge + 2 + 6*rng.Float64())}
}
