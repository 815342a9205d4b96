package thread

import (
	"math"
	"testing"
)

// Outside values: ISO 273 as printed in trade tables (seen), the inch drills
// 17/64, 9/32 and 19/64 for 1/4 inch and 13/32 for 3/8 (ASME B18.2.8, seen in
// a print of its drill table).
func TestClearanceOf(t *testing.T) {
	for _, c := range []struct {
		size string
		d    float64
		want [3]float64
	}{
		{"M5", 5, [3]float64{5.3, 5.5, 5.8}},
		{"m6", 6, [3]float64{6.4, 6.6, 7}},
		{"M8", 8, [3]float64{8.4, 9, 10}},
		{"M8x1.25", 8, [3]float64{8.4, 9, 10}},
		{"M10 × 1", 10, [3]float64{10.5, 11, 12}},
		{"M12", 12, [3]float64{13, 13.5, 14.5}},
		{"M16", 16, [3]float64{17, 17.5, 18.5}},
		{"1/4", 6.35, [3]float64{17. / 64 * 25.4, 9. / 32 * 25.4, 19. / 64 * 25.4}},
		{"1/4-20", 6.35, [3]float64{17. / 64 * 25.4, 9. / 32 * 25.4, 19. / 64 * 25.4}},
		{`3/8"`, 9.525, [3]float64{25. / 64 * 25.4, 13. / 32 * 25.4, 27. / 64 * 25.4}},
		{" 1  1/2 ", 38.1, [3]float64{1.562 * 25.4, 1.625 * 25.4, 1.734 * 25.4}},
	} {
		got, err := ClearanceOf(c.size)
		if err != nil || got.Diameter != c.d {
			t.Fatalf("%s: %v, %v", c.size, got, err)
		}
		for k := range Fits {
			if math.Abs(got.Holes[k]-c.want[k]) > 0.0005*25.4 {
				t.Errorf("%s, %v: %g, want %g", c.size, Fits[k], got.Holes[k], c.want[k])
			}
		}
	}
	for _, s := range []string{"", "M", "M9000", "8", "1/3", "M8-1/4", "#", "x", "-", "\x00"} {
		if got, err := ClearanceOf(s); err == nil {
			t.Errorf("%q gives %v", s, got)
		}
	}
}

// The inch table's loose fit of all sizes, and its normal fit where that is a
// drill's size, as a print of ASME B18.2.8 gives them in an engineers' handbook
// (seen; the rest of its page was not).
func TestInchClearancePrint(t *testing.T) {
	loose := []float64{0.094, 0.104, 0.116, 0.128, 0.144, 0.172, 0.185, 0.213, 0, 0.297, 0.359, 0.422, 0.484, 0.609, 0.734, 0.906, 1.031, 1.156, 1.312, 1.438, 1.609, 1.734}
	normal := []float64{0.0760, 0.0890, 0.1015, 0.1160, 0.1285, 5. / 32, 0.1695, 0.1960, 0.2210, 9. / 32, 11. / 32, 13. / 32, 15. / 32}
	n := 0
	for _, c := range Clearances() {
		if c.Source != "ASME B18.2.8" {
			continue
		}
		if loose[n] != 0 && math.Abs(c.Holes[Loose]/inch-loose[n]) > 1e-6 { // #10 is not on the print
			t.Errorf("%s: loose %g, printed %g", c.Size, c.Holes[Loose]/inch, loose[n])
		}
		if n < len(normal) && math.Abs(c.Holes[Normal]/inch-normal[n]) > 0.0006 {
			t.Errorf("%s: normal %g, a drill of %g", c.Size, c.Holes[Normal]/inch, normal[n])
		}
		n++
	}
	if n != len(loose) {
		t.Errorf("%d inch sizes, want %d", n, len(loose))
	}
}

// A row with a slip of the pen stands out: sizes rise, classes rise, no
// clearance is below 0.1 mm or above a third of the bolt and half a millimetre.
func TestClearanceTable(t *testing.T) {
	before := Clearance{}
	for _, c := range Clearances() {
		if c.Source == "" || c.How != "seen" && c.How != "memory" {
			t.Errorf("%s names no source", c.Size)
		}
		if c.Source == before.Source {
			for k := range Fits {
				if c.Holes[k] <= before.Holes[k] {
					t.Errorf("%s is no larger than %s", c.Size, before.Size)
				}
			}
			if c.Diameter <= before.Diameter {
				t.Errorf("%s after %s", c.Size, before.Size)
			}
		}
		if !(c.Diameter+0.09 < c.Holes[Close] && c.Holes[Close] < c.Holes[Normal] && c.Holes[Normal] < c.Holes[Loose] && c.Holes[Loose] < 1.33*c.Diameter+0.5) {
			t.Errorf("%s: %v", c.Size, c)
		}
		before = c
	}
}

func TestParseFit(t *testing.T) {
	for name, want := range map[string]Fit{"close": Close, "Normal": Normal, "loose": Loose, "fine": Close, "medium": Normal, "coarse": Loose} {
		if got, err := ParseFit(name); err != nil || got != want {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	if _, err := ParseFit("tight"); err == nil {
		t.Error("tight is a fit")
	}
}
