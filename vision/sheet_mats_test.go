//go:build matprofile

package vision

import (
	"image"
	"testing"

	"gocv.io/x/gocv"
)

func TestMatsAreClosedAfterQuads(t *testing.T) {
	for name, pic := range map[string]*Picture{
		"a sheet": quadPicture(640, 500, someQuad, 200, 3, plain(90)),
		"blank":   {Grey: image.NewGray(image.Rect(0, 0, 400, 300))},
		"nothing": {Grey: image.NewGray(image.Rectangle{})},
		"a rule":  steelRule(1).render(),
	} {
		before := gocv.MatProfile.Count()
		_, err := FindQuads(pic)
		_, err2 := FindGraduations(pic, 11.8, 11.8)
		if after := gocv.MatProfile.Count(); after != before {
			t.Errorf("%s (errors %v, %v): %d matrices are left open", name, err, err2, after-before)
		}
	}
}
