package report

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"os"

	"boltrose/vision"

	"github.com/disintegration/imaging"
)

// Picture is an overlay as a report shows it.
type Picture struct {
	Width, Height int // px
	data          []byte
	kind          string // PNG or JPEG
}

const (
	maxFile   = 64 << 20
	maxPixels = 100_000_000
	maxSide   = 2000 // px; printed a hand wide that is more than 500 dpi
)

// OpenPicture reads a PNG or JPEG file that someone gives as the overlay. It is
// decoded and written anew, so that nothing of the file but its picture gets
// into the report.
func OpenPicture(path string) (*Picture, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxFile {
		return nil, fmt.Errorf("the picture's file is larger than %d MB", maxFile>>20)
	}
	return newPicture(data)
}

func newPicture(data []byte) (*Picture, error) {
	// What can be wrong with a file is told there.
	seen, err := vision.Decode(data, vision.Limits{MaxPixels: maxPixels})
	if err != nil {
		return nil, err
	}
	var img image.Image
	switch seen.Format {
	case "png":
		img, err = png.Decode(bytes.NewReader(data))
	case "jpeg":
		img, err = jpeg.Decode(bytes.NewReader(data))
	default:
		return nil, fmt.Errorf("the picture is %s: PNG or JPEG is wanted, as boltrose read --overlay writes it", seen.Format)
	}
	if err != nil {
		return nil, err
	}
	if b := img.Bounds(); max(b.Dx(), b.Dy()) > maxSide {
		img = imaging.Fit(img, maxSide, maxSide, imaging.Box)
	}
	p := &Picture{Width: img.Bounds().Dx(), Height: img.Bounds().Dy()}
	var b bytes.Buffer
	if few, ok := img.(*image.Paletted); ok { // as an overlay is: sharp and small
		p.kind, err = "PNG", png.Encode(&b, opaque(few))
	} else {
		paper := image.NewRGBA(img.Bounds())
		draw.Draw(paper, paper.Rect, image.White, image.Point{}, draw.Src)
		draw.Draw(paper, paper.Rect, img, paper.Rect.Min, draw.Over)
		p.kind, err = "JPEG", jpeg.Encode(&b, paper, &jpeg.Options{Quality: 90})
	}
	p.data = b.Bytes()
	return p, err
}

// opaque is the picture without transparent colours, on white.
func opaque(p *image.Paletted) *image.Paletted {
	q := *p
	q.Palette = append(q.Palette[:0:0], q.Palette...)
	for i, c := range q.Palette {
		one := image.NewRGBA(image.Rect(0, 0, 1, 1))
		draw.Draw(one, one.Rect, image.White, image.Point{}, draw.Src)
		draw.Draw(one, one.Rect, image.NewUniform(c), image.Point{}, draw.Over)
		q.Palette[i] = one.At(0, 0)
	}
	return &q
}
