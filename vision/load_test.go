package vision

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"github.com/disintegration/imaging"
	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"
	"pgregory.net/rapid"
)

// The scene that every file of these tests shows, 32 × 16 pixels: the left
// half black, the right half white, with a red square in its middle.
var (
	sceneSize = image.Rect(0, 0, 32, 16)
	sceneRed  = image.Rect(20, 4, 28, 12)
)

func paintScene(m draw.Image) {
	draw.Draw(m, sceneSize, image.White, image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(0, 0, 16, 16), image.Black, image.Point{}, draw.Src)
	draw.Draw(m, sceneRed, image.NewUniform(color.RGBA{255, 0, 0, 255}), image.Point{}, draw.Src)
}

func sceneRGBA() *image.RGBA {
	m := image.NewRGBA(sceneSize)
	paintScene(m)
	return m
}

func encoded(t testing.TB, format Format, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	var err error
	switch format {
	case PNG:
		err = png.Encode(&b, m)
	case JPEG:
		err = jpeg.Encode(&b, m, &jpeg.Options{Quality: 95})
	case TIFF:
		err = tiff.Encode(&b, m, &tiff.Options{Compression: tiff.Deflate})
	case BMP:
		err = bmp.Encode(&b, m)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func testdata(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func mustDecode(t *testing.T, data []byte) *Picture {
	t.Helper()
	p, err := Decode(data, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// wellFormed checks what every decoded picture promises.
func wellFormed(t testing.TB, p *Picture) {
	t.Helper()
	w, h := p.Grey.Rect.Dx(), p.Grey.Rect.Dy()
	if p.Grey.Rect.Min != (image.Point{}) || w <= 0 || h <= 0 || p.Grey.Stride != w || len(p.Grey.Pix) != w*h {
		t.Fatalf("grey picture %v, stride %d, %d bytes", p.Grey.Rect, p.Grey.Stride, len(p.Grey.Pix))
	}
	for _, v := range p.DPI {
		if (v == 0) != (p.DPISource == "") || v < 0 || math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("dpi %v from %q", p.DPI, p.DPISource)
		}
	}
	if len(p.SHA256) != 64 {
		t.Fatalf("digest %q", p.SHA256)
	}
}

// Red is 76 in ITU-R BT.601 luma (0.299 × 255).
func TestEveryKindOfPixel(t *testing.T) {
	wholly := func(m draw.Image) image.Image { paintScene(m); return m }
	cut := image.NewGray(image.Rect(0, 0, 50, 50))
	paintScene(cut)
	palette := color.Palette{color.White, color.Black, color.RGBA{255, 0, 0, 255}}
	glassy := image.NewPaletted(sceneSize, palette)
	paintScene(glassy)
	glassy.Palette = color.Palette{color.NRGBA{200, 200, 200, 0}, palette[1], palette[2]}

	// Transparent where the scene is white, half transparent black where it is
	// black: on white paper that is 255 and 127 or 128.
	glass := image.NewNRGBA(sceneSize)
	glass64 := image.NewNRGBA64(sceneSize)
	for y := range 16 {
		for x := range 16 {
			glass.SetNRGBA(x, y, color.NRGBA{0, 0, 0, 128})
			glass64.SetNRGBA64(x, y, color.NRGBA64{0, 0, 0, 0x8000})
		}
	}
	red := image.NewUniform(color.RGBA{255, 0, 0, 255})
	draw.Draw(glass, sceneRed, red, image.Point{}, draw.Src)
	draw.Draw(glass64, sceneRed, red, image.Point{}, draw.Src)

	const dithered = -1
	cases := []struct {
		name   string
		format Format
		data   []byte
		black  int
		red    int
		within int
	}{
		{"png grey", PNG, encoded(t, PNG, wholly(image.NewGray(sceneSize))), 0, 76, 0},
		{"png grey, part of a larger one", PNG, encoded(t, PNG, cut.SubImage(sceneSize)), 0, 76, 0},
		{"png 16-bit grey", PNG, encoded(t, PNG, wholly(image.NewGray16(sceneSize))), 0, 76, 0},
		{"png colour", PNG, encoded(t, PNG, sceneRGBA()), 0, 76, 0},
		{"png 16-bit colour", PNG, encoded(t, PNG, wholly(image.NewRGBA64(sceneSize))), 0, 76, 0},
		{"png palette", PNG, encoded(t, PNG, wholly(image.NewPaletted(sceneSize, palette))), 0, 76, 0},
		{"png 1-bit palette", PNG, encoded(t, PNG, wholly(image.NewPaletted(sceneSize, color.Palette{color.White, color.Black}))), 0, 0, 0},
		{"png transparent", PNG, encoded(t, PNG, glass), 127, 76, 0},
		{"png 16-bit transparent", PNG, encoded(t, PNG, glass64), 127, 76, 0},
		{"png transparent palette", PNG, encoded(t, PNG, glassy), 0, 76, 0},
		{"png interlaced", PNG, testdata(t, "interlaced.png"), 0, 76, 0},
		{"jpeg colour", JPEG, encoded(t, JPEG, sceneRGBA()), 0, 76, 3},
		{"jpeg grey", JPEG, encoded(t, JPEG, wholly(image.NewGray(sceneSize))), 0, 76, 3},
		{"jpeg progressive", JPEG, testdata(t, "progressive.jpg"), 0, 76, 3},
		{"jpeg CMYK", JPEG, testdata(t, "cmyk.jpg"), 0, 76, 3},
		{"tiff colour", TIFF, encoded(t, TIFF, sceneRGBA()), 0, 76, 0},
		{"tiff LZW", TIFF, testdata(t, "lzw.tif"), 0, 76, 0},
		{"tiff PackBits", TIFF, testdata(t, "packbits.tif"), 0, 76, 0},
		{"tiff tiled, LZW with predictor", TIFF, testdata(t, "tiled-lzw.tif"), 0, 76, 0},
		{"tiff 16-bit", TIFF, testdata(t, "zip16.tif"), 0, 76, 0},
		{"tiff tiled", TIFF, testdata(t, "tiled.tif"), 0, 76, 0},
		{"tiff fax (group 4)", TIFF, testdata(t, "g4.tif"), 0, dithered, 0},
		{"tiff premultiplied", TIFF, encoded(t, TIFF, premultiplied(glass)), 127, 76, 1},
		{"tiff 16-bit premultiplied", TIFF, encoded(t, TIFF, premultiplied(glass64)), 127, 76, 1},
		{"bmp colour", BMP, encoded(t, BMP, sceneRGBA()), 0, 76, 0},
		{"bmp 1-bit", BMP, testdata(t, "mono.bmp"), 0, dithered, 0},
		{"webp lossy", WebP, testdata(t, "lossy.webp"), 0, 77, 3},
		{"webp lossless", WebP, testdata(t, "lossless.webp"), 0, 76, 0},
		{"pdf", PDF, testdata(t, "pages.pdf"), 0, 76, 0},
		{"pdf fax (group 4)", PDF, testdata(t, "g4.pdf"), 0, dithered, 0},
		{"webp transparent", WebP, testdata(t, "alpha.webp"), 0, 77, 3},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p := mustDecode(t, c.data)
			wellFormed(t, p)
			if p.Format != string(c.format) || p.Grey.Rect != sceneSize {
				t.Fatalf("%s, %v", p.Format, p.Grey.Rect)
			}
			for _, px := range []struct {
				name       string
				x, y, want int
			}{
				{"black", 2, 2, c.black}, {"black", 9, 14, c.black},
				{"white", 30, 1, 255}, {"white", 31, 15, 255},
				{"red", 23, 7, c.red}, {"red", 26, 10, c.red},
			} {
				if got := int(p.Grey.GrayAt(px.x, px.y).Y); px.want != dithered && (got < px.want-c.within || got > px.want+c.within) {
					t.Errorf("%s at %d,%d is %d, want %d ± %d", px.name, px.x, px.y, got, px.want, c.within)
				}
			}
		})
	}
}

func premultiplied(m image.Image) image.Image {
	if _, deep := m.(*image.NRGBA64); deep {
		p := image.NewRGBA64(m.Bounds())
		draw.Draw(p, p.Rect, m, image.Point{}, draw.Src)
		return p
	}
	p := image.NewRGBA(m.Bounds())
	draw.Draw(p, p.Rect, m, image.Point{}, draw.Src)
	return p
}

// Conversions by our own hand agree with the standard library's drawing on
// white, for any pixels.
func TestGreyAgreesWithDrawing(t *testing.T) {
	kinds := map[string]func(image.Rectangle) draw.Image{
		"RGBA":    func(r image.Rectangle) draw.Image { return image.NewRGBA(r) },
		"NRGBA":   func(r image.Rectangle) draw.Image { return image.NewNRGBA(r) },
		"RGBA64":  func(r image.Rectangle) draw.Image { return image.NewRGBA64(r) },
		"NRGBA64": func(r image.Rectangle) draw.Image { return image.NewNRGBA64(r) },
		"Gray16":  func(r image.Rectangle) draw.Image { return image.NewGray16(r) },
	}
	for name, newImage := range kinds {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			w, h := rapid.IntRange(1, 9).Draw(t, "w"), rapid.IntRange(1, 9).Draw(t, "h")
			m := newImage(image.Rect(0, 0, w, h))
			for y := range h {
				for x := range w {
					v := func(s string) uint16 { return rapid.Uint16().Draw(t, s) }
					m.Set(x, y, color.NRGBA64{v("r"), v("g"), v("b"), v("a")})
				}
			}
			want := image.NewGray(m.Bounds())
			draw.Draw(want, want.Rect, image.White, image.Point{}, draw.Src)
			draw.Draw(want, want.Rect, m, image.Point{}, draw.Over)
			got := toGrey(m)
			for i := range want.Pix {
				if d := int(want.Pix[i]) - int(got.Pix[i]); d < -2 || d > 2 {
					t.Fatalf("pixel %d is %d, drawing gives %d", i, got.Pix[i], want.Pix[i])
				}
			}
		}))
	}
}

