package show

import (
	"image"
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

// WritePicture writes a picture in the format that the name asks for: JPEG
// for .jpg and .jpeg, else PNG.
func WritePicture(w io.Writer, img image.Image, name string) error {
	if isJPEG(name) {
		return jpeg.Encode(w, img, &jpeg.Options{Quality: 92})
	}
	return png.Encode(w, img)
}
