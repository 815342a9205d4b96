package show

import (
	"image"
	"math"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// A circle of a face that was photographed aslant is drawn where it is seen:
// the camera of this test is written out here, apart from calib's.
func TestCirclesOfATiltedFace(t *testing.T) {
	sin, cos := math.Sincos(35 * math.Pi / 180)
	seen := func(mm r2.Vec) r2.Vec { // from 400 mm, 1000 px of focal length
		depth := 400 + mm.Y*sin
		return r2.Vec{X: 500 + 1000*mm.X/depth, Y: 400 - 1000*mm.Y*cos/depth}
	}
	var controls []calib.Control
	for _, at := range []r2.Vec{{X: -130, Y: -100}, {X: 130, Y: -100}, {X: 130, Y: 100}, {X: -130, Y: 100}} {
		controls = append(controls, calib.Control{Name: "corner", Px: seen(at), MM: at, SigmaPx: 0.05})
	}
	plane, _, err := calib.FromControls("corners", calib.ControlSet{Controls: controls, WidthPx: 1000, HighPx: 800, FocalPx: 1000})
	if err != nil {
		t.Fatal(err)
	}
	const radius = 80
	res := &read.Result{
		Picture: &vision.Picture{Grey: image.NewGray(image.Rect(0, 0, 1000, 800))},
		Plane:   plane,
		Marks:   []vision.Mark{{Centre: seen(r2.Vec{}), Radius: 190}},
		Rings:   []pattern.Ring{{Diameter: 2 * radius}},
		Reading: &pattern.Reading{Source: pattern.Source{Kind: pattern.ByPhoto}},
	}
	for i := range res.Picture.Grey.Pix {
		res.Picture.Grey.Pix[i] = 255
	}
	o, err := newOverlay(res, OverlayOptions{Unit: MM})
	if err != nil {
		t.Fatal(err)
	}
	o.rim(0, holePen)
	for i := range 36 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 36)
		px := seen(r2.Vec{X: radius * cos, Y: radius * sin})
		at := o.at(px.X, px.Y)
		if c := o.img.RGBAAt(int(at.X), int(at.Y)); int(c.B)-int(c.R) < 100 {
			t.Errorf("at %d° there is no line but %v", 10*i, c)
		}
	}
}
