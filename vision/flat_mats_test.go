//go:build matprofile

package vision

import (
	"image"
	"testing"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

func TestMatsAreClosedOfSpotsAndFlat(t *testing.T) {
	for _, pic := range []*Picture{
		ellipses(120, 90, []r2.Vec{{X: 50, Y: 40}}, 20, 15, 0.3),
		{Grey: image.NewGray(image.Rect(0, 0, 1, 1))},
		{Grey: image.NewGray(image.Rectangle{})},
	} {
		before := gocv.MatProfile.Count()
		_, err1 := Spots(pic)
		_, err2 := Flatten(pic, 50, 40, [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1})
		_, err3 := Flatten(pic, 0, 40, [9]float64{})
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("errors %v, %v, %v: %d matrices are left open", err1, err2, err3, after-before)
		}
	}
}
