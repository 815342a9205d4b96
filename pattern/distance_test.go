package pattern

import (
	"math"
	"strings"
	"testing"
)

// Calipers over two pins read their mean diameter too much outside and too
// little inside: common practice of measuring hole distances.
func TestDistanceCentre(t *testing.T) {
	for _, c := range []struct {
		d    Distance
		want float64
	}{
		{Distance{From: 1, To: 2, Value: 48, Over: Centres}, 48},
		{Distance{From: 1, To: 2, Value: 57, Over: Outside, Pins: [2]float64{9, 9}}, 48},
		{Distance{From: 1, To: 2, Value: 39, Over: Inside, Pins: [2]float64{8, 10}}, 48},
	} {
		if got, err := c.d.Centre(); err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%+v: %g, %v", c.d, got, err)
		}
	}
	for says, d := range map[string]Distance{
		"without the diameter": {From: 1, To: 2, Value: 57, Over: Outside},
		"no room":              {From: 1, To: 2, Value: 9, Over: Outside, Pins: [2]float64{9, 9}},
	} {
		if _, err := d.Centre(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v", d, err)
		}
	}
}
