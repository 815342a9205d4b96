package samples

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"testing"
)

// pHYs by the PNG specification, 11.3.5.3: 300 dpi is 11811 pixels a metre.
func TestPNGCarriesItsResolution(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 7, 5))
	img.Pix[3] = 77
	var buf bytes.Buffer
	if err := WritePNG(&buf, img, 300, 600); err != nil {
		t.Fatal(err)
	}
	data := buf.Bytes()
	back, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if !samePixels(img, back) {
		t.Error("the picture changed")
	}
	found := false
	for at := 8; at+12 <= len(data); {
		n := int(binary.BigEndian.Uint32(data[at:]))
		kind, body := string(data[at+4:at+8]), data[at+8:at+8+n]
		if sum := binary.BigEndian.Uint32(data[at+8+n:]); sum != crc32.ChecksumIEEE(data[at+4:at+8+n]) {
			t.Errorf("%s: wrong checksum", kind)
		}
		if kind == "IDAT" && !found {
			t.Error("no pHYs before the pixels")
		}
		if kind == "pHYs" {
			found = true
			x, y := binary.BigEndian.Uint32(body), binary.BigEndian.Uint32(body[4:])
			if x != 11811 || y != 23622 || body[8] != 1 {
				t.Errorf("pHYs %d, %d, unit %d", x, y, body[8])
			}
		}
		at += 12 + n
	}
}

func TestPNGWithoutResolution(t *testing.T) {
	var buf bytes.Buffer
	if err := WritePNG(&buf, image.NewGray(image.Rect(0, 0, 2, 2)), 0, 0); err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(buf.Bytes(), []byte("pHYs")) {
		t.Error("it has one")
	}
}

// APP0 by the JPEG File Interchange Format 1.02.
func TestJPEGCarriesItsResolution(t *testing.T) {
	var buf bytes.Buffer
	if err := WriteJPEG(&buf, image.NewGray(image.Rect(0, 0, 9, 4)), 300, 299.6, 90); err != nil {
		t.Fatal(err)
	}
	want := []byte{0xff, 0xd8, 0xff, 0xe0, 0, 16, 'J', 'F', 'I', 'F', 0, 1, 2, 1, 300 >> 8, 300 & 255, 300 >> 8, 300 & 255, 0, 0}
	if !bytes.HasPrefix(buf.Bytes(), want) {
		t.Errorf("begins % x", buf.Bytes()[:20])
	}
	if _, err := jpeg.Decode(&buf); err != nil {
		t.Error(err)
	}
}
