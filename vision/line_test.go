package vision

import (
	"image"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// ring draws a line of a width along a circle.
func ring(w, h int, centre r2.Vec, radius, width float64, line, paper uint8) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			share := coverage(x, y, centre, radius+width/2) - coverage(x, y, centre, radius-width/2)
			g.Pix[y*g.Stride+x] = blend(line, paper, share)
		}
	}
	return g
}

// A drawn circle has two edges, each where it is: however thin the line, and
// however large the circle, which is looked at coarsely.
func TestFindThinLine(t *testing.T) {
	worst := 0.0
	for _, radius := range []float64{8, 15, 27, 50, 103, 200, 410, 700} {
		for _, width := range []float64{1, 1.5, 2, 4, 9} {
			if width > radius/3 {
				continue
			}
			for _, tone := range [][2]uint8{{40, 240}, {220, 90}} {
				side := int(2*radius + 120)
				centre := r2.Vec{X: float64(side)/2 + 0.3, Y: float64(side)/2 - 0.2}
				inner, outer := Lighter, Darker
				if tone[0] > tone[1] {
					inner, outer = Darker, Lighter
				}
				marks := find(t, ring(side, side, centre, radius, width, tone[0], tone[1]))
				for kind, want := range map[Kind]float64{inner: radius - width/2, outer: radius + width/2} {
					m, ok := nearest(marks, centre, radius, kind)
					if !ok {
						t.Errorf("a line of %g px at %g px: no edge that is %s", width, radius, kind)
						continue
					}
					off := math.Abs(m.Radius - want)
					worst = max(worst, off)
					limit := 0.25
					if width < 2 { // which pixels do not tell from none
						limit = 0.6
					}
					if off > limit || r2.Norm(r2.Sub(m.Centre, centre)) > 0.1 {
						t.Errorf("a line of %g px at %g px: the edge that is %s at %.2f px, not %.2f", width, radius, kind, m.Radius, want)
					}
				}
			}
		}
	}
	t.Logf("at most %.2f px off", worst)
}

// A width of a line comes out of where its smoothed slopes are steepest: this
// looks for the place numerically.
func TestLineShare(t *testing.T) {
	const sigma = 1.7
	for _, width := range []float64{0.5, 1, 2, 4, 7} {
		gauss := func(x float64) float64 { return math.Exp(-x * x / (2 * sigma * sigma)) }
		best, y := 0.0, 0.0
		for x := 0.0; x < 10; x += 1e-4 {
			if v := gauss(x-width/2) - gauss(x+width/2); v > best {
				best, y = v, x
			}
		}
		if got := 2 * y * lineShare(y*y/(sigma*sigma)); math.Abs(got-width) > 0.01 {
			t.Errorf("a line of width %g came out as %g", width, got)
		}
	}
}

// The edge of a disc is a step, that of a drawn circle has the same on both sides.
func TestFindStep(t *testing.T) {
	centre := r2.Vec{X: 100.3, Y: 99.6}
	m, ok := nearest(find(t, disc(200, 200, centre, 40, 220, 130)), centre, 40, Lighter)
	if !ok || math.Abs(m.Step-90) > 2 {
		t.Errorf("a disc 90 levels lighter: found %v, a step of %.1f", ok, m.Step)
	}
	g := disc(200, 200, centre, 43, 60, 200)
	for y := range 200 {
		for x := range 200 {
			if share := coverage(x, y, centre, 40); share > 0 {
				p := &g.Pix[y*g.Stride+x]
				*p = blend(200, *p, share)
			}
		}
	}
	m, ok = nearest(find(t, g), centre, 40, Lighter)
	if !ok || math.Abs(m.Step) > 2 {
		t.Errorf("a line of 3 px: found %v, a step of %.1f", ok, m.Step)
	}
}

// A line drawn along a hole's edge has another edge outside it; the step from paper
// to lead has none.
func TestFindInkOnEdge(t *testing.T) {
	centre := r2.Vec{X: 100.3, Y: 99.6}
	for _, width := range []float64{0, 5} {
		g := disc(200, 200, centre, 40, 235, 150)
		for y := range 200 {
			for x := range 200 {
				if share := coverage(x, y, centre, 40+width/2) - coverage(x, y, centre, 40-width/2); share > 0 {
					p := &g.Pix[y*g.Stride+x]
					*p = blend(50, *p, share)
				}
			}
		}
		m, ok := nearest(find(t, g), centre, 40-width/2, Lighter)
		if !ok {
			t.Fatalf("a line of %g px: no hole", width)
		}
		if drawn := m.InkSteep > 0.4 && math.Abs(m.Ink-width) < 1; drawn != (width > 0) {
			t.Errorf("a line of %g px: one %.2f as steep %.1f px outside", width, m.InkSteep, m.Ink)
		}
	}
}