func TestPaddedRowsAreClosed(t *testing.T) {
	m := image.NewGray(image.Rect(0, 0, 13, 7)) // the JPEG decoder pads to 16 × 8
	for i := range m.Pix {
		m.Pix[i] = uint8(20 * (i % 13))
	}
	p := mustDecode(t, encoded(t, JPEG, m))
	wellFormed(t, p)
	for y := range 7 {
		for x := range 13 {
			if got := int(p.Grey.GrayAt(x, y).Y); got < 20*x-12 || got > 20*x+12 {
				t.Fatalf("pixel %d,%d is %d, want about %d", x, y, got, 20*x)
			}
		}
	}
}

// --- what the file says beside the pixels

// tag is one TIFF or EXIF entry; value is []uint16, []uint32, [2]uint32 (a
// rational) or string.
type tag struct {
	id    uint16
	value any
}

const (
	tagOrientation = 0x112
	tagXRes        = 0x11a
	tagYRes        = 0x11b
	tagResUnit     = 0x128
	tagMake        = 0x10f
	tagModel       = 0x110
	tagExifIFD     = 0x8769
	tagFocal       = 0x920a
)

// ifd writes a directory to go at offset at, followed by its long values.
func ifd(order binary.AppendByteOrder, at, next uint32, tags []tag) []byte {
	dir := order.AppendUint16(nil, uint16(len(tags)))
	var long []byte
	longAt := at + 2 + 12*uint32(len(tags)) + 4
	for _, g := range tags {
		var kind uint16
		var count uint32
		var value []byte
		switch v := g.value.(type) {
		case uint16:
			kind, count, value = 3, 1, order.AppendUint16(nil, v)
		case []uint16:
			kind, count = 3, uint32(len(v))
			for _, u := range v {
				value = order.AppendUint16(value, u)
			}
		case uint32:
			kind, count, value = 4, 1, order.AppendUint32(nil, v)
		case [2]uint32:
			kind, count, value = 5, 1, order.AppendUint32(order.AppendUint32(nil, v[0]), v[1])
		case string:
			kind, count, value = 2, uint32(len(v)+1), append([]byte(v), 0)
		}
		dir = order.AppendUint16(order.AppendUint16(dir, g.id), kind)
		dir = order.AppendUint32(dir, count)
		if len(value) > 4 {
			dir = order.AppendUint32(dir, longAt+uint32(len(long)))
			long = append(long, value...)
		} else {
			dir = append(dir, append(value, make([]byte, 4-len(value))...)...)
		}
	}
	return append(order.AppendUint32(dir, next), long...)
}

