package vision

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math"
	"sync"

	"github.com/klippa-app/go-pdfium"
	"github.com/klippa-app/go-pdfium/enums"
	pdferrors "github.com/klippa-app/go-pdfium/errors"
	"github.com/klippa-app/go-pdfium/references"
	"github.com/klippa-app/go-pdfium/requests"
	"github.com/klippa-app/go-pdfium/webassembly"
	"github.com/tetratelabs/wazero"
)

// pdfReader reads PDF (ISO 32000-1) as scanners write it: of each page the scan
// that it holds, pixel by pixel as it was stored, and what the page says of its
// size. A page that is put together of several pictures is drawn, as finely as
// the finest of them.
type pdfReader struct{}

// pdfPool is the decoder, compiled when the first file wants it.
var pdfPool = sync.OnceValues(func() (pdfium.Pool, error) {
	return webassembly.Init(webassembly.Config{
		MaxTotal:      1 << 16,
		FSConfig:      wazero.NewFSConfig(), // no file is in its reach
		RuntimeConfig: sandbox(),
		Stdout:        io.Discard,
		Stderr:        io.Discard,
	})
})

const pointsPerInch = 72 // ISO 32000-1 clause 8.3.2.3

type pdfDocument struct {
	pdfium.Pdfium
	doc    references.FPDF_DOCUMENT
	count  int
	unkill func() bool
}

func (pdfReader) open(f *file) (_ document, err error) {
	pool, err := pdfPool()
	if err != nil {
		return nil, err
	}
	instance, err := pool.GetInstanceWithContext(f.ctx)
	if err != nil {
		return nil, err
	}
	d := &pdfDocument{Pdfium: instance}
	d.unkill = context.AfterFunc(f.ctx, func() { _ = instance.Kill() })
	defer func() {
		if err != nil {
			d.close()
		}
	}()
	opened, err := d.OpenDocument(&requests.OpenDocument{FileReader: f.section(), FileReaderSize: f.size})
	switch {
	case errors.Is(err, pdferrors.ErrPassword), errors.Is(err, pdferrors.ErrSecurity):
		return nil, failf(ErrUnsupported, "is a PDF with a password; save it without one, or scan to PNG")
	case err != nil:
		return nil, pdfError(err)
	}
	d.doc = opened.Document
	count, err := d.FPDF_GetPageCount(&requests.FPDF_GetPageCount{Document: d.doc})
	if err != nil {
		return nil, pdfError(err)
	}
	if d.count = count.PageCount; d.count < 1 {
		return nil, failf(ErrDamaged, "is a PDF without pages; copy or scan it again")
	}
	return d, nil
}

// pdfError leaves out what a decoder in a sandbox says when it breaks, many
// lines that help nobody here.
func pdfError(err error) error {
	for _, known := range []error{pdferrors.ErrFormat, pdferrors.ErrFile, pdferrors.ErrPage} {
		if errors.Is(err, known) {
			return decoderError(PDF, errors.New("its structure is broken"))
		}
	}
	return decoderError(PDF, errors.New("its decoder gave up"))
}

func (d *pdfDocument) pages() int { return d.count }

func (d *pdfDocument) close() {
	if d.unkill() { // else it was killed
		_ = d.Pdfium.Close()
	}
}

// pdfImage is a picture on a page.
type pdfImage struct {
	object references.FPDF_PAGEOBJECT
	w, h   int
	place  pdfMatrix // of the unit square on the page, in points
	mask   bool      // one bit a pixel, painted in some colour
}

// pdfMatrix maps (x, y) to (a·x + c·y + e, b·x + d·y + f).
type pdfMatrix struct{ a, b, c, d, e, f float64 }

func (m pdfMatrix) then(n pdfMatrix) pdfMatrix {
	return pdfMatrix{
		m.a*n.a + m.b*n.c, m.a*n.b + m.b*n.d,
		m.c*n.a + m.d*n.c, m.c*n.b + m.d*n.d,
		m.e*n.a + m.f*n.c + n.e, m.e*n.b + m.f*n.d + n.f,
	}
}

