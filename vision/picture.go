// Package vision knows pixels: it loads pictures and finds circular edges in
// them with subpixel edge points. It knows no millimetres and no patterns.
//
// Pixel coordinates: x right, y down, the top-left corner of the picture is
// (0, 0), the centre of its first pixel is (0.5, 0.5).
package vision

import "image"

// Picture is a decoded picture, upright as its file says it should be looked
// at, reduced to grey.
type Picture struct {
	Grey   *image.Gray // origin at (0, 0)
	SHA256 string      // hex digest of the file's bytes
	Format string      // "png", "jpeg", "tiff", "bmp" or "webp"

	// DPI is what the file says of its own resolution, pixels per inch along
	// x and y of the upright picture; zero when it says nothing. DPISource
	// names the field that said so, for example "PNG pHYs".
	DPI       [2]float64
	DPISource string

	Camera *Camera // nil when the file names no camera
}

// Camera is what a photograph's EXIF says of how it was taken.
type Camera struct {
	Make, Model   string
	FocalLengthMM float64
}
