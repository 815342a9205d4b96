package read_test

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/demo"
	"boltrose/cmd/internal/read"
	"boltrose/pattern/thread"
	"boltrose/samples"
)

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
	id, err := thread.Identify(m)
	if err != nil || len(id.Candidates) == 0 || id.Candidates[0].Designation() != "M16x2" {
		t.Errorf("%+v: %+v, %v", m, id, err)
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
