package vision

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"github.com/bep/imagemeta"
	"golang.org/x/image/riff"
)

// exifWanted are the tags that are looked at, in the IFDs where they belong:
// a thumbnail's or a second page's are someone else's.
var exifWanted = map[string]string{
	"Orientation":         "IFD0",
	"XResolution":         "IFD0",
	"YResolution":         "IFD0",
	"ResolutionUnit":      "IFD0",
	"SubfileType":         "IFD0",
	"PlanarConfiguration": "IFD0",
	"SamplesPerPixel":     "IFD0",
	"Make":                "IFD0",
	"Model":               "IFD0",
	"FocalLength":         "IFD0/ExifIFDP",
}

// readEXIF adds what the EXIF tags (in a TIFF: the tags of its first page)
// say. A broken EXIF block gives the tags before the break.
func readEXIF(m *meta, format Format, r io.ReadSeeker) {
	var kind imagemeta.ImageFormat
	switch format {
	case PNG:
		kind = imagemeta.PNG
	case JPEG:
		kind = imagemeta.JPEG
	case TIFF:
		kind = imagemeta.TIFF
	case HEIC:
		kind = imagemeta.HEIF
	case WebP:
		// The library misses a block that follows one of odd length. The block
		// by itself is a TIFF without pixels.
		if r = webpEXIF(r); r == nil {
			return
		}
		kind = imagemeta.TIFF
	default:
		return
	}
	tags := map[string]any{}
	// The limits keep the cost of a crafted file low: no tag that is wanted is
	// long, and a list of sub-directories is cut with the long tags.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: r, ImageFormat: kind, Sources: imagemeta.EXIF,
		LimitNumTags: 2000, LimitTagSize: 256,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			return exifWanted[t.Tag] == t.Namespace
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			if _, seen := tags[t.Tag]; !seen {
				tags[t.Tag] = t.Value
			}
			return nil
		},
	})

	m.orientation = int(number(tags["Orientation"]))
	m.separatePlanes = number(tags["PlanarConfiguration"]) == 2 && number(tags["SamplesPerPixel"]) > 1
	m.preview = int(number(tags["SubfileType"]))&1 != 0
	source := "EXIF"
	if format == TIFF {
		source = "TIFF resolution tags"
	}
	m.claim(source, exifDensity(tags))
	c := Camera{Make: text(tags["Make"]), Model: text(tags["Model"])}
	if f := number(tags["FocalLength"]); f > 0 && f < 1e5 {
		c.FocalLengthMM = f
	}
	if c != (Camera{}) {
		m.camera = &c
	}
}

// webpEXIF finds the EXIF chunk of a WebP file; nil when there is none.
func webpEXIF(r io.Reader) io.ReadSeeker {
	form, chunks, err := riff.NewReader(r)
	if err != nil || form != (riff.FourCC{'W', 'E', 'B', 'P'}) {
		return nil
	}
	for {
		id, _, data, err := chunks.Next()
		if err != nil {
			return nil
		}
		if id == (riff.FourCC{'E', 'X', 'I', 'F'}) {
			const enough = 1 << 20
			block, _ := io.ReadAll(io.LimitReader(data, enough))
			return bytes.NewReader(bytes.TrimPrefix(block, []byte("Exif\x00\x00")))
		}
	}
}

// exifDensity: unit 2 is the inch, 3 the centimetre, 1 none; without a unit
// the inch is meant (TIFF 6.0 and CIPA DC-008).
func exifDensity(tags map[string]any) (dpi [2]float64) {
	perInch := 1.0
	if unit, given := tags["ResolutionUnit"]; given {
		switch number(unit) {
		case 2:
		case 3:
			perInch = cmPerInch
		default:
			return
		}
	}
	return [2]float64{number(tags["XResolution"]) * perInch, number(tags["YResolution"]) * perInch}
}

// number reads a tag's value whichever way the library hands it over; zero
// when it isn't a number.
func number(v any) float64 {
	switch v := v.(type) {
	case uint8:
		return float64(v)
	case uint16:
		return float64(v)
	case uint32:
		return float64(v)
	case int32:
		return float64(v)
	case float64:
		return v
	case interface{ Float64() float64 }:
		return v.Float64()
	}
	return 0
}

// text makes a tag's value fit to print in a line.
func text(v any) string {
	if v == nil {
		return ""
	}
	s := []rune(strings.TrimSpace(oneLine(fmt.Sprint(v))))
	return string(s[:min(len(s), 64)])
}