func tiffHeader(order binary.AppendByteOrder) []byte {
	if order == binary.AppendByteOrder(binary.BigEndian) {
		return []byte("MM\x00*\x00\x00\x00\x08")
	}
	return []byte("II*\x00\x08\x00\x00\x00")
}

func exifBlock(order binary.AppendByteOrder, tags []tag, exifTags ...tag) []byte {
	if len(exifTags) == 0 {
		return append(tiffHeader(order), ifd(order, 8, 0, tags)...)
	}
	withPointer := func(p uint32) []byte {
		return ifd(order, 8, 0, append(append([]tag{}, tags...), tag{tagExifIFD, p}))
	}
	at := uint32(8 + len(withPointer(0)))
	return append(append(tiffHeader(order), withPointer(at)...), ifd(order, at, 0, exifTags)...)
}

// greyTIFF is an uncompressed grey TIFF with the tags given beside the
// necessary ones, and a second page of another size and resolution.
func greyTIFF(order binary.AppendByteOrder, m *image.Gray, more ...tag) []byte {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	page := func(at, next, pixelsAt uint32, w, h int, more []tag) []byte {
		tags := []tag{
			{0x100, uint32(w)}, {0x101, uint32(h)}, {0x102, uint16(8)}, {0x103, uint16(1)},
			{0x106, uint16(1)}, {0x111, pixelsAt}, {0x115, uint16(1)}, {0x116, uint32(h)}, {0x117, uint32(w * h)},
		}
		tags = append(tags, more...)
		for i := range tags { // sorted, as the format demands
			for j := i; j > 0 && tags[j].id < tags[j-1].id; j-- {
				tags[j], tags[j-1] = tags[j-1], tags[j]
			}
		}
		return ifd(order, at, next, tags)
	}
	second := []tag{{tagXRes, [2]uint32{150, 1}}, {tagYRes, [2]uint32{150, 1}}, {tagOrientation, uint16(6)}}
	size1 := uint32(len(page(8, 0, 0, w, h, more)))
	size2 := uint32(len(page(0, 0, 0, 4, 4, second)))
	at2 := 8 + size1
	pixelsAt := at2 + size2
	b := append(tiffHeader(order), page(8, at2, pixelsAt, w, h, more)...)
	b = append(b, page(at2, 0, pixelsAt, 4, 4, second)...)
	return append(b, m.Pix...)
}

