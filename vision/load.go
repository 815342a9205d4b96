package vision

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"os"
	"runtime/debug"
	"syscall"

	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"
	"golang.org/x/image/webp"
)

// DefaultMaxPixels is the largest picture that is read unless Limits says
// otherwise: an A3 page at 1200 dpi has 278 megapixels.
const DefaultMaxPixels = 400_000_000

// Limits bounds what a picture file may cost. The zero value means the
// defaults.
type Limits struct {
	// MaxPixels is the largest width × height that is decoded; a larger
	// picture is refused from its header, before memory is taken for it.
	MaxPixels int64
}

func (l Limits) maxPixels() int64 {
	if l.MaxPixels <= 0 {
		return DefaultMaxPixels
	}
	return min(l.MaxPixels, 1<<50) // beyond any memory, and safe to multiply
}

// maxBytes is the largest file that could hold maxPixels: no format read here
// stores more than 8 bytes a pixel (16-bit colour with transparency), and
// 64 MiB is ample for what surrounds the pixels.
func (l Limits) maxBytes() int64 {
	return l.maxPixels()*8 + 64<<20
}

// Open reads the picture file at path. What kind of picture it is, is told by
// its content; its name is only used in messages.
//
// Every error is a *LoadError: one line that says what is wrong and what to do.
func Open(path string, lim Limits) (*Picture, error) {
	p, err := open(path, lim)
	var le *LoadError
	if errors.As(err, &le) {
		le.Path = path
	}
	return p, err
}

func open(path string, lim Limits) (*Picture, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, openError(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, openError(err)
	}
	switch {
	case info.IsDir():
		return nil, failf(ErrUnreadable, "is a folder; give the picture file inside it")
	case info.Mode().IsRegular():
		return decode(f, info.Size(), lim)
	}
	// A pipe or device has no size and no second reading: take it into memory,
	// but not before its beginning looks like a picture.
	head := make([]byte, headLen)
	n, err := io.ReadFull(f, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, openError(err)
	}
	if _, err := sniff(head[:n]); err != nil {
		return nil, err
	}
	rest, err := io.ReadAll(io.LimitReader(f, lim.maxBytes()+1))
	if err != nil {
		return nil, openError(err)
	}
	return Decode(append(head[:n], rest...), lim)
}

func openError(err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return failf(ErrUnreadable, "there is no such file; check the name and the folder")
	case errors.Is(err, fs.ErrPermission):
		return failf(ErrUnreadable, "no permission to read it; change the file's permissions or copy it to a folder of yours")
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return failf(ErrUnreadable, "cannot be read (%v); check the name and the disk it is on", err)
}

// Decode reads a picture from the bytes of its file, as Open does.
func Decode(data []byte, lim Limits) (*Picture, error) {
	return decode(bytes.NewReader(data), int64(len(data)), lim)
}

// decode reads from r without ever holding the whole file: a 600 dpi colour
// page is 60–100 MB compressed and its pixels are 140 MB more.
func decode(r io.ReaderAt, size int64, lim Limits) (*Picture, error) {
	if size > lim.maxBytes() {
		return nil, failf(ErrTooLarge, "the file has %d MB, more than a picture of %s can need; scan at a lower dpi, crop it, or raise --max-pixels",
			size>>20, megapixels(lim.maxPixels()))
	}
	head := make([]byte, min(size, headLen))
	if n, err := r.ReadAt(head, 0); n < len(head) {
		return nil, openError(err)
	}
	format, err := sniff(head)
	if err != nil {
		return nil, err
	}
	if err := checkHeader(format, io.NewSectionReader(r, 0, size), lim); err != nil {
		return nil, err
	}

	digest := sha256.New()
	digested := make(chan error, 1)
	go func() {
		_, err := io.Copy(digest, io.NewSectionReader(r, 0, size))
		digested <- err
	}()
	p, err := decodePixels(format, r, size)
	readErr := <-digested // also on error: r must not be read after decode returns
	if err != nil {
		return nil, err
	}
	if readErr != nil {
		return nil, openError(readErr)
	}
	p.SHA256 = hex.EncodeToString(digest.Sum(nil))
	return p, nil
}

func decodePixels(format Format, r io.ReaderAt, size int64) (*Picture, error) {
	meta := readMeta(format, r, size)
	switch {
	case format == TIFF && meta.separatePlanes:
		return nil, failf(ErrUnsupported, "its colours are stored as separate planes, a kind of TIFF that is not read; save it as PNG")
	case format == TIFF && meta.preview:
		return nil, failf(ErrUnsupported, "starts with a mere preview, as raw camera pictures do, which are not read; save it as PNG or JPEG")
	}
	grey, err := decodeGrey(format, io.NewSectionReader(r, 0, size))
	if err != nil {
		return nil, err
	}
	// Hand the decoder's memory back before OpenCV asks for some of its own:
	// 140 MB for a 600 dpi colour page, where this takes 10 ms of 900.
	if len(grey.Pix) > 16<<20 {
		debug.FreeOSMemory()
	}
	p := &Picture{Format: string(format), Camera: meta.camera}
	p.Grey = upright(grey, meta.orientation)
	p.DPI, p.DPISource, p.Warnings = chooseDPI(meta.dpi)
	if swapsAxes(meta.orientation) {
		p.DPI[0], p.DPI[1] = p.DPI[1], p.DPI[0]
	}
	return p, nil
}

