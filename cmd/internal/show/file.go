package show

import (
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"path/filepath"
	"strings"
)

// PictureName tells whether a file's name ends as one that WritePicture knows.
func PictureName(name string) bool {
	return isJPEG(name) || strings.EqualFold(filepath.Ext(name), ".png")
}

func isJPEG(name string) bool {
	ext := filepath.Ext(name)
	return strings.EqualFold(ext, ".jpg") || strings.EqualFold(ext, ".jpeg")
}

// WritePicture writes an overlay in the format that the name asks for: JPEG
// for .jpg and .jpeg, else PNG.
func WritePicture(w io.Writer, img *image.RGBA, name string) error {
	if isJPEG(name) {
		return jpeg.Encode(w, img, &jpeg.Options{Quality: 92})
	}
	return png.Encode(w, indexed(img))
}

// indexed is an overlay in the few colours that it has, which makes a PNG
// less than half as large: greys, and each ink as it thins out over them.
func indexed(img *image.RGBA) *image.Paletted {
	var p color.Palette
	for v := 0; v < 255; v += 2 {
		if v%16 != 0 && v < 224 {
			continue // pencil is noise, but paper would show steps
		}
		p = append(p, color.RGBA{uint8(v), uint8(v), uint8(v), 255})
	}
	p = append(p, color.RGBA{255, 255, 255, 255})
	for _, ink := range []color.NRGBA{blue, vermilion, green, purple} {
		for part := 1; part <= 6; part++ {
			for _, under := range []int{110, 150, 190, 230, 255} {
				mix := func(c uint8) uint8 { return uint8((int(c)*part + under*(6-part)) / 6) }
				p = append(p, color.RGBA{mix(ink.R), mix(ink.G), mix(ink.B), 255})
			}
		}
	}
	out := image.NewPaletted(img.Rect, p)
	nearest := map[[3]uint8]uint8{}
	for i := range out.Pix { // both have no gaps between rows
		c := [3]uint8(img.Pix[4*i : 4*i+3])
		at, known := nearest[c]
		if !known {
			at = uint8(p.Index(color.RGBA{c[0], c[1], c[2], 255}))
			nearest[c] = at
		}
		out.Pix[i] = at
	}
	return out
}