// chunk is one PNG chunk.
func chunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// withChunks puts chunks behind a PNG's header.
func withChunks(pngData []byte, chunks ...[]byte) []byte {
	const headerEnd = 8 + 25
	return bytes.Join([][]byte{pngData[:headerEnd], bytes.Join(chunks, nil), pngData[headerEnd:]}, nil)
}

func phys(x, y uint32, unit byte) []byte {
	b := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, x), y)
	return chunk("pHYs", append(b, unit))
}

// withSegments puts segments in front of a JPEG's others.
func withSegments(jpegData []byte, segments ...[]byte) []byte {
	return bytes.Join([][]byte{jpegData[:2], bytes.Join(segments, nil), jpegData[2:]}, nil)
}

func segment(marker byte, data []byte) []byte {
	b := binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(data)+2))
	return append(b, data...)
}

func jfif(unit byte, x, y uint16) []byte {
	b := append([]byte("JFIF\x00\x01\x02"), unit)
	b = binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16(b, x), y)
	return segment(0xe0, append(b, 0, 0))
}

func exifSegment(block []byte) []byte {
	return segment(0xe1, append([]byte("Exif\x00\x00"), block...))
}

// webpWithEXIF wraps a lossless WebP file into the extended form.
func webpWithEXIF(simple, exif []byte, w, h int) []byte {
	riff := func(id string, data []byte) []byte {
		b := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(data)))
		b = append(b, data...)
		return append(b, make([]byte, len(data)%2)...)
	}
	head := []byte{1 << 3, 0, 0, 0, byte(w - 1), 0, 0, byte(h - 1), 0, 0}
	body := bytes.Join([][]byte{[]byte("WEBP"), riff("VP8X", head), simple[12:], riff("EXIF", exif)}, nil)
	return riff("RIFF", body)
}

