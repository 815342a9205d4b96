package main

import (
	"math"
	"strings"
	"testing"

	"boltrose/pattern"
)

func TestParseDistance(t *testing.T) {
	for text, want := range map[string]pattern.Distance{
		"1-2=48.3":             {From: 1, To: 2, Value: 48.3, Over: pattern.Centres},
		"1-2=48.3±0.05":        {From: 1, To: 2, Value: 48.3, U: 0.025, Over: pattern.Centres},
		" 2 - 1 = 48.3 +- 0.1": {From: 2, To: 1, Value: 48.3, U: 0.05, Over: pattern.Centres},
		"1-2=48.3+/-0.1":       {From: 1, To: 2, Value: 48.3, U: 0.05, Over: pattern.Centres},
		"1-12=56.3,outside":    {From: 1, To: 12, Value: 56.3, Over: pattern.Outside},
		"1-2=56.3±0.1,inside,8": {From: 1, To: 2, Value: 56.3, U: 0.05, Over: pattern.Inside,
			Pins: [2]float64{8, 8}},
		"1-2=56.3,outside,8,10": {From: 1, To: 2, Value: 56.3, Over: pattern.Outside, Pins: [2]float64{8, 10}},
	} {
		if got, err := parseDistance(text); err != nil || got != want {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "1-2", "1=2", "a-b=3", "1-2=x", "1-2=-3", "1-2=0", "1-2=NaN", "1-2=1e9", "1-2=48±", "1-2=48±-1",
		"1-2=48±30", "0-1=48", "1-1=48", "1-2=48,3", "1-2=48,outside,", "1-2=48,outside,0", "1-2=48,outside,1,2,3", "1-2=9,outside,9", "1-2-3=4"} {
		if d, err := parseDistance(text); err == nil {
			t.Errorf("%q is taken for %+v", text, d)
		}
	}
}

// Whatever is typed, parsing ends in a value or in one line.
func FuzzParseDistance(f *testing.F) {
	for _, s := range []string{"1-2=48.3±0.05", "1-2=56.3,outside,8", "1-2=56.3+-0.1,inside,8,9", "1-2=,", "-=±,outside"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := parseDistance(s)
		if err != nil {
			return
		}
		if d.Check() != nil || math.IsNaN(d.Value+d.U+d.Pins[0]+d.Pins[1]) {
			t.Errorf("%q gives %+v", s, d)
		}
	})
}

func FuzzSolveFlags(f *testing.F) {
	for _, s := range []string{"--pcd\n96\n--between\n1-2=48", "--between=1-2=48\n--even\n--holes\n5", "--units\nin\n--diameter\n1±2", "--calipers\n1e300\n--between\n1-2=48"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseSolve(strings.Split(s, "\n"))
		if err == nil {
			if out, err := pattern.Solve(c.measured()); err == nil && out.Reading == nil {
				t.Errorf("%q: no reading and no error", s)
			}
		}
	})
}
