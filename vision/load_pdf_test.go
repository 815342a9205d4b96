package vision

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"image"
	"image/draw"
	"math"
	"strings"
	"testing"
)

// onPage is a picture and the matrix (ISO 32000-1 clause 8.3.3) that puts it
// on a page, in points.
type onPage struct {
	m     *image.Gray
	place [6]float64
	more  string // further keys
}

// pdfOf writes a PDF with one page of w × h points, turned clockwise by rotate
// when shown; content follows the pictures.
func pdfOf(w, h float64, rotate int, content string, on ...onPage) []byte {
	var names, draws strings.Builder
	var objects []string
	for i, p := range on {
		var data bytes.Buffer
		z := zlib.NewWriter(&data)
		z.Write(p.m.Pix)
		z.Close()
		objects = append(objects, fmt.Sprintf("<</Type/XObject/Subtype/Image/Width %d/Height %d/BitsPerComponent 8/ColorSpace/DeviceGray/Filter/FlateDecode/Length %d%s>>stream\n%s\nendstream",
			p.m.Rect.Dx(), p.m.Rect.Dy(), data.Len(), p.more, data.String()))
		fmt.Fprintf(&names, "/P%d %d 0 R", i, 5+i)
		fmt.Fprintf(&draws, "q %g %g %g %g %g %g cm /P%d Do Q\n", p.place[0], p.place[1], p.place[2], p.place[3], p.place[4], p.place[5], i)
	}
	draws.WriteString(content)
	objects = append([]string{
		"<</Type/Catalog/Pages 2 0 R>>",
		"<</Type/Pages/Kids[3 0 R]/Count 1>>",
		fmt.Sprintf("<</Type/Page/Parent 2 0 R/MediaBox[0 0 %g %g]/Rotate %d/Contents 4 0 R/Resources<</XObject<<%s>>/Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>>>", w, h, rotate, names.String()),
		fmt.Sprintf("<</Length %d>>stream\n%s\nendstream", draws.Len(), draws.String()),
	}, objects...)
	var b bytes.Buffer
	b.WriteString("%PDF-1.4\n")
	var at []int
	for i, o := range objects {
		at = append(at, b.Len())
		fmt.Fprintf(&b, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	xref := b.Len()
	fmt.Fprintf(&b, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, a := range at {
		fmt.Fprintf(&b, "%010d 00000 n \n", a)
	}
	fmt.Fprintf(&b, "trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n", len(objects)+1, xref)
	return b.Bytes()
}

// stairs is a picture of which no two corners are alike.
func stairs(w, h int) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			g.Pix[y*w+x] = uint8(x*200/w + y*50/h)
		}
	}
	return g
}

// The scan comes out pixel by pixel as it was stored, with the page's scale,
// upright as the page is shown.
func TestPDFScanAsStored(t *testing.T) {
	m := stairs(300, 150) // 1 × 1 in: 300 dpi along x, 150 along y
	at := func(x, y int) uint8 { return m.GrayAt(x, y).Y }
	cases := []struct {
		name   string
		rotate int
		place  [6]float64
		corner [4]uint8 // shown at top left, top right, bottom left, bottom right
		dpi    [2]float64
	}{
		{"as it lies", 0, [6]float64{72, 0, 0, 72, 10, 20}, [4]uint8{at(0, 0), at(299, 0), at(0, 149), at(299, 149)}, [2]float64{300, 150}},
		{"page turned by 90°", 90, [6]float64{72, 0, 0, 72, 0, 0}, [4]uint8{at(0, 149), at(0, 0), at(299, 149), at(299, 0)}, [2]float64{150, 300}},
		{"page turned by 180°", 180, [6]float64{72, 0, 0, 72, 0, 0}, [4]uint8{at(299, 149), at(0, 149), at(299, 0), at(0, 0)}, [2]float64{300, 150}},
		{"page turned by 270°", 270, [6]float64{72, 0, 0, 72, 0, 0}, [4]uint8{at(299, 0), at(299, 149), at(0, 0), at(0, 149)}, [2]float64{150, 300}},
		{"picture turned by 90° counter-clockwise", 0, [6]float64{0, 72, -72, 0, 72, 0}, [4]uint8{at(299, 0), at(299, 149), at(0, 0), at(0, 149)}, [2]float64{150, 300}},
		{"both turned", 90, [6]float64{0, 72, -72, 0, 72, 0}, [4]uint8{at(0, 0), at(299, 0), at(0, 149), at(299, 149)}, [2]float64{300, 150}},
		{"stored upside down", 0, [6]float64{72, 0, 0, -72, 0, 72}, [4]uint8{at(0, 149), at(299, 149), at(0, 0), at(299, 0)}, [2]float64{300, 150}},
		{"stored mirrored", 0, [6]float64{-72, 0, 0, 72, 72, 0}, [4]uint8{at(299, 0), at(0, 0), at(299, 149), at(0, 149)}, [2]float64{300, 150}},
		{"smaller on the page", 0, [6]float64{36, 0, 0, 36, 0, 0}, [4]uint8{at(0, 0), at(299, 0), at(0, 149), at(299, 149)}, [2]float64{600, 300}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			// Hidden words, as text recognition leaves them, do not matter.
			p := mustDecode(t, pdfOf(100, 120, c.rotate, "BT /F 12 Tf 3 Tr (words) Tj ET", onPage{m: m, place: c.place}))
			wellFormed(t, p)
			r := p.Grey.Rect
			got := [4]uint8{p.Grey.GrayAt(0, 0).Y, p.Grey.GrayAt(r.Max.X-1, 0).Y, p.Grey.GrayAt(0, r.Max.Y-1).Y, p.Grey.GrayAt(r.Max.X-1, r.Max.Y-1).Y}
			if got != c.corner {
				t.Errorf("corners %v, want %v", got, c.corner)
			}
			if math.Abs(p.DPI[0]-c.dpi[0]) > 0.01 || math.Abs(p.DPI[1]-c.dpi[1]) > 0.01 || p.DPISource != "PDF page size" {
				t.Errorf("%v dpi from %q, want %v", p.DPI, p.DPISource, c.dpi)
			}
			if c.corner[0] == at(0, 0) && !bytes.Equal(p.Grey.Pix, m.Pix) {
				t.Error("the pixels are not those that were stored")
			}
		})
	}
}

