package samples

import (
	"fmt"
	"math"
)

// A ThreadKind is a thread by the name that the trade gives it.
type ThreadKind struct {
	Name         string
	Major, Pitch float64 // mm
	FlankDeg     float64
}

// ThreadKinds are threads from M3 to M20 and from No. 8 to 3/4 inch, typed in
// from trade charts.
func ThreadKinds() []ThreadKind {
	var all []ThreadKind
	metric := func(d, p float64) {
		all = append(all, ThreadKind{fmt.Sprintf("M%gx%g", d, p), d, p, 60})
	}
	for _, m := range [][2]float64{
		{3, 0.5}, {4, 0.7}, {5, 0.8}, {6, 1}, {8, 1.25}, {8, 1}, {10, 1.5}, {10, 1.25}, {12, 1.75}, {12, 1.5},
		{14, 2}, {16, 2}, {16, 1.5}, {18, 2.5}, {20, 2.5}, {20, 1.5},
	} {
		metric(m[0], m[1])
	}
	inches := func(size string, d, tpi float64, series string, flank float64) {
		all = append(all, ThreadKind{fmt.Sprintf("%s-%g %s", size, tpi, series), d * 25.4, 25.4 / tpi, flank})
	}
	for _, u := range []struct {
		size           string
		d, coarse, fin float64
	}{
		{"#8", 0.164, 32, 36}, {"#10", 0.190, 24, 32}, {"1/4", 0.25, 20, 28}, {"5/16", 0.3125, 18, 24}, {"3/8", 0.375, 16, 24},
		{"7/16", 0.4375, 14, 20}, {"1/2", 0.5, 13, 20}, {"9/16", 0.5625, 12, 18}, {"5/8", 0.625, 11, 18}, {"3/4", 0.75, 10, 16},
	} {
		inches(u.size, u.d, u.coarse, "UNC", 60)
		inches(u.size, u.d, u.fin, "UNF", 60)
	}
	for _, u := range []struct {
		size           string
		d, coarse, fin float64
	}{
		{"1/4", 0.25, 20, 26}, {"5/16", 0.3125, 18, 22}, {"3/8", 0.375, 16, 20}, {"7/16", 0.4375, 14, 18},
		{"1/2", 0.5, 12, 16}, {"5/8", 0.625, 11, 14}, {"3/4", 0.75, 10, 12},
	} {
		inches(u.size, u.d, u.coarse, "BSW", 55)
		inches(u.size, u.d, u.fin, "BSF", 55)
	}
	inches("5/16", 0.3125, 26, "BSC", 60)
	inches("3/8", 0.375, 26, "BSC", 60)
	inches("3/8", 0.375, 26, "BSB", 55)
	all = append(all, ThreadKind{"0 BA", 6, 1, 47.5}, ThreadKind{"2 BA", 4.7, 0.81, 47.5})
	return all
}

// Made is a bolt with the thread, as makers make them: a little below nominal,
// with the crests and roots of its standard.
func (k ThreadKind) Made(seed uint64) Screw {
	rng := newRand(seed, 81)
	b := Screw{Major: k.Major - k.Pitch*(0.02+0.09*rng.Float64()), Pitch: k.Pitch, FlankDeg: k.FlankDeg}
	switch k.FlankDeg {
	case 55:
		b.Depth, b.Round = 0.64, 0.137
	case 47.5:
		b.Depth, b.Round = 0.6, 0.18
	default:
		b.Depth, b.Crest = 0.61, 0.125
	}
	turns := 10 + 14*rng.Float64()
	b.Length = max(turns*k.Pitch, 1.6*k.Major)
	if rng.Float64() < 0.6 {
		b.Head = k.Major * (1.5 + 0.4*rng.Float64())
		b.Tall = 0.66 * k.Major
	}
	if rng.Float64() < 0.5 {
		b.Shank = k.Major * 1.5 * rng.Float64()
	}
	return b
}

// Threads is a population of scans: every kind in turn, worn, greasy, struck,
// tilted and dirty by chance, at 300 and 600 dpi in turn.
func Threads(count int, seed uint64) []ThreadScan {
	kinds := ThreadKinds()
	var all []ThreadScan
	for i := range count {
		k := kinds[i%len(kinds)]
		own := hash(seed*7919 + uint64(i))
		rng := newRand(own, 82)
		t := ThreadScan{
			Name: k.Name, Seed: own, Screw: k.Made(own),
			DPI:    []float64{300, 600}[(i%len(kinds)+i/len(kinds))%2],
			Margin: 3 + 4*rng.Float64(),
			Turn:   6*rng.NormFloat64() + 90*float64(rng.IntN(4)),
			Tilt:   math.Abs(1.1 * rng.NormFloat64()),
			Lid:    0.88 + 0.1*rng.Float64(), Metal: 0.14 + 0.3*rng.Float64(), Shine: 0.7 * rng.Float64(),
			Shadow: 0.25 * rng.Float64(),
			BlurMM: 0.018 + 0.02*rng.Float64() + 0.0015*k.Major,
			Noise:  1 + 3*rng.Float64(),
			ScaleX: 0.002 * rng.NormFloat64(), ScaleY: 0.002 * rng.NormFloat64(),
		}
		if rng.Float64() < 0.25 {
			t.LidOpen, t.Metal, t.Shine = true, 0.3+0.25*rng.Float64(), 0.5*rng.Float64()
		}
		b := &t.Screw
		b.Rough = k.Pitch * 0.012 * rng.Float64()
		if rng.Float64() < 0.5 {
			b.Worn = k.Pitch * 0.10 * rng.Float64()
		}
		if rng.Float64() < 0.4 {
			b.Grease = 0.6 * rng.Float64()
		}
		if rng.Float64() < 0.4 {
			b.Nicks = 1 + rng.IntN(8)
		}
		all = append(all, t)
	}
	return all
}
