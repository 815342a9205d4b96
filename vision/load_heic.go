package vision

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"sync"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

// heicReader reads HEIC (ISO/IEC 23008-12) as phones write it: the primary
// picture, turned as the file says (which its EXIF says once more).
type heicReader struct{}

//go:embed heic/heif.wasm.gz
var heifWasm []byte

// heif is the decoder, compiled when the first picture wants it.
var heif = sync.OnceValues(func() (decoder struct {
	wazero.Runtime
	module wazero.CompiledModule
}, err error) {
	z, err := gzip.NewReader(bytes.NewReader(heifWasm))
	if err != nil {
		return decoder, err
	}
	code, err := io.ReadAll(z)
	if err != nil {
		return decoder, err
	}
	ctx := context.Background()
	decoder.Runtime = wazero.NewRuntimeWithConfig(ctx, sandbox())
	if _, err := wasi_snapshot_preview1.Instantiate(ctx, decoder.Runtime); err != nil {
		return decoder, err
	}
	decoder.module, err = decoder.CompileModule(ctx, code)
	return decoder, err
})

var errHEIC = errors.New("its decoder gave up")

type heicDocument struct {
	file *file
	module
	data uint32 // the file's bytes
	out  uint32 // five numbers of 32 bits: width, height, colour space, chroma, premultiplied
}

// module is a decoder at work.
type module struct {
	ctx context.Context
	api.Module
}

func (m module) call(name string, args ...uint64) (uint32, error) {
	f := m.ExportedFunction(name)
	if f == nil {
		return 0, fmt.Errorf("the decoder has no %s", name)
	}
	r, err := f.Call(m.ctx, args...)
	if err != nil {
		return 0, errHEIC // with a stack trace, which helps nobody here
	}
	return uint32(r[0]), nil
}

func (m module) alloc(n int) (uint32, error) {
	at, err := m.call("malloc", uint64(n))
	if err == nil && at == 0 {
		err = failf(ErrTooLarge, "needs more memory than a HEIC is given; save it as JPEG at a smaller size")
	}
	return at, err
}

func (heicReader) open(f *file) (document, error) {
	decoder, err := heif()
	if err != nil {
		return nil, err
	}
	instance, err := decoder.InstantiateModule(f.ctx, decoder.module, wazero.NewModuleConfig().WithName("").WithStartFunctions("_initialize"))
	if err != nil {
		return nil, err
	}
	d := &heicDocument{file: f, module: module{f.ctx, instance}}
	if err := d.load(); err != nil {
		d.close()
		return nil, err
	}
	return d, nil
}

func (d *heicDocument) load() error {
	data, err := io.ReadAll(d.file.section())
	if err != nil {
		return err
	}
	if d.data, err = d.alloc(len(data)); err != nil {
		return err
	}
	if d.out, err = d.alloc(5 * 4); err != nil {
		return err
	}
	if !d.Memory().Write(d.data, data) {
		return errHEIC
	}
	return nil
}

func (*heicDocument) pages() int { return 1 }
func (d *heicDocument) close()   { _ = d.Close(context.Background()) }

// Colour spaces and chroma of libheif (heif.h).
const (
	heifYCbCr = 0
	heifRGB   = 1
	heifMono  = 2
)

// look calls the decoder: pixels is where they go, 0 for the header alone.
func (d *heicDocument) look(headerOnly, pixels uint64) error {
	o := uint64(d.out)
	ok, err := d.call("decode", uint64(d.data), uint64(d.file.size), headerOnly, o, o+4, o+8, o+12, o+16, pixels)
	if err == nil && ok == 0 {
		err = errHEIC
	}
	return err
}

func (d *heicDocument) page(int) (*page, error) {
	if err := d.look(1, 0); err != nil {
		return nil, decoderError(HEIC, err)
	}
	var said [5]uint32
	for i := range said {
		said[i], _ = d.Memory().ReadUint32Le(d.out + 4*uint32(i))
	}
	w, h, space := int(said[0]), int(said[1]), said[2]
	p := &page{config: image.Config{Width: w, Height: h, ColorModel: color.YCbCrModel}, meta: readMeta(HEIC, d.file, d.file.size)}
	p.meta.orientation = 0 // it is followed by the decoder
	p.pixels = func() (image.Image, error) { return d.pixels(w, h, space) }
	switch space {
	case heifMono, heifYCbCr:
	case heifRGB:
		p.config.ColorModel = color.NRGBAModel
	default:
		return nil, failf(ErrUnsupported, "is a kind of HEIC that is not read; save it as JPEG")
	}
	return p, nil
}

func (d *heicDocument) pixels(w, h int, space uint32) (image.Image, error) {
	perPixel := 1
	if space == heifRGB {
		perPixel = 4
	}
	stride := (w*perPixel + 15) &^ 15
	size := stride * h
	if space == heifYCbCr {
		size *= 3 // at most, as 4:4:4; of these only the luma is used
	}
	out, err := d.alloc(size)
	if err != nil {
		return nil, err
	}
	if err := d.look(0, uint64(out)); err != nil {
		return nil, err
	}
	luma, ok := d.Memory().Read(out, uint32(stride*h))
	if !ok {
		return nil, errHEIC
	}
	if space == heifRGB {
		return &image.NRGBA{Pix: luma, Stride: stride, Rect: image.Rect(0, 0, w, h)}, nil
	}
	g := image.NewGray(image.Rect(0, 0, w, h)) // a copy: the decoder's memory goes
	for y := range h {
		copy(g.Pix[y*w:][:w], luma[y*stride:])
	}
	if d.limitedRange() {
		stretch(g.Pix)
	}
	return g, nil
}

// limitedRange tells whether the file says that black is 16 and white 235: the
// flag of its box colr of the kind nclx (ISO/IEC 14496-12 clause 12.1.5).
func (d *heicDocument) limitedRange() bool {
	head := make([]byte, min(d.file.size, 1<<16))
	n, _ := d.file.ReadAt(head, 0)
	_, box, found := bytes.Cut(head[:n], []byte("colrnclx"))
	return found && len(box) > 6 && box[6]&0x80 == 0
}
