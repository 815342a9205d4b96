package samples

import (
	"bytes"
	"math"
	"testing"
)

// The same scan and seed give the same picture, another seed another.
func TestThreadScanRepeats(t *testing.T) {
	s := Threads(3, 5)[2]
	a, ta := s.Render()
	b, tb := s.Render()
	if !bytes.Equal(a.Pix, b.Pix) || ta != tb {
		t.Error("two renderings differ")
	}
	s.Seed++
	if c, _ := s.Render(); bytes.Equal(a.Pix, c.Pix) {
		t.Error("the seed changes nothing")
	}
}

// A clean bolt covers as many pixels as its section through the axis has area:
// length times the diameter less twice the profile's mean depth. That is 0.3045
// pitches of a trapezoid with a crest of 1/8, flanks of 60° and a depth of
// 0.5413, and half the depth where crest and root are alike.
func TestThreadScanArea(t *testing.T) {
	for _, c := range []struct {
		b    Screw
		mean float64 // pitches
	}{
		{Screw{Major: 10, Pitch: 1.5, FlankDeg: 60, Depth: 0.54127, Crest: 0.125, Length: 30}, 0.3045},
		{Screw{Major: 10, Pitch: 1.5, FlankDeg: 55, Depth: 0.64, Round: 0.137, Length: 30}, 0.32},
	} {
		s := ThreadScan{Screw: c.b, DPI: 600, Margin: 3, Lid: 1, Metal: 0.2, BlurMM: 0.02, Seed: 3}
		img, truth := s.Render()
		dark := 0.0
		for _, v := range img.Pix {
			if v < 160 {
				dark++
			}
		}
		const mm = 25.4 / 600
		area, want := dark*mm*mm, 30*(10-2*c.mean*1.5)
		if math.Abs(area/want-1) > 0.01 {
			t.Errorf("%g°: %.1f mm², want %.1f", c.b.FlankDeg, area, want)
		}
		if truth.Pitch != 1.5 || truth.Major != 10 {
			t.Errorf("%+v", truth)
		}
	}
}

// The Whitworth form by its own definition: 55°, a depth of 0.640327 pitches and
// crests and roots rounded to 0.137329 (BS 84), which a sixth of the sharp V's
// height of 0.960491 is cut off by.
func TestWhitworthForm(t *testing.T) {
	const depth, round = 0.640327, 0.137329
	slope := 1 / math.Tan(27.5*math.Pi/180)
	at := func(x float64) float64 { return roundedV(x, depth, slope, round) }
	for x, want := range map[float64]float64{0: 0, 0.25: depth / 2, 0.5: depth} {
		if got := at(x); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g pitches from the crest it is %.6f deep, want %.6f", x, got, want)
		}
	}
	if got := (at(0.27) - at(0.23)) / 0.04; math.Abs(got-slope) > 1e-6 {
		t.Errorf("the flank's slope is %.4f, want %.4f", got, slope)
	}
	// The arc touches the flank: no step, no corner.
	reach := round * math.Cos(27.5*math.Pi/180)
	const h = 1e-5
	before, after := (at(reach-h)-at(reach-2*h))/h, (at(reach+2*h)-at(reach+h))/h
	if math.Abs(at(reach+h)-at(reach-h)) > 3*slope*h || math.Abs(before-after) > 1e-2 {
		t.Errorf("where arc and flank meet: %.6f and %.6f deep, slopes %.4f and %.4f", at(reach-h), at(reach+h), before, after)
	}
}

// The kinds are what their names say.
func TestThreadKinds(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range ThreadKinds() {
		if seen[k.Name] || k.Pitch < 0.4 || k.Pitch > 2.7 || k.Major < 2.9 || k.Major > 20.1 {
			t.Errorf("%+v", k)
		}
		seen[k.Name] = true
		b := k.Made(1)
		if b.Major > k.Major || b.Major < k.Major-0.15*k.Pitch || b.Length < 5*k.Pitch {
			t.Errorf("%s is made as %+v", k.Name, b)
		}
	}
	both := map[string]map[float64]bool{}
	for _, s := range Threads(2*len(seen), 1) {
		if both[s.Name] == nil {
			both[s.Name] = map[float64]bool{}
		}
		both[s.Name][s.DPI] = true
	}
	for name, dpi := range both {
		if !dpi[300] || !dpi[600] {
			t.Errorf("%s is not scanned at 300 and 600 dpi", name)
		}
	}
}
