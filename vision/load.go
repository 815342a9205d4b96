package vision

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"io/fs"
	"os"
	"runtime/debug"
	"syscall"
	"time"
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

	// Time is the longest that reading one picture may take; beyond it the file
	// is given up.
	Time time.Duration
}

// DefaultTime is how long reading a picture may take unless Limits says
// otherwise: the largest page that is read takes a tenth of it.
const DefaultTime = 5 * time.Minute

func (l Limits) time() time.Duration {
	if l.Time <= 0 {
		return DefaultTime
	}
	return l.Time
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

// Open reads the picture file at path, the first page of one that has several.
// What kind of picture it is, is told by its content; its name is only used in
// messages.
//
// Every error is a *LoadError: one line that says what is wrong and what to do.
func Open(path string, lim Limits) (*Picture, error) {
	return OpenPage(path, 0, lim)
}

// OpenPage reads one page, counted from 1, of the picture file at path. Page 0
// is the first, with a warning where there are more.
func OpenPage(path string, page int, lim Limits) (*Picture, error) {
	p, err := open(path, page, lim)
	var le *LoadError
	if errors.As(err, &le) {
		le.Path = path
	}
	return p, err
}

func open(path string, page int, lim Limits) (*Picture, error) {
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
		return decode(f, info.Size(), page, lim)
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
	data := append(head[:n], rest...)
	return decode(bytes.NewReader(data), int64(len(data)), page, lim)
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
	return DecodePage(data, 0, lim)
}

// DecodePage reads one page from the bytes of a file, as OpenPage does.
func DecodePage(data []byte, page int, lim Limits) (*Picture, error) {
	return decode(bytes.NewReader(data), int64(len(data)), page, lim)
}

// decode reads from r without ever holding the whole file: a 600 dpi colour
// page is 60–100 MB compressed and its pixels are 140 MB more.
func decode(r io.ReaderAt, size int64, page int, lim Limits) (*Picture, error) {
	if size > lim.maxBytes() {
		return nil, failf(ErrTooLarge, "the file has %d MB, more than a picture of %s can need; scan at a lower dpi, crop it, or raise --max-pixels",
			size>>20, megapixels(lim.maxPixels()))
	}
	return within(lim.time(), func(ctx context.Context) (*Picture, error) {
		f := &file{ReaderAt: untilDone{ctx, r}, size: size, ctx: ctx}
		head := make([]byte, min(size, headLen))
		if n, err := f.ReadAt(head, 0); n < len(head) {
			return nil, openError(err)
		}
		format, err := sniff(head)
		if err != nil {
			return nil, err
		}
		return f.decode(format, page, lim)
	})
}

func (f *file) decode(format Format, n int, lim Limits) (p *Picture, err error) {
	digest := sha256.New()
	digested := make(chan error, 1)
	go func() {
		_, err := io.Copy(digest, f.section())
		digested <- err
	}()
	p, err = f.picture(format, n, lim)
	readErr := <-digested // also on error: r must not be read after decode returns
	if err != nil {
		return nil, err
	}
	if readErr != nil {
		return nil, openError(readErr)
	}
	if p.Page > 1 { // or all pages of a file would seem the same picture
		fmt.Fprintf(digest, "#%d", p.Page)
	}
	p.SHA256 = hex.EncodeToString(digest.Sum(nil))
	return p, nil
}

// picture reads page n; 0 is the first.
func (f *file) picture(format Format, n int, lim Limits) (p *Picture, err error) {
	defer recoverDamaged(format, &err)
	doc, err := readers[format].open(f)
	if err != nil {
		return nil, err
	}
	defer doc.close()
	if n > doc.pages() {
		return nil, failf(ErrUnreadable, "has no page %d; %s", n, pagesThere(doc.pages()))
	}
	page, err := doc.page(max(n, 1))
	if err != nil {
		return nil, err
	}
	if err := checkSize(page.config, lim); err != nil {
		return nil, err
	}
	grey, err := page.grey(format)
	if err != nil {
		return nil, err
	}
	// Hand the decoder's memory back before OpenCV asks for some of its own:
	// 140 MB for a 600 dpi colour page, where this takes 10 ms of 900.
	if len(grey.Pix) > 16<<20 {
		debug.FreeOSMemory()
	}
	m := page.meta
	p = &Picture{Format: string(format), Camera: m.camera, Page: max(n, 1), Pages: doc.pages()}
	p.Grey = upright(grey, m.orientation)
	p.DPI, p.DPISource, p.Warnings = chooseDPI(m.dpi)
	if swapsAxes(m.orientation) {
		p.DPI[0], p.DPI[1] = p.DPI[1], p.DPI[0]
	}
	p.Warnings = append(p.Warnings, m.warnings...)
	if n == 0 && p.Pages > 1 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("the file has %d pages, of which this is the first; --page N takes another", p.Pages))
	}
	return p, nil
}

func pagesThere(n int) string {
	if n == 1 {
		return "there is only one: leave --page out"
	}
	return fmt.Sprintf("--page is a number from 1 to %d", n)
}

// checkSize refuses a picture from its header.
func checkSize(c image.Config, lim Limits) error {
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

// megapixels prints a number of pixels so that a person can compare it.
func megapixels(n int64) string {
	if n < 100_000 {
		return fmt.Sprintf("%d pixels", n)
	}
	return fmt.Sprintf("%.4g megapixels", float64(n)/1e6)
}