// A scan cut into strips is put together; each pixel lands where it was.
func TestPDFStrips(t *testing.T) {
	m := stairs(200, 200) // 1 × 1 in
	var strips []onPage
	for i := range 4 {
		part := image.NewGray(image.Rect(0, 0, 200, 50))
		draw.Draw(part, part.Rect, m, image.Pt(0, 50*i), draw.Src)
		strips = append(strips, onPage{m: part, place: [6]float64{72, 0, 0, 18, 0, 54 - 18*float64(i)}})
	}
	p := mustDecode(t, pdfOf(72, 72, 0, "", strips...))
	if p.Grey.Rect != m.Rect || math.Abs(p.DPI[0]-200) > 0.01 {
		t.Fatalf("%v at %v dpi", p.Grey.Rect, p.DPI)
	}
	for i, v := range m.Pix {
		if d := int(v) - int(p.Grey.Pix[i]); d < -3 || d > 3 {
			t.Fatalf("pixel %d is %d, want %d", i, p.Grey.Pix[i], v)
		}
	}
	if len(p.Warnings) != 1 || !strings.Contains(p.Warnings[0], "put together of 4 pictures") {
		t.Errorf("warnings %q", p.Warnings)
	}
}

func TestPDFRefuses(t *testing.T) {
	m := stairs(300, 150)
	whole := pdfOf(72, 72, 0, "", onPage{m: m, place: [6]float64{72, 0, 0, 72, 0, 0}})
	_, err := Decode(pdfOf(72, 72, 0, "10 10 50 50 re f"), Limits{})
	checkError(t, err, ErrUnsupported, "no scan", "PNG")
	_, err = Decode(bytes.Replace(whole, []byte("/Width 300/Height 150"), []byte("/Width 60000/Height 60000"), 1), Limits{})
	checkError(t, err, ErrTooLarge, "60000 × 60000", "--max-pixels")
	_, err = Decode(whole, Limits{MaxPixels: 44_999})
	checkError(t, err, ErrTooLarge, "300 × 150")
	_, err = DecodePage(whole, 2, Limits{})
	checkError(t, err, ErrUnreadable, "no page 2", "leave --page out")
	for n := 0; n < len(whole); n += 97 {
		if p, err := Decode(whole[:n], Limits{}); err == nil {
			wellFormed(t, p) // a PDF whose end is missing is mended where it can be
		} else {
			checkError(t, err, nil)
		}
	}
}

// stamped is small beside the scan and is no part of it.
func TestPDFStampIsNoScan(t *testing.T) {
	m, stamp := stairs(300, 300), stairs(20, 20)
	p := mustDecode(t, pdfOf(72, 72, 0, "", onPage{m: m, place: [6]float64{72, 0, 0, 72, 0, 0}}, onPage{m: stamp, place: [6]float64{5, 0, 0, 5, 60, 60}}))
	if !bytes.Equal(p.Grey.Pix, m.Pix) || len(p.Warnings) != 0 {
		t.Errorf("%v, %q", p.Grey.Rect, p.Warnings)
	}
}