func (p pdfImage) area() float64 { return math.Abs(p.place.a*p.place.d - p.place.b*p.place.c) }

// dpi along the picture's own rows and columns.
func (p pdfImage) dpi() [2]float64 {
	return [2]float64{
		float64(p.w) / math.Hypot(p.place.a, p.place.b) * pointsPerInch,
		float64(p.h) / math.Hypot(p.place.c, p.place.d) * pointsPerInch,
	}
}

// square tells whether rows and columns are at right angles on the page.
func (p pdfImage) square() bool {
	m := p.place
	return math.Abs(m.a*m.c+m.b*m.d) < 1e-3*p.area()
}

func (d *pdfDocument) page(n int) (*page, error) {
	loaded, err := d.FPDF_LoadPage(&requests.FPDF_LoadPage{Document: d.doc, Index: n - 1})
	if err != nil {
		return nil, pdfError(err)
	}
	on := requests.Page{ByReference: &loaded.Page}
	images, err := d.images(on)
	if err != nil {
		return nil, pdfError(err)
	}
	if len(images) == 0 {
		return nil, failf(ErrUnsupported, "its page %d holds no scan, only text or lines; scan the rubbing to PNG, or give another page with --page", n)
	}
	if len(images) == 1 && images[0].square() && !images[0].mask {
		return d.scan(on, images[0])
	}
	return d.drawn(on, images)
}

// maxObjects is the most things on a page that are looked at.
const maxObjects = 10_000

// images finds the pictures on a page, less those that are small beside the
// largest: stamps and signs.
func (d *pdfDocument) images(on requests.Page) ([]pdfImage, error) {
	count, err := d.FPDFPage_CountObjects(&requests.FPDFPage_CountObjects{Page: on})
	if err != nil {
		return nil, err
	}
	var found []pdfImage
	left := maxObjects
	for i := range count.Count {
		o, err := d.FPDFPage_GetObject(&requests.FPDFPage_GetObject{Page: on, Index: i})
		if err != nil {
			return nil, err
		}
		if err := d.collect(o.PageObject, pdfMatrix{a: 1, d: 1}, 0, &left, &found); err != nil {
			return nil, err
		}
	}
	largest := 0.0
	for _, p := range found {
		largest = math.Max(largest, p.area())
	}
	var out []pdfImage
	for _, p := range found {
		if p.area() > largest/100 {
			out = append(out, p)
		}
	}
	return out, nil
}

// collect adds a picture, or those in a group of things (form XObject).
func (d *pdfDocument) collect(o references.FPDF_PAGEOBJECT, within pdfMatrix, depth int, left *int, found *[]pdfImage) error {
	if *left--; *left < 0 {
		return nil
	}
	kind, err := d.FPDFPageObj_GetType(&requests.FPDFPageObj_GetType{PageObject: o})
	if err != nil {
		return err
	}
	if kind.Type != enums.FPDF_PAGEOBJ_IMAGE && kind.Type != enums.FPDF_PAGEOBJ_FORM {
		return nil
	}
	got, err := d.FPDFPageObj_GetMatrix(&requests.FPDFPageObj_GetMatrix{PageObject: o})
	if err != nil {
		return err
	}
	m := got.Matrix
	place := pdfMatrix{float64(m.A), float64(m.B), float64(m.C), float64(m.D), float64(m.E), float64(m.F)}.then(within)
	if kind.Type == enums.FPDF_PAGEOBJ_IMAGE {
		size, err := d.FPDFImageObj_GetImagePixelSize(&requests.FPDFImageObj_GetImagePixelSize{ImageObject: o})
		if err != nil {
			return err
		}
		p := pdfImage{object: o, w: int(size.Width), h: int(size.Height), place: place}
		if said, err := d.FPDFImageObj_GetImageMetadata(&requests.FPDFImageObj_GetImageMetadata{ImageObject: o}); err == nil {
			p.mask = said.ImageMetadata.BitsPerPixel == 1 && said.ImageMetadata.Colorspace == enums.FPDF_COLORSPACE_UNKNOWN
		}
		if p.area() > 0 && p.w > 0 && p.h > 0 {
			*found = append(*found, p)
		}
		return nil
	}
	if depth == 8 {
		return nil
	}
	count, err := d.FPDFFormObj_CountObjects(&requests.FPDFFormObj_CountObjects{PageObject: o})
	if err != nil {
		return err
	}
	for i := range count.Count {
		inner, err := d.FPDFFormObj_GetObject(&requests.FPDFFormObj_GetObject{PageObject: o, Index: uint64(i)})
		if err != nil {
			return err
		}
		if err := d.collect(inner.PageObject, place, depth+1, left, found); err != nil {
			return err
		}
	}
	return nil
}