func TestDPI(t *testing.T) {
	le, be := binary.LittleEndian, binary.BigEndian
	grey := image.NewGray(sceneSize)
	p := encoded(t, PNG, grey)
	j := encoded(t, JPEG, grey)
	b := encoded(t, BMP, grey)
	binary.LittleEndian.PutUint32(b[38:], 23622)
	binary.LittleEndian.PutUint32(b[42:], 11811)
	res := func(x, y, unit int) []tag {
		return []tag{{tagXRes, [2]uint32{uint32(x), 1}}, {tagYRes, [2]uint32{uint32(y), 1}}, {tagResUnit, uint16(unit)}}
	}
	noUnit := res(300, 200, 2)[:2]

	cases := []struct {
		name   string
		data   []byte
		x, y   float64
		source string
		warns  bool
	}{
		{"png", withChunks(p, phys(23622, 11811, 1)), 600, 300, "PNG pHYs", false},
		{"png, aspect only", withChunks(p, phys(11811, 5906, 0)), 0, 0, "", false},
		{"png, nothing", p, 0, 0, "", false},
		{"png, zero", withChunks(p, phys(0, 0, 1)), 0, 0, "", false},
		{"png exif", withChunks(p, chunk("eXIf", exifBlock(be, res(200, 100, 2)))), 200, 100, "EXIF", false},
		{"png before exif", withChunks(p, phys(11811, 11811, 1), chunk("eXIf", exifBlock(be, res(200, 200, 2)))), 300, 300, "PNG pHYs", true},
		{"jfif inch", withSegments(j, jfif(1, 600, 300)), 600, 300, "JPEG JFIF", false},
		{"jfif cm", withSegments(j, jfif(2, 118, 59)), 299.72, 149.86, "JPEG JFIF", false},
		{"jfif aspect only", withSegments(j, jfif(0, 1, 1)), 0, 0, "", false},
		{"exif inch", withSegments(j, exifSegment(exifBlock(le, res(600, 300, 2)))), 600, 300, "EXIF", false},
		{"exif big-endian cm", withSegments(j, exifSegment(exifBlock(be, res(100, 50, 3)))), 254, 127, "EXIF", false},
		{"exif no unit means inch", withSegments(j, exifSegment(exifBlock(be, noUnit))), 300, 200, "EXIF", false},
		{"exif aspect only", withSegments(j, exifSegment(exifBlock(be, res(300, 300, 1)))), 0, 0, "", false},
		{"exif behind jfif aspect", withSegments(j, jfif(0, 1, 1), exifSegment(exifBlock(le, res(300, 300, 2)))), 300, 300, "EXIF", false},
		{"jfif before exif's 72", withSegments(j, jfif(1, 300, 300), exifSegment(exifBlock(le, res(72, 72, 2)))), 300, 300, "JPEG JFIF", false},
		{"exif before jfif's 72", withSegments(j, jfif(1, 72, 72), exifSegment(exifBlock(le, res(300, 300, 2)))), 300, 300, "EXIF", false},
		{"72 when all say so", withSegments(j, jfif(1, 72, 72), exifSegment(exifBlock(le, res(72, 72, 2)))), 72, 72, "JPEG JFIF", false},
		{"jfif and exif contradict", withSegments(j, jfif(1, 300, 300), exifSegment(exifBlock(le, res(600, 600, 2)))), 300, 300, "JPEG JFIF", true},
		{"jfif rounded to cm", withSegments(j, jfif(2, 118, 118), exifSegment(exifBlock(le, res(300, 300, 2)))), 299.72, 299.72, "JPEG JFIF", false},
		{"exif first", withSegments(j, exifSegment(exifBlock(le, res(600, 600, 2))), jfif(1, 600, 600)), 600, 600, "JPEG JFIF", false},
		{"tiff inch", greyTIFF(le, grey, res(600, 300, 2)...), 600, 300, "TIFF resolution tags", false},
		{"tiff cm", greyTIFF(be, grey, res(100, 50, 3)...), 254, 127, "TIFF resolution tags", false},
		{"tiff no unit means inch", greyTIFF(be, grey, noUnit...), 300, 200, "TIFF resolution tags", false},
		{"tiff aspect only", greyTIFF(le, grey, res(300, 300, 1)...), 0, 0, "", false},
		{"tiff, second page only", greyTIFF(le, grey), 0, 0, "", false},
		{"bmp", b, 600, 300, "BMP header", false},
		{"webp exif", webpWithEXIF(testdata(t, "lossless.webp"), exifBlock(le, res(600, 300, 2)), 32, 16), 600, 300, "EXIF", false},
		{"on its side", withSegments(j, exifSegment(exifBlock(le, append([]tag{{tagOrientation, uint16(6)}}, res(600, 300, 2)...)))), 300, 600, "EXIF", false},
		{"on its side, jfif", withSegments(j, jfif(1, 600, 300), exifSegment(exifBlock(le, []tag{{tagOrientation, uint16(8)}}))), 300, 600, "JPEG JFIF", false},
		{"upside down", withSegments(j, exifSegment(exifBlock(le, append([]tag{{tagOrientation, uint16(3)}}, res(600, 300, 2)...)))), 600, 300, "EXIF", false},
		{"division by zero", withSegments(j, exifSegment(exifBlock(le, []tag{{tagXRes, [2]uint32{300, 0}}, {tagYRes, [2]uint32{300, 0}}}))), 0, 0, "", false},
		{"absurd", withSegments(j, exifSegment(exifBlock(le, res(4000000000, 1, 2)))), 0, 0, "", false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p, err := DecodePage(c.data, 1, Limits{})
			if err != nil {
				t.Fatal(err)
			}
			wellFormed(t, p)
			// pHYs and BMP hold whole pixels per metre: 23622 for 600 dpi.
			if math.Abs(p.DPI[0]-c.x) > 0.002 || math.Abs(p.DPI[1]-c.y) > 0.002 || p.DPISource != c.source {
				t.Errorf("dpi %v from %q, want %v, %v from %q", p.DPI, p.DPISource, c.x, c.y, c.source)
			}
			if (len(p.Warnings) > 0) != c.warns {
				t.Errorf("warnings %q, want some: %v", p.Warnings, c.warns)
			}
		})
	}
}

func TestCamera(t *testing.T) {
	j := encoded(t, JPEG, image.NewGray(sceneSize))
	block := exifBlock(binary.BigEndian,
		[]tag{{tagMake, "Bench\x1b[31m & Sons\n "}, {tagModel, "Box 2"}},
		tag{tagFocal, [2]uint32{425, 100}})
	p := mustDecode(t, withSegments(j, exifSegment(block)))
	if want := (Camera{"Bench[31m & Sons", "Box 2", 4.25}); p.Camera == nil || *p.Camera != want {
		t.Errorf("camera %+v, want %+v", p.Camera, want)
	}
	if p := mustDecode(t, j); p.Camera != nil {
		t.Errorf("camera %+v from nothing", p.Camera)
	}
}

// Where the stored rows and columns belong in the upright picture, word for
// word from the table of orientations in CIPA DC-008 (EXIF) clause 4.6.4:
// "the 0th row is at the visual … and the 0th column is at the visual …".
var orientations = map[int][2]string{
	1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
	5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
}

