package read_test

import (
	"errors"
	"image"
	"image/color"
	"image/draw"
	"math"
	"slices"
	"strings"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/demo"
	"boltrose/cmd/internal/read"
	"boltrose/pattern/thread"
	"boltrose/samples"
	"boltrose/vision"
)

// A solid bolt that lies on a frame without a window, photographed from straight
// above and askew, gives the right thread: its axis lies half its diameter above
// the frame, and its outline is that of a body. In the light of one lamp its
// shadow joins it, and it is refused: rather no thread than a wrong one.
func TestSolidBoltInPhotographWithFrame(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photographs of 12 megapixels")
	}
	kinds := map[string]samples.ThreadKind{}
	for _, k := range samples.ThreadKinds() {
		kinds[k.Name] = k
	}
	f := demo.Frame(110)
	for _, c := range []struct {
		name         string
		tilt, toward float64
		turn         float64
		ambient      float64
	}{
		{"M16x2", 0, 0, 12, 1}, {"1/2-13 UNC", 10, 60, 75, 0.9}, {"3/8-16 BSW", 18, 200, 140, 1}, {"M12x1.75", 0, 0, 30, 0.4},
	} {
		kind := kinds[c.name]
		sheet := demo.Sheet(f)
		sheet.WindowWidth, sheet.WindowHeight = 0, 0
		p := samples.NewPhoto(samples.Face{}, 5)
		p.NoFace, p.Sheet = true, &sheet
		p.Screw = &samples.LaidScrew{Screw: kind.Made(7), X: 6, Y: -4, Base: sheet.Above, Turn: c.turn}
		p.Screw.Length = 24 * kind.Pitch
		p.Camera = samples.Camera{Width: 3000, Height: 2250, Distance: 260, Tilt: c.tilt, Toward: c.toward}
		p.Light.Ambient = c.ambient
		img, _ := p.Render()
		pic := pictureOf(img, 0)
		pic.DPI = [2]float64{}
		r, err := read.Thread(pic, read.Options{ScaleU: -1, Printed: calib.PrintedBars{f.BarX.Length(), f.BarY.Length()}})
		if c.ambient < 0.5 {
			if !errors.Is(err, vision.ErrNoThread) || !strings.Contains(err.Error(), "shadow") {
				t.Errorf("%s in hard light: %+v, %v", c.name, r, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		m := r.Measured
		id, err := thread.Identify(m)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var first, alike []string
		for _, k := range id.Candidates[:min(1, len(id.Candidates))] {
			first = append(first, k.Designation())
		}
		for _, g := range id.Ambiguous {
			for _, th := range g {
				alike = append(alike, th.Designation())
			}
		}
		t.Logf("%s, %g° askew: %v of %v; pitch %.4f ±%.4f of %.4f mm, major %.2f ±%.2f of %.2f mm, flanks %.1f ±%.1f°", c.name, c.tilt, first, alike,
			m.Pitch.V, m.Pitch.U95, kind.Pitch, m.Major.V, m.Major.U95, p.Screw.Major, m.FlankDeg.V, m.FlankDeg.U95)
		if off := math.Abs(m.Pitch.V - kind.Pitch); off > m.Pitch.U95 {
			t.Errorf("%s: pitch %.4f ±%.4f mm", c.name, m.Pitch.V, m.Pitch.U95)
		}
		if len(alike) > 3 || !slices.Contains(append(first, alike...), c.name) {
			t.Errorf("%s is taken for %v of %v", c.name, first, alike)
		}
	}
}

// A bolt's picture, printed in the middle of a frame and photographed from 20°
// askew, gives the bolt's pitch on the paper.
func TestThreadInPhotographWithFrame(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photograph of 12 megapixels")
	}
	kind := samples.ThreadKind{Name: "M16x2", Major: 16, Pitch: 2, FlankDeg: 60}
	scan := samples.ThreadScan{Screw: kind.Made(4), Seed: 4, DPI: 300, Margin: 4, Lid: 0.93, Metal: 0.25, BlurMM: 0.02}
	scan.Screw.Length, scan.Screw.Head, scan.Screw.Shank = 40, 0, 0
	bolt, _ := scan.Render()
	f := demo.Frame(110)
	sheet := demo.Sheet(f)
	sheet.WindowWidth, sheet.WindowHeight = 0, 0
	const px = 300 / 25.4
	page := image.NewGray(image.Rect(0, 0, int(sheet.Width*px), int(sheet.Height*px)))
	draw.Draw(page, page.Rect, image.NewUniform(color.Gray{Y: 237}), image.Point{}, draw.Src)
	at := page.Rect.Size().Div(2).Sub(bolt.Rect.Size().Div(2))
	draw.Draw(page, bolt.Rect.Add(at), bolt, image.Point{}, draw.Src)
	sheet.Picture = page
	p := samples.NewPhoto(samples.Face{}, 5)
	p.Sheet = &sheet
	p.Camera.Distance, p.Camera.Tilt, p.Camera.Toward = 330, 20, 60
	img, _ := p.Render()
	pic := pictureOf(img, 0)
	pic.DPI = [2]float64{}

	// The picture lies in the sheet, as no bolt does: 0 mm above it, surely.
	r, err := read.Thread(pic, read.Options{ScaleU: -1, AboveU95: 0.02, Printed: calib.PrintedBars{f.BarX.Length(), f.BarY.Length()}})
	if err != nil {
		t.Fatal(err)
	}
	m := r.Measured
	if off := math.Abs(m.Pitch.V - 2); off > m.Pitch.U95 || m.Pitch.U95 > 0.02 {
		t.Errorf("pitch %.4f ±%.4f mm", m.Pitch.V, m.Pitch.U95)
	}
	// A picture is no body, whose outline is wider from aslant: it is taken for
	// one, and so for a thinner bolt by the cosine of the view across its axis.
	if ratio := m.Major.V / scan.Screw.Major; ratio > 1 || ratio < math.Cos(20*math.Pi/180)-0.01 {
		t.Errorf("a major diameter of %.2f mm", m.Major.V)
	}
	// A bolt's own axis lies higher than the frame: the same picture then shows a
	// smaller bolt.
	above, err := read.Thread(pic, read.Options{ScaleU: -1, Printed: calib.PrintedBars{f.BarX.Length(), f.BarY.Length()}})
	if err != nil {
		t.Fatal(err)
	}
	// By similar triangles: half a diameter of 16 mm at about 330 mm.
	want := 1 - 8./330
	if got := above.Measured.Pitch.V / m.Pitch.V; math.Abs(got-want) > 0.004 {
		t.Errorf("lying on the frame it is %.4f times as large, want about %.4f", got, want)
	}
}
