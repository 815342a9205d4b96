// Package vision knows pixels: it loads pictures and finds circular edges in
// them with subpixel edge points. It knows no millimetres and no patterns.
//
// Pixel coordinates: x right, y down, the top-left corner of the picture is
// (0, 0), the centre of its first pixel is (0.5, 0.5).
package vision

import (
	"image"
	"sync"
)

// Picture is a decoded picture, upright as its file says it should be looked
// at, reduced to grey.
type Picture struct {
	// Grey has its origin at (0, 0) and no gaps between rows: Stride is the
	// width. 0 is black, 255 white; what was transparent is white paper.
	Grey   *image.Gray
	SHA256 string // hex digest of the file's bytes; of page N > 1, of these and "#N"
	Format string // "png", "jpeg", "tiff", "bmp", "webp", "heic" or "pdf"

	Page, Pages int // which page this is, from 1, and how many the file has

	// DPI is what the file says of its own resolution, pixels per inch along
	// x and y of the upright picture; zero when it says nothing. DPISource
	// names the field that said so, for example "PNG pHYs".
	DPI       [2]float64
	DPISource string

	// Warnings are things a person should know about the file, in plain
	// words, for example two fields that disagree about the resolution.
	Warnings []string

	Camera *Camera // nil when the file names no camera

	once       sync.Once // makes the rest, for all that look at the picture
	reduced    *pyramid
	reducedErr error
}

// pyramid returns the picture at reduced sizes.
func (p *Picture) pyramid() (*pyramid, error) {
	p.once.Do(func() { p.reduced, p.reducedErr = newPyramid(p.Grey) })
	return p.reduced, p.reducedErr
}

// Camera is what a photograph's EXIF says of how it was taken.
type Camera struct {
	Make, Model   string
	FocalLengthMM float64
}