// scan is the one picture that a page holds, as it was stored.
func (d *pdfDocument) scan(on requests.Page, p pdfImage) (*page, error) {
	turned, err := d.FPDFPage_GetRotation(&requests.FPDFPage_GetRotation{Page: on})
	if err != nil {
		return nil, pdfError(err)
	}
	out := &page{config: image.Config{Width: p.w, Height: p.h, ColorModel: color.RGBAModel}}
	out.meta.orientation = p.orientation(int(turned.PageRotation))
	out.meta.claim("PDF page size", p.dpi())
	out.pixels = func() (image.Image, error) {
		if img, ok := d.jpeg(p); ok {
			return img, nil
		}
		b, err := d.FPDFImageObj_GetBitmap(&requests.FPDFImageObj_GetBitmap{ImageObject: p.object})
		if err != nil {
			return nil, pdfError(err)
		}
		return d.bitmap(b.Bitmap)
	}
	return out, nil
}

// jpeg decodes a picture that is stored as a JPEG file, as most scans are: many
// times as fast as in the sandbox, and with the luma as it was stored.
func (d *pdfDocument) jpeg(p pdfImage) (image.Image, bool) {
	filters, err := d.FPDFImageObj_GetImageFilterCount(&requests.FPDFImageObj_GetImageFilterCount{ImageObject: p.object})
	if err != nil || filters.Count != 1 {
		return nil, false
	}
	filter, err := d.FPDFImageObj_GetImageFilter(&requests.FPDFImageObj_GetImageFilter{ImageObject: p.object})
	if err != nil || filter.ImageFilter != "DCTDecode" {
		return nil, false
	}
	raw, err := d.FPDFImageObj_GetImageDataRaw(&requests.FPDFImageObj_GetImageDataRaw{ImageObject: p.object})
	if err != nil {
		return nil, false
	}
	c, err := jpeg.DecodeConfig(bytes.NewReader(raw.Data))
	if err != nil || c.Width != p.w || c.Height != p.h || c.ColorModel != color.GrayModel && c.ColorModel != color.YCbCrModel {
		return nil, false
	}
	img, err := jpeg.Decode(bytes.NewReader(raw.Data))
	return img, err == nil
}

// orientation is EXIF's, of a picture on a page that is turned clockwise by
// so many quarters when shown.
func (p pdfImage) orientation(quarters int) int {
	// Where the picture's rows and columns go on the page, y up.
	right, down := [2]float64{p.place.a, p.place.b}, [2]float64{-p.place.c, -p.place.d}
	for range quarters & 3 {
		right, down = [2]float64{right[1], -right[0]}, [2]float64{down[1], -down[0]}
	}
	if math.Abs(right[0]) >= math.Abs(right[1]) {
		return map[[2]bool]int{{true, true}: 1, {false, true}: 2, {false, false}: 3, {true, false}: 4}[[2]bool{right[0] > 0, down[1] < 0}]
	}
	return map[[2]bool]int{{true, true}: 5, {false, true}: 6, {false, false}: 7, {true, false}: 8}[[2]bool{down[0] > 0, right[1] < 0}]
}

