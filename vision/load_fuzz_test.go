package vision

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"os"
	"path/filepath"
	"testing"
)

// Whatever the bytes, Decode gives a well-formed picture or one clean line. The
// limit keeps a lucky header from taking memory.
func checkDecode(t *testing.T, data []byte) {
	p, err := Decode(data, Limits{MaxPixels: 1 << 18})
	if err != nil {
		checkError(t, err, nil)
		return
	}
	wellFormed(t, p)
}

func addFiles(f *testing.F, pattern string) {
	names, err := filepath.Glob(filepath.Join("testdata", pattern))
	if err != nil || len(names) == 0 {
		f.Fatal("no seeds like ", pattern, err)
	}
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
}

func fuzzTags() []tag {
	return []tag{
		{tagMake, "Bench"}, {tagOrientation, uint16(6)},
		{tagXRes, [2]uint32{300, 1}}, {tagYRes, [2]uint32{300, 1}}, {tagResUnit, uint16(3)},
	}
}

func FuzzPNG(f *testing.F) {
	addFiles(f, "*.png")
	scene := encoded(f, PNG, sceneRGBA())
	f.Add(scene)
	f.Add(withChunks(scene, phys(11811, 11811, 1), chunk("eXIf", exifBlock(binary.BigEndian, fuzzTags()))))
	f.Add(huge(f, PNG))
	f.Fuzz(func(t *testing.T, data []byte) {
		checkDecode(t, data)
		checkDecode(t, withChecksums(data)) // or little gets past the checksums
	})
}

// withChecksums corrects the checksums of a PNG's chunks.
func withChecksums(data []byte) []byte {
	fixed := bytes.Clone(data)
	for at := 8; at+12 <= len(fixed); {
		n := int(binary.BigEndian.Uint32(fixed[at:]))
		if n > len(fixed)-at-12 {
			break
		}
		sum := crc32.ChecksumIEEE(fixed[at+4 : at+8+n])
		binary.BigEndian.PutUint32(fixed[at+8+n:], sum)
		at += 12 + n
	}
	return fixed
}

func FuzzJPEG(f *testing.F) {
	addFiles(f, "*.jpg")
	scene := encoded(f, JPEG, sceneRGBA())
	f.Add(scene)
	f.Add(withSegments(scene, jfif(1, 300, 300), exifSegment(exifBlock(binary.LittleEndian, fuzzTags(), tag{tagFocal, [2]uint32{4, 1}}))))
	f.Add(huge(f, JPEG))
	f.Fuzz(checkDecode)
}

func FuzzTIFF(f *testing.F) {
	addFiles(f, "*.tif")
	grey := image.NewGray(sceneSize)
	paintScene(grey)
	f.Add(greyTIFF(binary.LittleEndian, grey, fuzzTags()...))
	f.Add(greyTIFF(binary.BigEndian, grey, fuzzTags()...))
	f.Add(encoded(f, TIFF, sceneRGBA()))
	f.Add(huge(f, TIFF))
	f.Fuzz(checkDecode)
}

func FuzzBMP(f *testing.F) {
	addFiles(f, "*.bmp")
	f.Add(encoded(f, BMP, sceneRGBA()))
	f.Add(huge(f, BMP))
	f.Fuzz(checkDecode)
}

func FuzzWebP(f *testing.F) {
	addFiles(f, "*.webp")
	f.Add(webpWithEXIF(testdata(f, "lossless.webp"), exifBlock(binary.LittleEndian, fuzzTags()), 32, 16))
	f.Add(huge(f, WebP))
	f.Fuzz(checkDecode)
}

func FuzzHEIC(f *testing.F) {
	addFiles(f, "*.heic")
	f.Fuzz(checkDecode)
}

func FuzzPDF(f *testing.F) {
	addFiles(f, "*.pdf")
	m := stairs(30, 15)
	f.Add(pdfOf(72, 72, 90, "", onPage{m: m, place: [6]float64{72, 0, 0, 72, 0, 0}}))
	f.Add(pdfOf(72, 72, 0, "", onPage{m: m, place: [6]float64{72, 0, 0, 36, 0, 0}}, onPage{m: m, place: [6]float64{72, 0, 0, 36, 0, 36}}))
	f.Fuzz(checkDecode)
}
