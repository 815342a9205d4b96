package calib

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// What a thick card's shadow or too bright a picture does to its edges is told,
// or it is in the ±.
func TestCardEdges(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*sheetShot)
		most   float64 // relative error
		warns  string
	}{
		{"its shadow as dark as the card", func(s *sheetShot) {
			s.paper, s.ground, s.shadow, s.shadowMM = 60, 190, 0.68, 0.5
		}, 0.02, "shadow"},
		{"its shadow darker than the card", func(s *sheetShot) {
			s.paper, s.ground, s.shadow, s.shadowMM = 80, 190, 0.85, 0.7
		}, 0.002, ""},
		{"its shadow lighter than the card", func(s *sheetShot) {
			s.paper, s.ground, s.shadow, s.shadowMM = 60, 200, 0.4, 0.7
		}, 0.002, ""},
		{"white card with a shadow", func(s *sheetShot) {
			s.paper, s.ground, s.shadow, s.shadowMM = 215, 150, 0.7, 0.7
		}, 0.0015, ""},
		{"blown out", func(s *sheetShot) {
			s.paper, s.ground, s.blur = 600, 60, 2.5
		}, 0.004, "lost in white"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := ordinarySheet(1)
			s.w, s.h = 2000, 1500
			s.sheet, s.corner, s.away = r2.Vec{X: 85.6, Y: 53.98}, 3.18, 150
			c.change(&s)
			size, err := ParseSheet("card")
			if err != nil {
				t.Fatal(err)
			}
			// The rendered card is as thin as a line.
			plane, fit, err := Sheet(s.render(), SheetSet{Size: size, AboveMM: -size.Thickness})
			if err != nil {
				t.Fatal(err)
			}
			off := sheetError(s, plane)
			t.Logf("error %.5f, relative uncertainty %.4f, %s", off, plane.URel, fit.Warnings)
			if off > 2*plane.URel || off > c.most {
				t.Errorf("lengths are off by %.3f %%, said to be known to ±%.3f %%; want at most %.3f %%", 100*off, 200*plane.URel, 100*c.most)
			}
			if told := strings.Join(fit.Warnings, "; "); !strings.Contains(told, c.warns) {
				t.Errorf("nothing is said of %q: %s", c.warns, told)
			}
		})
	}
}

// A wall is seen on the side that the camera stands beyond.
func TestWallSeen(t *testing.T) {
	right := sideLine{r2.Vec{X: 1}, 40}
	for _, c := range []struct {
		eye  [3]float64
		want float64
	}{
		{[3]float64{0, 0, 200}, 0}, {[3]float64{40, 50, 200}, 0}, {[3]float64{140, 0, 200}, 0.5}, {[3]float64{0, 0, math.Inf(1)}, 0},
	} {
		if got := right.seenFrom(c.eye); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("from %v %g mm of each are seen, want %g", c.eye, got, c.want)
		}
	}
}

// Seen from aside a card's wall may be taken for a part of it: its width in the
// picture's plane, as a triangular distribution, is in the ± of that direction.
func TestWallIsDoubted(t *testing.T) {
	s := ordinarySheet(1)
	s.w, s.h = 2000, 1500
	s.sheet, s.corner, s.away = r2.Vec{X: 85.6, Y: 53.98}, 3.18, 150
	s.tilt, s.toward = 35, 0
	card, err := ParseSheet("card")
	if err != nil {
		t.Fatal(err)
	}
	uRel := func(thick float64) float64 {
		size := card
		size.Thickness = thick
		plane, _, err := Sheet(s.render(), SheetSet{Size: size})
		if err != nil {
			t.Fatal(err)
		}
		return plane.URel
	}
	thin, thick := uRel(0), uRel(card.Thickness)
	// A wall of 0.76 mm, seen at up to 35° from above on the side towards the camera:
	// at most 0.53 mm wide, over √6. Its height itself, which is known to a tenth,
	// makes half as much.
	doubt := math.Sqrt(thick*thick-thin*thin) * s.sheet.X
	if !(doubt > 0.08 && doubt < 0.53/math.Sqrt(6)) {
		t.Errorf("a wall of %g mm: relative uncertainties %.5f and, without it, %.5f, which are %.3f mm on the card", card.Thickness, thick, thin, doubt)
	}
}