// codec is how one format is read: by decoders written in Go, which on a
// crafted file fail with an error or at worst panic; a decoder in C could
// take the process with it.
type codec struct {
	config func(io.Reader) (image.Config, error)
	pixels func(io.Reader) (image.Image, error)
}

var codecs = map[Format]codec{
	PNG:  {png.DecodeConfig, png.Decode},
	JPEG: {jpeg.DecodeConfig, jpeg.Decode},
	TIFF: {tiff.DecodeConfig, tiff.Decode}, // the first page, when there are more
	BMP:  {bmp.DecodeConfig, bmp.Decode},
	WebP: {webp.DecodeConfig, webp.Decode},
}

func checkHeader(format Format, r *io.SectionReader, lim Limits) (err error) {
	defer recoverDamaged(format, &err)
	c, err := codecs[format].config(reader(format, r))
	if err != nil {
		return decoderError(format, err)
	}
	w, h, most := int64(c.Width), int64(c.Height), lim.maxPixels()
	if w <= 0 || h <= 0 {
		return failf(ErrDamaged, "its header says %d × %d pixels: no picture; scan or save it again", w, h)
	}
	if h > most/w {
		return failf(ErrTooLarge, "has %d × %d pixels, more than the limit of %s; scan at a lower dpi, crop it, or raise --max-pixels",
			w, h, megapixels(most))
	}
	// The grey picture comes on top of the decoder's.
	if need := w * h * (bytesPerPixel(c.ColorModel) + 1); !roomFor(need) {
		return failf(ErrTooLarge, "has %d × %d pixels, and this machine has no %d MB of memory for them; scan at a lower dpi or crop it",
			w, h, need>>20)
	}
	return nil
}

// bytesPerPixel is what the decoders' pictures take.
func bytesPerPixel(m color.Model) int64 {
	switch m {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.YCbCrModel:
		return 3
	case color.RGBAModel, color.NRGBAModel, color.CMYKModel, color.NYCbCrAModel:
		return 4
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	return 1 // a palette
}

// roomFor tells whether the system would hand out so much memory. Go ends the
// process, with a stack trace, when it asks for memory and gets none.
func roomFor(bytes int64) bool {
	probe, err := syscall.Mmap(-1, 0, int(bytes), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		return false
	}
	return syscall.Munmap(probe) == nil
}

// decodeGrey is a function of its own so that the decoder's picture, up to
// eight times the size of the grey one, is out of reach when it returns.
func decodeGrey(format Format, r *io.SectionReader) (grey *image.Gray, err error) {
	defer recoverDamaged(format, &err)
	img, err := codecs[format].pixels(reader(format, r))
	if err != nil {
		return nil, decoderError(format, err)
	}
	if format == WebP {
		fullRange(img)
	}
	return toGrey(img), nil
}

// reader buffers r for the decoders that read a few bytes at a time. The TIFF
// decoder jumps about and must be given r itself, or it keeps the whole file.
func reader(format Format, r *io.SectionReader) io.Reader {
	if format == TIFF {
		return r
	}
	return bufio.NewReaderSize(r, 1<<16)
}

// recoverDamaged turns a decoder's panic into the error of a damaged file.
func recoverDamaged(format Format, err *error) {
	if r := recover(); r != nil {
		*err = decoderError(format, fmt.Errorf("%v", r))
	}
}

// decoderError says in our words why a decoder gave up.
func decoderError(format Format, err error) error {
	var (
		p png.UnsupportedError
		j jpeg.UnsupportedError
		t tiff.UnsupportedError
	)
	switch {
	case errors.As(err, &p), errors.As(err, &j), errors.As(err, &t), errors.Is(err, bmp.ErrUnsupported):
		return failf(ErrUnsupported, "is a kind of %s that is not read (%v); save it as an ordinary PNG", format.name(), err)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return failf(ErrDamaged, "is a %s that ends too early; copy or scan it again", format.name())
	}
	if format == TIFF { // of which there are more kinds than any program reads
		return failf(ErrDamaged, "is a TIFF that cannot be read (%v), damaged or of an unusual kind; copy or scan it again, or save it as PNG", err)
	}
	return failf(ErrDamaged, "is a damaged %s (%v); copy or scan it again", format.name(), err)
}

// megapixels prints a number of pixels so that a person can compare it.
func megapixels(n int64) string {
	if n < 100_000 {
		return fmt.Sprintf("%d pixels", n)
	}
	return fmt.Sprintf("%.4g megapixels", float64(n)/1e6)
}
