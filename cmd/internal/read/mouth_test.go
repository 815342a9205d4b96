package read_test

import (
	"image"
	"math"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/samples"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// The edges of a bore and of its narrow chamfer run into one mark that is here on
// the one and there on the other: read as one edge, such bores are some tenths of
// a millimetre off.
func TestChamferedBore(t *testing.T) {
	const most = 0.15 // mm
	square, n := 0.0, 0
	for seed := uint64(1); seed <= 8; seed++ {
		face := samples.Keyed(76, []float64{90, 160, 235, 305, 20}, 9)
		face.Bore = &samples.Disc{X: 0.1, Y: -0.05, Diameter: 40, Outer: 40 + 0.25*float64(seed) + 0.4}
		r := samples.New(face, seed)
		r.Vary(seed)
		r.DPI = 300
		img, truth := r.Render()
		res, err := read.Picture(&vision.Picture{Grey: img.(*image.Gray), Format: "png", DPI: [2]float64{300, 300}}, "rubbing", read.Options{ScaleU: -1})
		if err != nil {
			t.Fatal(err)
		}
		bore := res.Reading.Bore
		if bore == nil || bore.Offset == nil {
			t.Errorf("seed %d: no bore", seed)
			continue
		}
		off := math.Abs(*bore.Offset - r2.Norm(r2.Vec{X: 0.1, Y: -0.05}))
		square, n = square+off*off, n+1
		t.Logf("seed %d, chamfer of %.2f mm: offset %.3f ±%.3f, %.3f off; diameter %.2f ±%.2f", seed, truth.Bore.Outer, *bore.Offset, *bore.OffsetU95, off, bore.Diameter, bore.DiameterU95)
		if math.Abs(bore.Diameter-truth.Bore.Diameter) > bore.DiameterU95 {
			t.Errorf("seed %d: a bore of %.2f mm reads %.2f ±%.2f", seed, truth.Bore.Diameter, bore.Diameter, bore.DiameterU95)
		}
	}
	if rms := math.Sqrt(square / float64(n)); !(rms < most) {
		t.Errorf("offsets of bores are %.3f mm rms off, want at most %g", rms, most)
	}
}

// Where every hole has a narrow chamfer that runs into it, none is round at first
// sight; each edge by itself is.
func TestChamferedHoles(t *testing.T) {
	r := samples.Population(109, 22)[108] // 150 dpi, a grey lid, chamfers of 0.8 mm
	img, truth := r.Render()
	res, err := read.Picture(&vision.Picture{Grey: img.(*image.Gray), Format: "png", DPI: [2]float64{r.DPI, r.DPI}}, "rubbing", read.Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	if got := len(res.Reading.Holes); got != len(truth.Holes) || res.Reading.PitchCircle == nil {
		t.Errorf("%d of %d holes; pitch circle: %v", got, len(truth.Holes), res.Reading.PitchCircle)
	}
}
