package vision

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// meta is what a file says about its picture beside the pixels.
type meta struct {
	orientation int // EXIF, 0 when not given
	dpi         []dpiClaim
	camera      *Camera
	warnings    []string

	// Kinds of TIFF that the decoder would misread.
	separatePlanes bool // each colour stored as a picture of its own
	preview        bool // the first page is a smaller copy of another
}

// dpiClaim is one field's word about the resolution of the stored picture.
type dpiClaim struct {
	source string
	x, y   float64 // pixels per inch
}

// readMeta never fails: what cannot be understood is as good as not there, and
// a file that is really damaged fails in its pixels.
func readMeta(format Format, r io.ReaderAt, size int64) meta {
	var m meta
	switch format {
	case PNG:
		m.claim("PNG pHYs", pngDensity(r, size))
	case JPEG:
		m.claim("JPEG JFIF", jfifDensity(r, size))
	case BMP:
		m.claim("BMP header", bmpDensity(r, size))
	}
	readEXIF(&m, format, io.NewSectionReader(r, 0, size))
	return m
}

// claim notes a density given in pixels per inch, unless it can't be one.
func (m *meta) claim(source string, dpi [2]float64) {
	plausible := func(v float64) bool { return v >= 1 && v <= 1e5 } // false for NaN
	if plausible(dpi[0]) && plausible(dpi[1]) {
		m.dpi = append(m.dpi, dpiClaim{source, dpi[0], dpi[1]})
	}
}

// chooseDPI takes the file format's own field (which comes first) before
// EXIF's: a program that scans or resamples writes its own format's field,
// while it may carry old EXIF along. A field of 72 or 96 dpi is what programs
// write who know nothing (EXIF even requires 72 then), so it gives way to one
// that says something else. Fields that disagree are reported.
func chooseDPI(claims []dpiClaim) (dpi [2]float64, source string, warnings []string) {
	if len(claims) == 0 {
		return dpi, "", nil
	}
	best := claims[0]
	for _, c := range claims[1:] {
		if best.isDefault() && !c.isDefault() {
			best = c
		}
	}
	for _, c := range claims {
		if !c.isDefault() && !c.agrees(best) {
			warnings = append(warnings, fmt.Sprintf("the file contradicts itself about its resolution: %s says %s dpi, %s says %s; the first is used, give --dpi if it is wrong",
				best.source, best, c.source, c))
		}
	}
	return [2]float64{best.x, best.y}, best.source, warnings
}

func (c dpiClaim) isDefault() bool {
	near := func(v float64) bool { return math.Abs(v-72) < 0.1 || math.Abs(v-96) < 0.1 }
	return near(c.x) && near(c.y)
}

// agrees allows for the rounding to whole pixels per centimetre or metre.
func (c dpiClaim) agrees(d dpiClaim) bool {
	return math.Abs(c.x-d.x) < 1.5 && math.Abs(c.y-d.y) < 1.5
}

func (c dpiClaim) String() string { return fmt.Sprintf("%.4g × %.4g", c.x, c.y) }

const (
	metresPerInch = 0.0254
	cmPerInch     = 2.54
)

// pngDensity reads the pHYs chunk (W3C PNG, clause 11.3.4.3), which comes
// before the pixels and counts when its unit is the metre.
func pngDensity(r io.ReaderAt, size int64) (dpi [2]float64) {
	var b [17]byte
	for at := int64(8); at < size; {
		if _, err := r.ReadAt(b[:8], at); err != nil {
			return
		}
		length, kind := binary.BigEndian.Uint32(b[:]), string(b[4:8])
		if kind == "IDAT" || kind == "IEND" {
			return
		}
		if kind == "pHYs" && length == 9 {
			if _, err := r.ReadAt(b[:9], at+8); err != nil || b[8] != 1 {
				return
			}
			return [2]float64{
				float64(binary.BigEndian.Uint32(b[0:])) * metresPerInch,
				float64(binary.BigEndian.Uint32(b[4:])) * metresPerInch,
			}
		}
		at += 12 + int64(length)
	}
	return
}

// jfifDensity reads the APP0 segment "JFIF" (ITU-T T.871 clause 10.1): unit 1
// is the inch, 2 the centimetre, 0 only tells the pixels' aspect.
func jfifDensity(r io.ReaderAt, size int64) (dpi [2]float64) {
	var b [18]byte
	for at := int64(2); at < size; {
		if _, err := r.ReadAt(b[:4], at); err != nil || b[0] != 0xff {
			return
		}
		marker, length := b[1], int64(binary.BigEndian.Uint16(b[2:]))
		switch {
		case marker == 0xff: // a fill byte
			at++
			continue
		case marker == 0xda, marker == 0xd9, length < 2: // the pixels, or nonsense
			return
		case marker == 0xe0 && length >= 14:
			if _, err := r.ReadAt(b[:], at); err != nil {
				return
			}
			if string(b[4:9]) == "JFIF\x00" {
				perInch := map[byte]float64{1: 1, 2: cmPerInch}[b[11]]
				return [2]float64{
					float64(binary.BigEndian.Uint16(b[12:])) * perInch,
					float64(binary.BigEndian.Uint16(b[14:])) * perInch,
				}
			}
		}
		at += 2 + length
	}
	return
}

// bmpDensity reads biXPelsPerMeter and biYPelsPerMeter.
func bmpDensity(r io.ReaderAt, size int64) (dpi [2]float64) {
	var b [8]byte
	if _, err := r.ReadAt(b[:], 38); err != nil {
		return
	}
	return [2]float64{
		float64(int32(binary.LittleEndian.Uint32(b[0:]))) * metresPerInch,
		float64(int32(binary.LittleEndian.Uint32(b[4:]))) * metresPerInch,
	}
}
