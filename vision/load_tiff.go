package vision

import (
	"encoding/binary"
	"image"
	"io"

	"golang.org/x/image/tiff"
)

// maxPages is the most pages of a TIFF that are counted.
const maxPages = 10_000

// tiffReader reads TIFF (Adobe, TIFF Revision 6.0, 1992): a file of pages, each
// with a directory of tags (IFD) that names where the next one lies.
type tiffReader struct{}

type tiffDocument struct {
	file *file
	ifds []uint32 // where the pages' directories lie
}

func (tiffReader) open(f *file) (document, error) {
	d := &tiffDocument{file: f}
	var head [8]byte
	if _, err := f.ReadAt(head[:], 0); err != nil {
		return nil, decoderError(TIFF, io.ErrUnexpectedEOF)
	}
	order := tiffOrder(head[:])
	seen := map[uint32]bool{}
	for at := order.Uint32(head[4:]); at != 0 && !seen[at] && len(seen) < maxPages; {
		seen[at] = true
		thumbnail, next, ok := readIFD(f, order, at)
		if !ok && len(d.ifds) > 0 {
			break // what comes before it can be read
		}
		// A smaller copy of another page is none; as the first, it is what a
		// raw camera picture has there, and page says so.
		if !thumbnail || len(d.ifds) == 0 {
			d.ifds = append(d.ifds, at)
		}
		at = next
	}
	if len(d.ifds) == 0 {
		return nil, failf(ErrDamaged, "is a TIFF without a page; copy or scan it again")
	}
	return d, nil
}

func tiffOrder(head []byte) binary.ByteOrder {
	if head[0] == 'M' {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// readIFD tells whether a directory is of a reduced copy (tag NewSubfileType,
// bit 0) and where the next one lies.
func readIFD(r io.ReaderAt, order binary.ByteOrder, at uint32) (thumbnail bool, next uint32, ok bool) {
	var b [12]byte
	if _, err := r.ReadAt(b[:2], int64(at)); err != nil {
		return false, 0, false
	}
	tags := int64(order.Uint16(b[:]))
	if _, err := r.ReadAt(b[:4], int64(at)+2+12*tags); err != nil {
		return false, 0, false
	}
	next = order.Uint32(b[:])
	const newSubfileType = 254 // the lowest of all tags, and tags are in order
	if _, err := r.ReadAt(b[:], int64(at)+2); err == nil && tags > 0 && order.Uint16(b[:]) == newSubfileType {
		thumbnail = order.Uint32(b[8:])&1 != 0
	}
	return thumbnail, next, true
}

func (d *tiffDocument) pages() int { return len(d.ifds) }
func (d *tiffDocument) close()     {}

func (d *tiffDocument) page(n int) (*page, error) {
	one := d.only(n)
	m := readMeta(TIFF, one, d.file.size)
	switch {
	case m.separatePlanes:
		return nil, failf(ErrUnsupported, "its colours are stored as separate planes, a kind of TIFF that is not read; save it as PNG")
	case m.preview:
		return nil, failf(ErrUnsupported, "starts with a mere preview, as raw camera pictures do, which are not read; save it as PNG or JPEG")
	}
	c, err := tiff.DecodeConfig(one)
	if err != nil {
		return nil, decoderError(TIFF, err)
	}
	return &page{config: c, meta: m, pixels: func() (image.Image, error) { return tiff.Decode(d.only(n)) }}, nil
}

// only is the file as if page n were its first, the one that decoders read.
// They jump about in it and must be given the section itself: of any other
// reader they keep the whole file.
func (d *tiffDocument) only(n int) *io.SectionReader {
	f := firstPage{file: d.file}
	if _, err := d.file.ReadAt(f.head[:], 0); err == nil {
		order := tiffOrder(f.head[:])
		order.PutUint32(f.head[4:], d.ifds[n-1])
	}
	return io.NewSectionReader(f, 0, d.file.size)
}

// firstPage is a file with another header.
type firstPage struct {
	*file
	head [8]byte
}

func (p firstPage) ReadAt(b []byte, at int64) (int, error) {
	n, err := p.file.ReadAt(b, at)
	if at < int64(len(p.head)) {
		copy(b[:n], p.head[at:])
	}
	return n, err
}
