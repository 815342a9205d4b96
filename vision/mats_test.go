//go:build matprofile

package vision

import (
	"image"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// Memory of OpenCV is not collected: every matrix is closed, on every way out.
func TestMatsAreClosed(t *testing.T) {
	spots, centres, radii := face(1)
	part := spots.SubImage(image.Rect(0, 0, 200, 150)).(*image.Gray)
	for name, g := range map[string]*image.Gray{
		"spots":            spots,
		"part":             part,
		"constant":         disc(300, 200, r2.Vec{}, 0, 0, 90),
		"1 × 1":            disc(1, 1, r2.Vec{}, 0, 0, 90),
		"1 × 400":          disc(1, 400, r2.Vec{}, 0, 0, 90),
		"400 × 1":          disc(400, 1, r2.Vec{}, 0, 0, 90),
		"3 × 3":            disc(3, 3, r2.Vec{}, 0, 0, 90),
		"nothing":          image.NewGray(image.Rectangle{}),
		"no height":        image.NewGray(image.Rect(0, 0, 10, 0)),
		"larger than once": disc(1200, 1000, r2.Vec{X: 600, Y: 500}, 70, 200, 60),
	} {
		before := gocv.MatProfile.Count()
		_, err := Find(&Picture{Grey: g})
		MeasureAt(&Picture{Grey: g}, centres[0], radii[0])
		MeasureAt(&Picture{Grey: g}, r2.Vec{X: -100, Y: 1e6}, 3)
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("%s (error %v): %d matrices are left open", name, err, after-before)
		}
	}
}

func TestMatsAreClosedAfterLoading(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if info, err := os.Stat(file); err != nil || info.IsDir() {
			continue
		}
		before := gocv.MatProfile.Count()
		_, err := Open(file, Limits{})
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("%s (error %v): %d matrices are left open", file, err, after-before)
		}
	}
}
