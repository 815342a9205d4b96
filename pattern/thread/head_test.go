package thread

import (
	"math"
	"testing"
)

// Widths across flats and corners as public tables of head sizes print them
// (seen: a university's page of metric bolts, which has the older M10 and M12;
// another of spanners with the older M14).
func TestHeads(t *testing.T) {
	for size, flats := range map[string]float64{"M14": 22, "M3": 5.5, "M4": 7, "M5": 8, "M6": 10, "M8": 13, "M10": 17, "M12": 19, "M16": 24, "M20": 30, "M24": 36, "M30": 46} {
		if h := HeadOf(size, 0); h.Flats != flats {
			t.Errorf("%s has %g across flats, want %g", size, h.Flats, flats)
		}
	}
	// A sharp hexagon's corners are 2/√3 of its flats apart.
	if h := HeadOf("M8", 8); math.Abs(h.Corners-15.01) > 0.01 {
		t.Errorf("M8 has %g across corners", h.Corners)
	}
}

// Outer diameters of washers as prints of ISO 7089 and of DIN 125, which has the
// same, give them (seen).
func TestWashers(t *testing.T) {
	for size, washer := range map[string]float64{"M3": 7, "M4": 9, "M5": 10, "M6": 12, "M8": 16, "M10": 20, "M12": 24, "M14": 28, "M16": 30, "M18": 34, "M20": 37, "M22": 39, "M24": 44, "M27": 50, "M30": 56} {
		if h := HeadOf(size, 0); h.Washer != washer {
			t.Errorf("%s has a washer of %g, want %g", size, h.Washer, washer)
		}
	}
}

// Flats of hex cap screws as prints of ASME B18.2.1 give them (of No. 10 the hex
// machine screw of ASME B18.6.3), and washers of ASME B18.21.1, type A narrow
// (seen; the 1 inch washer was on none).
func TestInchHeads(t *testing.T) {
	for size, want := range map[string][2]float64{
		"#10": {0.3125, 0.500}, "1/4": {7. / 16, 0.625}, "5/16": {1. / 2, 0.688}, "3/8": {9. / 16, 0.812}, "7/16": {5. / 8, 0.922}, "1/2": {3. / 4, 1.062},
		"5/8": {15. / 16, 1.312}, "3/4": {9. / 8, 1.469}, "7/8": {21. / 16, 1.750}, "1": {3. / 2, 0},
	} {
		h := HeadOf(size, 0)
		if math.Abs(h.Flats/inch-want[0]) > 1e-9 || want[1] > 0 && math.Abs(h.Washer/inch-want[1]) > 1e-9 {
			t.Errorf("%s: %g across flats, a washer of %g in, want %v", size, h.Flats/inch, h.Washer/inch, want)
		}
	}
}

// Whitworth's heads in thousandths as a cyclopaedia of crafts prints them, and
// both sizes of heads as a list of spanners does (both seen).
func TestSpanners(t *testing.T) {
	for size, want := range map[string][2]float64{ // large, small
		"3/16": {0.445, 0}, "1/4": {0.525, 0.445}, "5/16": {0.600, 0.525}, "3/8": {0.710, 0.600}, "7/16": {0.820, 0.710}, "1/2": {0.9191, 0.820},
		"9/16": {1.011, 0.920}, "5/8": {1.101, 1.010}, "3/4": {1.3012, 1.200}, "7/8": {1.4788, 1.300}, "1": {1.6701, 0}, "1 1/8": {1.8605, 0}, "1 1/4": {2.0483, 0},
	} {
		for k, f := range spanners()[size] {
			if want[k] != 0 && math.Abs(f.MM/inch-want[k]) > 0.002 {
				t.Errorf("%s, %s: %.4f in, published %.4f", size, f.On, f.MM/inch, want[k])
			}
		}
	}
}

// Each row of the tables says where it is from and how it got here.
func TestHeadSources(t *testing.T) {
	for _, table := range []string{headCSV, spannerCSV} {
		for _, r := range rows(table) {
			if r[4] == "" || r[5] != "seen" && r[5] != "memory" {
				t.Errorf("%v names no source", r)
			}
		}
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