func TestUpright(t *testing.T) {
	for o, sides := range orientations {
		t.Run(fmt.Sprint(o), rapid.MakeCheck(func(t *rapid.T) {
			w, h := rapid.IntRange(1, 150).Draw(t, "w"), rapid.IntRange(1, 150).Draw(t, "h")
			stored := image.NewGray(image.Rect(0, 0, w, h))
			for i := range stored.Pix {
				stored.Pix[i] = uint8(i*7 + i/251)
			}
			u := upright(stored, o)
			// place gives the coordinates in the upright picture that a count
			// from one of its sides means.
			place := func(p *image.Point, side string, n int) {
				switch side {
				case "top":
					p.Y = n
				case "bottom":
					p.Y = u.Rect.Max.Y - 1 - n
				case "left":
					p.X = n
				case "right":
					p.X = u.Rect.Max.X - 1 - n
				}
			}
			for row := range h {
				for column := range w {
					var at image.Point
					place(&at, sides[0], row)
					place(&at, sides[1], column)
					if !at.In(u.Rect) || u.GrayAt(at.X, at.Y) != stored.GrayAt(column, row) {
						t.Fatalf("stored pixel in row %d, column %d of %v is not at %v of %v", row, column, stored.Rect, at, u.Rect)
					}
				}
			}
		}))
	}
}

// A whole JPEG of each orientation comes out as the imaging library turns it.
func TestOrientationAgreesWithImaging(t *testing.T) {
	scene := encoded(t, JPEG, sceneRGBA())
	for o := range orientations {
		data := withSegments(scene, exifSegment(exifBlock(binary.BigEndian, []tag{{tagOrientation, uint16(o)}})))
		want, err := imaging.Decode(bytes.NewReader(data), imaging.AutoOrientation(true))
		if err != nil {
			t.Fatal(err)
		}
		p := mustDecode(t, data)
		if p.Grey.Rect != want.Bounds() {
			t.Fatalf("orientation %d: %v, want %v", o, p.Grey.Rect, want.Bounds())
		}
		for y := range p.Grey.Rect.Dy() {
			for x := range p.Grey.Rect.Dx() {
				w := color.GrayModel.Convert(want.At(x, y)).(color.Gray).Y
				if g := p.Grey.GrayAt(x, y).Y; max(g, w)-min(g, w) > 3 {
					t.Fatalf("orientation %d: pixel %d,%d is %d, want %d", o, x, y, g, w)
				}
			}
		}
	}
}

func TestOrientationInEveryFormat(t *testing.T) {
	grey := image.NewGray(sceneSize)
	paintScene(grey)
	o := []tag{{tagOrientation, uint16(6)}}
	for name, data := range map[string][]byte{
		"png":  withChunks(encoded(t, PNG, grey), chunk("eXIf", exifBlock(binary.BigEndian, o))),
		"tiff": greyTIFF(binary.LittleEndian, grey, o...),
		"webp": webpWithEXIF(testdata(t, "lossless.webp"), exifBlock(binary.LittleEndian, o), 32, 16),
	} {
		p := mustDecode(t, data)
		// Turned clockwise, the black left half comes to lie on top.
		if p.Grey.Rect != image.Rect(0, 0, 16, 32) || p.Grey.GrayAt(1, 1).Y != 0 || p.Grey.GrayAt(1, 30).Y != 255 {
			t.Errorf("%s: %v, top %d, bottom %d", name, p.Grey.Rect, p.Grey.GrayAt(1, 1).Y, p.Grey.GrayAt(1, 30).Y)
		}
	}
}

func TestSHA256(t *testing.T) {
	data := testdata(t, "lossless.webp")
	path := filepath.Join(t.TempDir(), "wrong-ending.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Open(path, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	const want = "b408879d367ad57af9384b603bbdbc55b58b22ff27c7c07e9d2fa6d564c56e21" // by sha256sum
	if p.SHA256 != want || p.SHA256 != mustDecode(t, data).SHA256 || p.Format != "webp" {
		t.Errorf("%s, digest %s, want %s", p.Format, p.SHA256, want)
	}
}

// --- bad input

// pngHeader is a PNG that claims a size and has no pixels.
func pngHeader(w, h uint32) []byte {
	b := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)
	return append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(b, 8, 2, 0, 0, 0))...)
}

