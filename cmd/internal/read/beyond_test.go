package read_test

import (
	"image"
	"image/draw"
	"slices"
	"strings"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/samples"
	"boltrose/vision"
)

// What the picture does not show of a face, and a resolution that is not the file's
// own, are told.
func TestWarnsOfWhatIsNotInThePicture(t *testing.T) {
	r := samples.New(samples.Keyed(96, []float64{0, 60, 120, 187, 240, 300}, 9), 5)
	r.DPI = 150
	img, truth := r.Render()
	whole := pictureOf(img, truth.DPI).Grey
	right := image.NewGray(image.Rect(0, 0, whole.Rect.Dx()*7/10, whole.Rect.Dy()))
	draw.Draw(right, right.Rect, whole, image.Pt(whole.Rect.Dx()*3/10, 0), draw.Src)
	for _, c := range []struct {
		name  string
		img   *image.Gray
		dpi   float64
		taken *vision.Camera
		warns string // "": not at all
	}{
		{"whole", whole, 0, nil, ""},
		{"whole, its own dpi", whole, 150.5, nil, ""},
		{"cut", right, 0, nil, "the pitch circle leaves the picture"},
		{"another dpi", whole, 300, nil, "the file says 150 dpi and you gave 300: every length is 0.5 times"},
		{"a photograph", whole, 150, &vision.Camera{FocalLengthMM: 5}, "a camera took this picture"},
	} {
		pic := pictureOf(c.img, 150)
		pic.Camera = c.taken
		res, err := read.Picture(pic, c.name, read.Options{ScaleU: -1, DPI: [2]float64{c.dpi, c.dpi}})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		told := slices.DeleteFunc(slices.Clone(res.Reading.Warnings), func(w string) bool {
			return !strings.HasPrefix(w, "the pitch circle leaves") && !strings.HasPrefix(w, "the file says") && !strings.HasPrefix(w, "a camera took")
		})
		if c.warns == "" && len(told) > 0 || c.warns != "" && (len(told) != 1 || !strings.HasPrefix(told[0], c.warns)) {
			t.Errorf("%s: told %q, want %q", c.name, told, c.warns)
		}
	}
}
