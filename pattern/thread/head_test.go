package thread

import (
	"math"
	"testing"
)

// Widths across flats and corners as a public table of head sizes prints them
// (seen: a university's page of metric bolts, which has the older M10 and M12).
func TestHeads(t *testing.T) {
	for size, flats := range map[string]float64{"M3": 5.5, "M4": 7, "M5": 8, "M6": 10, "M8": 13, "M10": 17, "M12": 19, "M16": 24, "M20": 30, "M24": 36, "M30": 46} {
		if h := HeadOf(size, 0); h.Flats != flats {
			t.Errorf("%s has %g across flats, want %g", size, h.Flats, flats)
		}
	}
	// A sharp hexagon's corners are 2/√3 of its flats apart.
	if h := HeadOf("M8", 8); math.Abs(h.Corners-15.01) > 0.01 {
		t.Errorf("M8 has %g across corners", h.Corners)
	}
}

// Every head has room on its washer and in its socket, covers the loosest
// clearance hole, and grows with the bolt.
func TestHeadsAgreeWithHoles(t *testing.T) {
	last := map[string]float64{}
	for _, c := range Clearances() {
		h := HeadOf(c.Size, c.Diameter)
		if h.Source == "" || h.Washer <= c.Holes[Normal] || h.Socket <= h.Corners || h.Flats < 1.3*c.Diameter || h.Flats > 2*c.Diameter {
			t.Errorf("%s: %+v for a hole of %g", c.Size, h, c.Holes[Normal])
		}
		if h.Source == "rule of thumb" {
			continue
		}
		if h.Flats < last[c.Source] {
			t.Errorf("%s: its head is smaller than that of the size before", c.Size)
		}
		last[c.Source] = h.Flats
	}
	for size := range heads() {
		if _, err := ClearanceOf(size); err != nil {
			t.Errorf("%s has a head and no clearance hole", size)
		}
	}
}
