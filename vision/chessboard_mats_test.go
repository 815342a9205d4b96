//go:build matprofile

package vision

import (
	"image"
	"testing"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

func TestMatsAreClosedAfterCorners(t *testing.T) {
	full, _ := board(200, 200, r2.Vec{X: 100, Y: 100}, 20, 0.3, 4, 3)
	for name, g := range map[string]*image.Gray{
		"board":     full,
		"part":      full.SubImage(image.Rect(50, 50, 150, 150)).(*image.Gray),
		"too small": image.NewGray(image.Rect(0, 0, 3, 3)),
		"empty":     image.NewGray(image.Rect(0, 0, 300, 200)),
	} {
		before := gocv.MatProfile.Count()
		_, err := Corners(&Picture{Grey: g})
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("%s (error %v): %d matrices are left open", name, err, after-before)
		}
	}
}