func huge(t testing.TB, format Format) []byte {
	t.Helper()
	scene := sceneRGBA()
	switch format {
	case PNG:
		return append(pngHeader(60000, 60000), chunk("IDAT", make([]byte, 80))...)
	case JPEG:
		b := encoded(t, JPEG, scene)
		at := bytes.Index(b, []byte{0xff, 0xc0})
		binary.BigEndian.PutUint16(b[at+5:], 60000)
		binary.BigEndian.PutUint16(b[at+7:], 60000)
		return b
	case TIFF:
		b := greyTIFF(binary.LittleEndian, image.NewGray(sceneSize))
		binary.LittleEndian.PutUint32(b[8+2+8:], 60000)
		binary.LittleEndian.PutUint32(b[8+2+12+8:], 60000)
		return b
	case BMP:
		b := encoded(t, BMP, scene)
		binary.LittleEndian.PutUint32(b[18:], 60000)
		binary.LittleEndian.PutUint32(b[22:], 60000)
		return b
	}
	b := webpWithEXIF(testdata(t, "lossless.webp"), nil, 32, 16)
	at := bytes.Index(b, []byte("VP8X")) + 8
	b[at+4], b[at+5] = 0x5f, 0xea // 60000 − 1
	b[at+7], b[at+8] = 0x0f, 0x27 // 10000 − 1: with more the decoder calls it damaged
	return b
}

var allFormats = []Format{PNG, JPEG, TIFF, BMP, WebP}

func TestHugeHeaderIsRefusedBeforeAllocating(t *testing.T) {
	for _, f := range allFormats {
		t.Run(string(f), func(t *testing.T) {
			data := huge(t, f)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := Decode(data, Limits{})
			runtime.ReadMemStats(&after)
			checkError(t, err, ErrTooLarge, "60000 × ", "400 megapixels", "--max-pixels")
			if got := after.TotalAlloc - before.TotalAlloc; got > 4<<20 {
				t.Errorf("%d bytes were allocated", got)
			}
		})
	}
}

func TestMaxPixels(t *testing.T) {
	data := encoded(t, PNG, sceneRGBA())
	if _, err := Decode(data, Limits{MaxPixels: 32 * 16}); err != nil {
		t.Error(err)
	}
	_, err := Decode(data, Limits{MaxPixels: 32*16 - 1})
	checkError(t, err, ErrTooLarge, "32 × 16", "--max-pixels")
}

// A limit that was raised too far must not end in the runtime's stack trace.
func TestMoreThanTheMemory(t *testing.T) {
	_, err := Decode(pngHeader(2_000_000, 2_000_000), Limits{MaxPixels: math.MaxInt64})
	checkError(t, err, ErrTooLarge, "2000000 × 2000000", "memory")
}