// bitmap copies what the decoder decoded as grey: its memory goes.
func (d *pdfDocument) bitmap(b references.FPDF_BITMAP) (image.Image, error) {
	format, err1 := d.FPDFBitmap_GetFormat(&requests.FPDFBitmap_GetFormat{Bitmap: b})
	wide, err2 := d.FPDFBitmap_GetWidth(&requests.FPDFBitmap_GetWidth{Bitmap: b})
	high, err3 := d.FPDFBitmap_GetHeight(&requests.FPDFBitmap_GetHeight{Bitmap: b})
	stride, err4 := d.FPDFBitmap_GetStride(&requests.FPDFBitmap_GetStride{Bitmap: b})
	data, err5 := d.FPDFBitmap_GetBuffer(&requests.FPDFBitmap_GetBuffer{Bitmap: b})
	if err := errors.Join(err1, err2, err3, err4, err5); err != nil {
		return nil, pdfError(err)
	}
	perPixel := map[enums.FPDF_BITMAP_FORMAT]int{
		enums.FPDF_BITMAP_FORMAT_GRAY: 1, enums.FPDF_BITMAP_FORMAT_BGR: 3, enums.FPDF_BITMAP_FORMAT_BGRX: 4, enums.FPDF_BITMAP_FORMAT_BGRA: 4,
	}[format.Format]
	w, h := wide.Width, high.Height
	if perPixel == 0 || w <= 0 || h <= 0 || stride.Stride < w*perPixel || len(data.Buffer) < stride.Stride*h {
		return nil, fmt.Errorf("its scan cannot be decoded")
	}
	g := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		row, out := data.Buffer[y*stride.Stride:], g.Pix[y*w:][:w]
		if perPixel == 1 {
			copy(out, row)
			continue
		}
		for x := range out {
			q := row[x*perPixel:][:3:3]
			out[x] = luma(q[2], q[1], q[0])
		}
	}
	return g, nil
}

// drawn is a page that is put together of several pictures.
func (d *pdfDocument) drawn(on requests.Page, images []pdfImage) (*page, error) {
	size, err := d.GetPageSize(&requests.GetPageSize{Page: on})
	if err != nil {
		return nil, pdfError(err)
	}
	finest := 0.0
	for _, p := range images {
		dpi := p.dpi()
		finest = math.Max(finest, math.Max(dpi[0], dpi[1]))
	}
	dpi := math.Min(math.Ceil(finest-0.01), 2400)
	w, h := size.Width*dpi/pointsPerInch, size.Height*dpi/pointsPerInch
	if !(w >= 1 && h >= 1 && w < 1e7 && h < 1e7) {
		return nil, decoderError(PDF, errors.New("its page has no size"))
	}
	out := &page{config: image.Config{Width: int(math.Ceil(w)), Height: int(math.Ceil(h)), ColorModel: color.RGBAModel}}
	out.meta.claim("PDF page size", [2]float64{dpi, dpi})
	out.meta.warnings = []string{fmt.Sprintf("this page of the PDF is put together of %d pictures and was drawn at %.0f dpi; a scan that is one picture is measured better: scan to PNG", len(images), dpi)}
	out.pixels = func() (image.Image, error) {
		r, err := d.RenderPageInDPI(&requests.RenderPageInDPI{Page: on, DPI: int(dpi), ImageFormat: requests.RenderImageFormatGrayscale})
		if err != nil {
			return nil, pdfError(err)
		}
		defer r.Cleanup()
		g, ok := r.Result.RenderedImage.(*image.Gray)
		if !ok {
			return nil, pdfError(errors.New("no grey picture"))
		}
		own := image.NewGray(image.Rect(0, 0, g.Rect.Dx(), g.Rect.Dy()))
		for y := range own.Rect.Dy() {
			copy(own.Pix[y*own.Stride:][:own.Stride], g.Pix[y*g.Stride:])
		}
		return own, nil
	}
	return out, nil
}
