package calib

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Real photographs of one sheet with 5 × 6 dots: BOLTROSE_DOTS names the folder
// with dots-5x6-1.png … dots-5x6-8.png. They are in no package; without them
// the test is skipped.
//
// The sheet itself is not an even grid: between its third and fourth row the
// steps get shorter by 1.4 % in every photograph taken straight on, wherever in
// the picture it lies and in two of them turned by a quarter, so that no lens
// does it; and it is bent. So the profile warns. What a photograph can be held
// against is what the others say of the sheet, and of these only the four that
// were taken within 6° of straight on: in the others the bend shows.
func TestDotsSeenFromAllSidesAgree(t *testing.T) {
	folder := os.Getenv("BOLTROSE_DOTS")
	if folder == "" {
		t.Skip("BOLTROSE_DOTS is not set")
	}
	var views []LensView
	for i := range 8 {
		name := fmt.Sprintf("dots-5x6-%d.png", i+1)
		pic, err := vision.Open(filepath.Join(folder, name), vision.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		marks, err := vision.Find(pic)
		if err != nil {
			t.Fatal(err)
		}
		dots, err := Grid(marks, 5, 6)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(dots) != 30 {
			t.Errorf("%s: %d dots", name, len(dots))
		}
		views = append(views, LensView{Name: name, Controls: dots})
	}
	lens, fit, err := FitLens(views, 640, 480, LensModel{})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("rms %.3f px, f %.0f px ± %.0f, k1 %.2f ± %.2f", fit.RMSPx, lens.FX, 2*math.Sqrt(lens.Cov.At(0, 0)), lens.K1, 2*math.Sqrt(lens.Cov.At(4, 4)))

	if len(fit.Warnings) == 0 || !strings.Contains(fit.Warnings[0], "not flat") {
		t.Errorf("nothing is said of the sheet: %v", fit.Warnings)
	}

	for _, profile := range []*Lens{nil, lens} {
		sheets := make([][30]r2.Vec, len(views))
		var even []float64
		for i, v := range views {
			sheets[i] = fromCorners(t, v, profile)
			even = append(even, off(sheets[i], func(k int) r2.Vec { return r2.Vec{X: float64(k % 5), Y: -float64(k / 5)} }))
			if i > 0 && off(halfTurn(sheets[i]), at(sheets[0])) < off(sheets[i], at(sheets[0])) {
				sheets[i] = halfTurn(sheets[i])
			}
		}
		var missed []float64
		for i := range sheets {
			var mean [30]r2.Vec
			for k := range mean {
				for j := range sheets {
					if j != i {
						mean[k] = r2.Add(mean[k], r2.Scale(1/float64(len(sheets)-1), sheets[j][k]))
					}
				}
			}
			missed = append(missed, off(sheets[i], at(mean)))
		}
		t.Logf("profile %v: from an even grid %.2f %% of the pitch, from what the other photographs say %.2f %%", profile != nil, 100*medianOf(even), 100*medianOf(missed))
		t.Logf("  %.4f", missed)
		slices.Sort(missed)
		if profile == nil && missed[3] > 0.0035 {
			t.Errorf("of four photographs taken straight on, one is off by %.2f %% of the pitch", 100*missed[3])
		}
	}
}

func isCorner(k int) bool { return (k%5 == 0 || k%5 == 4) && (k/5 == 0 || k/5 == 5) }

// fromCorners measures the 30 dots with the four in the corners as ties.
func fromCorners(t *testing.T, v LensView, profile *Lens) (out [30]r2.Vec) {
	set := ControlSet{WidthPx: 640, HighPx: 480, Lens: profile}
	place := func(c Control) int { return int(c.MM.X) + 5*int(-c.MM.Y) }
	for _, c := range v.Controls {
		if isCorner(place(c)) {
			set.Controls = append(set.Controls, c)
		}
	}
	p, _ := mustControls(t, set)
	for _, c := range v.Controls {
		m, err := p.Measure(*c.Mark)
		if err != nil {
			t.Fatal(err)
		}
		out[place(c)] = m.Centre
	}
	return out
}

func at(sheet [30]r2.Vec) func(int) r2.Vec { return func(k int) r2.Vec { return sheet[k] } }

func halfTurn(sheet [30]r2.Vec) (out [30]r2.Vec) {
	for k, p := range sheet {
		out[29-k] = r2.Vec{X: 4 - p.X, Y: -5 - p.Y}
	}
	return out
}

// off is the rms length, in pitches, by which dots that are not in the corners
// lie beside where they should.
func off(sheet [30]r2.Vec, want func(k int) r2.Vec) float64 {
	sum := 0.0
	for k, p := range sheet {
		if !isCorner(k) {
			sum += r2.Norm2(r2.Sub(p, want(k))) / 26
		}
	}
	return math.Sqrt(sum)
}

func medianOf(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
