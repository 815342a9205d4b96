//go:build matprofile

package read_test

import (
	"image"
	"os"
	"path/filepath"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/samples"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// Every matrix of OpenCV is closed on the whole way from a picture to a
// reading, and where that fails.
func TestMatsAreClosed(t *testing.T) {
	rubbing := samples.New(samples.CiderPress(), 1)
	rubbing.DPI = 150
	img, truth := rubbing.Render()
	hole := truth.Holes[0]
	good := pictureOf(img, 150)
	blank := pictureOf(image.NewGray(image.Rect(0, 0, 300, 200)), 150)
	noScale := pictureOf(image.NewGray(image.Rect(0, 0, 300, 200)), 0)
	text := filepath.Join(t.TempDir(), "text.png")
	if err := os.WriteFile(text, []byte("not a picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, run := range map[string]func() (*read.Result, error){
		"good": func() (*read.Result, error) { return read.Picture(good, "", read.Options{ScaleU: -1}) },
		"free": func() (*read.Result, error) { return read.Picture(good, "", read.Options{ScaleU: -1, Free: true}) },
		"dropped": func() (*read.Result, error) {
			return read.Picture(good, "", read.Options{ScaleU: -1, Drop: []string{"1"}})
		},
		"no scale": func() (*read.Result, error) { return read.Picture(noScale, "", read.Options{ScaleU: -1}) },
		"blank":    func() (*read.Result, error) { return read.Picture(blank, "", read.Options{ScaleU: -1}) },
		"text":     func() (*read.Result, error) { return read.File(text, read.Options{ScaleU: -1}) },
		"missing":  func() (*read.Result, error) { return read.File(text+"?", read.Options{ScaleU: -1}) },
		"added": func() (*read.Result, error) {
			return read.Picture(good, "", read.Options{ScaleU: -1, Add: []read.Added{{Centre: hole.CentrePx, Diameter: hole.Diameter / truth.MMPerPxX}}})
		},
		"added where nothing is": func() (*read.Result, error) {
			return read.Picture(blank, "", read.Options{ScaleU: -1, Add: []read.Added{{Centre: r2.Vec{X: 50, Y: 50}, Diameter: 30}}})
		},
	} {
		before := gocv.MatProfile.Count()
		_, err := run()
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("%s (error %v): %d matrices are left open", name, err, after-before)
		}
	}
}
