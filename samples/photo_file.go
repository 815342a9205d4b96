package samples

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"io"
	"math"
)

// WriteJPEG writes a picture of this photograph as a phone does: with the
// quality of the shot, and an EXIF block with make, model, focal length and
// the 72 dpi that phones claim whatever they photograph.
func (p Photo) WriteJPEG(w io.Writer, img image.Image) error {
	p = p.sane()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: p.Shot.JPEGQuality}); err != nil {
		return err
	}
	data := buf.Bytes()
	b := img.Bounds()
	block := append([]byte("Exif\x00\x00"), p.Phone.exif(b.Dx(), b.Dy())...)
	app1 := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(block)+2))
	for _, part := range [][]byte{data[:2], app1, block, data[2:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}

// Types of tags, TIFF 6.0 section 2.
const (
	tiffText     = 2
	tiffShort    = 3
	tiffLong     = 4
	tiffRational = 5
)

// tiffTag is a tag with its value, laid out little-endian.
type tiffTag struct {
	id, kind uint16
	count    uint32
	value    []byte
}

func textTag(id uint16, s string) tiffTag {
	const longest = 60
	s = s[:min(len(s), longest)]
	return tiffTag{id, tiffText, uint32(len(s) + 1), append([]byte(s), 0)}
}

func shortTag(id uint16, v float64) tiffTag {
	v = clamp(math.Round(v), 0, math.MaxUint16)
	return tiffTag{id, tiffShort, 1, binary.LittleEndian.AppendUint16(nil, uint16(v))}
}

func longTag(id uint16, v uint32) tiffTag {
	return tiffTag{id, tiffLong, 1, binary.LittleEndian.AppendUint32(nil, v)}
}

func rationalTag(id uint16, v float64) tiffTag {
	v = clamp(v, 0, 1e5)
	b := binary.LittleEndian.AppendUint32(nil, uint32(math.Round(v*1000)))
	return tiffTag{id, tiffRational, 1, binary.LittleEndian.AppendUint32(b, 1000)}
}

// exif is the block as a TIFF file without pixels (CIPA DC-008, section 4.6).
func (p Phone) exif(width, height int) []byte {
	main := []tiffTag{
		textTag(0x010f, p.Make),
		textTag(0x0110, p.Model),
		shortTag(0x0112, 1), // upright
		rationalTag(0x011a, 72),
		rationalTag(0x011b, 72),
		shortTag(0x0128, 2), // per inch
		longTag(0x8769, 0),  // where the camera's own tags begin: set below
	}
	own := []tiffTag{
		{0x9000, 7, 4, []byte("0230")},
		rationalTag(0x920a, p.FocalMM),
		longTag(0xa002, uint32(width)),
		longTag(0xa003, uint32(height)),
		shortTag(0xa405, p.Focal35MM),
	}
	const header = 8
	at := header + directorySize(main)
	main[len(main)-1] = longTag(0x8769, uint32(at))
	out := append([]byte("II\x2a\x00"), 8, 0, 0, 0)
	out = appendDirectory(out, main)
	return appendDirectory(out, own)
}

// directorySize is how many bytes a directory takes with its long values.
func directorySize(tags []tiffTag) int {
	n := 2 + 12*len(tags) + 4
	for _, t := range tags {
		if len(t.value) > 4 {
			n += len(t.value) + len(t.value)&1
		}
	}
	return n
}

// appendDirectory adds a directory, the last of its chain, and behind it the
// values that don't fit into its entries.
func appendDirectory(out []byte, tags []tiffTag) []byte {
	le := binary.LittleEndian
	far := len(out) + 2 + 12*len(tags) + 4
	var behind []byte
	out = le.AppendUint16(out, uint16(len(tags)))
	for _, t := range tags {
		out = le.AppendUint16(out, t.id)
		out = le.AppendUint16(out, t.kind)
		out = le.AppendUint32(out, t.count)
		if len(t.value) <= 4 {
			out = append(out, append(bytes.Clone(t.value), 0, 0, 0, 0)[:4]...)
			continue
		}
		out = le.AppendUint32(out, uint32(far+len(behind)))
		behind = append(behind, t.value...)
		if len(behind)&1 == 1 {
			behind = append(behind, 0)
		}
	}
	out = le.AppendUint32(out, 0)
	return append(out, behind...)
}