// Every beginning of a file gives an error, never a panic; where the file ends
// within its pixels the error says so.
func TestCutShort(t *testing.T) {
	files := map[Format][]byte{
		PNG:  encoded(t, PNG, sceneRGBA()),
		JPEG: encoded(t, JPEG, sceneRGBA()),
		TIFF: greyTIFF(binary.LittleEndian, image.NewGray(sceneSize)),
		BMP:  encoded(t, BMP, sceneRGBA()),
		WebP: testdata(t, "lossy.webp"),
	}
	for f, data := range files {
		t.Run(string(f), func(t *testing.T) {
			for n := range data {
				_, err := Decode(data[:n], Limits{})
				if err == nil {
					// Nothing is missing but an end mark behind the pixels.
					if len(data)-n > 12 {
						t.Fatalf("%d of %d bytes were enough", n, len(data))
					}
					continue
				}
				checkError(t, err, nil)
				if n > 200 && !errors.Is(err, ErrDamaged) {
					t.Fatalf("%d of %d bytes: %v", n, len(data), err)
				}
			}
			_, err := Decode(data[:len(data)*3/4], Limits{})
			checkError(t, err, ErrDamaged, "again")
		})
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	file := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	text := strings.Repeat("angles and chords – ", 200)
	cases := []struct {
		name string
		path string
		kind error
		says []string
	}{
		{"missing", filepath.Join(dir, "no.png"), ErrUnreadable, []string{"no such file", "check the name"}},
		{"folder", dir, ErrUnreadable, []string{"is a folder", "give the picture"}},
		{"file as folder", filepath.Join(file("plain", nil), "a.png"), ErrUnreadable, []string{"cannot be read"}},
		{"zero bytes", file("zero.png", nil), ErrEmpty, []string{"empty", "zero bytes", "again"}},
		{"device", "/dev/zero", ErrNotPicture, []string{"no picture", "give a PNG, JPEG, TIFF, BMP, WebP, HEIC or PDF"}},
		{"pdf", file("a.png", []byte("%PDF-1.7\n...")), ErrDamaged, []string{"PDF", "again"}},
		{"heic", file("a.jpg", []byte("\x00\x00\x00\x18ftypheic\x00\x00")), ErrDamaged, []string{"HEIC", "again"}},
		{"avif", file("a.avif", []byte("\x00\x00\x00\x18ftypavif\x00\x00")), ErrNotPicture, []string{"AVIF", "save it as PNG"}},
		{"svg", file("a.svg", []byte("<?xml version=\"1.0\"?>\n<svg>")), ErrNotPicture, []string{"SVG drawing", "give a PNG"}},
		{"text", file("a.txt", []byte(text)), ErrNotPicture, []string{"text file", "give a PNG"}},
		{"zip", file("a.docx", []byte("PK\x03\x04\x14\x00")), ErrNotPicture, []string{"zip archive", "take the picture out"}},
		{"gif", file("a.gif", []byte("GIF89a\x01\x00")), ErrNotPicture, []string{"GIF", "save it as PNG, JPEG or TIFF"}},
		{"noise", file("noise.png", []byte("\x00\x01\x02\xff\xfe\x80")), ErrNotPicture, []string{"give a PNG"}},
		{"one byte", file("one.png", []byte("\x89")), ErrNotPicture, []string{"give a PNG"}},
		{"png signature only", file("sig.png", []byte("\x89PNG\r\n\x1a\n")), ErrDamaged, []string{"ends too early", "again"}},
		{"zero size", file("size.png", pngHeader(0, 5)), ErrDamaged, []string{"PNG", "again"}},
		{"tiff jpeg", "testdata/jpeg.tif", ErrUnsupported, []string{"TIFF", "save it as an ordinary PNG"}},
		{"tiff cmyk", "testdata/cmyk.tif", ErrUnsupported, []string{"TIFF", "save it as an ordinary PNG"}},
		{"tiff 2-bit", "testdata/palette2bit.tif", ErrUnsupported, []string{"TIFF", "save it as an ordinary PNG"}},
		{"tiff planes", "testdata/planar.tif", ErrUnsupported, []string{"separate planes", "PNG"}},
		{"tiff preview", file("raw.nef", greyTIFF(binary.BigEndian, image.NewGray(sceneSize), tag{0xfe, uint32(1)})), ErrUnsupported, []string{"raw camera", "PNG or JPEG"}},
		{"tiff group 3", "testdata/g3.tif", ErrDamaged, []string{"TIFF", "unusual kind", "PNG"}},
		{"name with a line break", file("a\nb.png", nil), ErrEmpty, []string{"a?b.png"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := Open(c.path, Limits{})
			checkError(t, err, c.kind, append(c.says, oneLine(c.path)+": ")...)
		})
	}
	t.Run("no permission", func(t *testing.T) {
		if os.Geteuid() == 0 {
			t.Skip("root may read everything")
		}
		path := file("secret.png", encoded(t, PNG, sceneRGBA()))
		if err := os.Chmod(path, 0); err != nil {
			t.Fatal(err)
		}
		_, err := Open(path, Limits{})
		checkError(t, err, ErrUnreadable, "no permission", "permissions")
	})
	t.Run("too many bytes", func(t *testing.T) {
		path := file("long.png", encoded(t, PNG, sceneRGBA()))
		if err := os.Truncate(path, 70<<20); err != nil { // takes no room on the disk
			t.Fatal(err)
		}
		_, err := Open(path, Limits{MaxPixels: 1000})
		checkError(t, err, ErrTooLarge, "70 MB", "--max-pixels")
	})
}

func TestOpenReadsAPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Skip(err)
	}
	data := encoded(t, PNG, sceneRGBA())
	go func() {
		if f, err := os.OpenFile(path, os.O_WRONLY, 0); err == nil {
			f.Write(data)
			f.Close()
		}
	}()
	p, err := Open(path, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if p.SHA256 != mustDecode(t, data).SHA256 || p.Grey.Rect != sceneSize {
		t.Error("not the picture that was sent")
	}
}

func TestDecoderPanicIsDamage(t *testing.T) {
	good := readers[BMP].(simple)
	t.Cleanup(func() { readers[BMP] = good })
	data := encoded(t, BMP, sceneRGBA())
	panics := func() int { var none []int; return none[len(data)] }

	readers[BMP] = simple{BMP, good.config, func(io.Reader) (image.Image, error) { panics(); return nil, nil }}
	_, err := Decode(data, Limits{})
	checkError(t, err, ErrDamaged, "damaged BMP", "again")

	readers[BMP] = simple{BMP, func(io.Reader) (image.Config, error) { panics(); return image.Config{}, nil }, good.decode}
	_, err = Decode(data, Limits{})
	checkError(t, err, ErrDamaged, "damaged BMP", "again")
}

func checkError(t *testing.T, err, kind error, says ...string) {
	t.Helper()
	var le *LoadError
	if !errors.As(err, &le) {
		t.Fatalf("error %v (%T), want a *LoadError", err, err)
	}
	if kind != nil && !errors.Is(err, kind) {
		t.Errorf("%v: kind %v, want %v", err, le.Kind, kind)
	}
	s := err.Error()
	if strings.ContainsAny(s, "\n\r\x1b") || strings.Contains(s, "goroutine") {
		t.Errorf("not one clean line: %q", s)
	}
	if !strings.Contains(s, ";") {
		t.Errorf("does not say what to do: %q", s)
	}
	for _, w := range says {
		if !strings.Contains(s, w) {
			t.Errorf("says %q, want it to say %q", s, w)
		}
	}
}
