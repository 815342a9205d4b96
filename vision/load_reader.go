package vision

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"time"

	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"
	"golang.org/x/image/webp"
)

// file is a picture file while it is read.
type file struct {
	io.ReaderAt // fails once the time is over
	size        int64
	ctx         context.Context // done when the time is over
}

func (f *file) section() *io.SectionReader { return io.NewSectionReader(f, 0, f.size) }

// reader reads the files of one format. All readers are written in Go or run
// in a WebAssembly sandbox: on a crafted file they fail with an error or at
// worst panic; a decoder in C could take the process with it.
type reader interface {
	open(f *file) (document, error)
}

// document is an open file and its pages, which count from 1.
type document interface {
	pages() int
	page(n int) (*page, error) // reads what stands before the pixels
	close()
}

// page is one picture of a file whose pixels have not been decoded yet.
type page struct {
	config image.Config // before meta's orientation is followed
	meta   meta
	pixels func() (image.Image, error)
}

var readers = map[Format]reader{
	PNG:  simple{PNG, png.DecodeConfig, png.Decode},
	JPEG: simple{JPEG, jpeg.DecodeConfig, jpeg.Decode},
	BMP:  simple{BMP, bmp.DecodeConfig, bmp.Decode},
	WebP: simple{WebP, webp.DecodeConfig, webpDecode},
	TIFF: tiffReader{},
	HEIC: heicReader{},
	PDF:  pdfReader{},
}

// simple is a format with one page, read from its beginning to its end.
type simple struct {
	format Format
	config func(io.Reader) (image.Config, error)
	decode func(io.Reader) (image.Image, error)
}

func (p simple) open(f *file) (document, error) { return onePage{p, f}, nil }

type onePage struct {
	simple
	file *file
}

func (onePage) pages() int { return 1 }
func (onePage) close()     {}

func (o onePage) page(int) (*page, error) {
	// These decoders read a few bytes at a time.
	buffered := func() io.Reader { return bufio.NewReaderSize(o.file.section(), 1<<16) }
	c, err := o.config(buffered())
	if err != nil {
		return nil, decoderError(o.format, err)
	}
	return &page{
		config: c,
		meta:   readMeta(o.format, o.file, o.file.size),
		pixels: func() (image.Image, error) { return o.decode(buffered()) },
	}, nil
}

func webpDecode(r io.Reader) (image.Image, error) {
	img, err := webp.Decode(r)
	if err == nil {
		fullRange(img)
	}
	return img, err
}

// grey is a function of its own so that the decoder's picture, up to eight
// times the size of the grey one, is out of reach when it returns.
func (p *page) grey(format Format) (*image.Gray, error) {
	img, err := p.pixels()
	if err != nil {
		return nil, decoderError(format, err)
	}
	return toGrey(img), nil
}

// within gives do that much time. What has not come to an end by then, although
// it can read no more of its file, is left to itself.
func within(limit time.Duration, do func(context.Context) (*Picture, error)) (*Picture, error) {
	type result struct {
		p   *Picture
		err error
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	done := make(chan result, 1)
	go func() {
		p, err := do(ctx)
		done <- result{p, err}
	}()
	select {
	case r := <-done:
		if r.err != nil && ctx.Err() != nil {
			r.err = tooLong(limit)
		}
		return r.p, r.err
	case <-ctx.Done():
		return nil, tooLong(limit)
	}
}

func tooLong(limit time.Duration) error {
	return failf(ErrTooLarge, "takes more than %v to read; it may be damaged or on a disk that does not answer: copy it here, or scan it again at a lower dpi", limit)
}

// untilDone stops handing out bytes when the time is over, so that a decoder
// comes to an end.
type untilDone struct {
	ctx context.Context
	io.ReaderAt
}

func (u untilDone) ReadAt(b []byte, at int64) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.ReaderAt.ReadAt(b, at)
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
		ours *LoadError
		p    png.UnsupportedError
		j    jpeg.UnsupportedError
		t    tiff.UnsupportedError
	)
	switch {
	case errors.As(err, &ours):
		return err
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
