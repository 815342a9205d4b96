package vision

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// Format is a picture format that is read.
type Format string

const (
	PNG  Format = "png"
	JPEG Format = "jpeg"
	TIFF Format = "tiff"
	BMP  Format = "bmp"
	WebP Format = "webp"
	HEIC Format = "heic"
	PDF  Format = "pdf"
)

func (f Format) name() string {
	if f == WebP {
		return "WebP"
	}
	return strings.ToUpper(string(f))
}

// headLen is how much of a file's beginning sniff wants to see.
const headLen = 1024

var magics = []struct {
	at    int
	magic string
	is    Format
}{
	{0, "\x89PNG\r\n\x1a\n", PNG},
	{0, "\xff\xd8\xff", JPEG},
	{0, "II*\x00", TIFF},
	{0, "MM\x00*", TIFF},
	{8, "WEBP", WebP},
	{0, "BM", BMP},
	{0, "%PDF-", PDF},
	{4, "ftyphei", HEIC},
	{4, "ftyphev", HEIC},
	{4, "ftypmif1", HEIC},
	{4, "ftypmsf1", HEIC},
}

const saveAs = "save it as PNG, JPEG or TIFF and give that file"

// strangers are files that people are likely to have instead of a picture
// that is read, and what they do about it.
var strangers = []struct {
	at    int
	magic string
	is    string
	do    string
}{
	{4, "ftypavif", "an AVIF picture", saveAs},
	{4, "ftypcrx", "a raw camera picture", saveAs},
	{4, "ftyp", "a video", "take a still picture of the rubbing instead"},
	{0, "GIF8", "a GIF picture", saveAs},
	{0, "II+\x00", "a BigTIFF picture", "save it as PNG or ordinary TIFF and give that file"},
	{0, "MM\x00+", "a BigTIFF picture", "save it as PNG or ordinary TIFF and give that file"},
	{0, "\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture", saveAs},
	{0, "\xff\x4f\xff\x51", "a JPEG 2000 picture", saveAs},
	{0, "\x00\x00\x00\x0cJXL ", "a JPEG XL picture", saveAs},
	{0, "\xff\x0a", "a JPEG XL picture", saveAs},
	{0, "8BPS", "a layered picture", saveAs},
	{0, "AT&TFORM", "a DjVu document", saveAs},
	{0, "P1\n", "a PNM picture", saveAs},
	{0, "P2\n", "a PNM picture", saveAs},
	{0, "P3\n", "a PNM picture", saveAs},
	{0, "P4\n", "a PNM picture", saveAs},
	{0, "P5\n", "a PNM picture", saveAs},
	{0, "P6\n", "a PNM picture", saveAs},
	{0, "PK\x03\x04", "a zip archive or office document", "take the picture out of it and give that file"},
	{0, "\x1f\x8b", "a gzip archive", "unpack it and give the picture inside"},
}

// sniff tells a file's format from its first bytes.
func sniff(head []byte) (Format, error) {
	if len(head) == 0 {
		return "", failf(ErrEmpty, "the file is empty (zero bytes); scan or copy it again")
	}
	has := func(at int, magic string) bool {
		return len(head) >= at && bytes.HasPrefix(head[at:], []byte(magic))
	}
	for _, m := range magics {
		if has(m.at, m.magic) {
			return m.is, nil
		}
	}
	for _, s := range strangers {
		if has(s.at, s.magic) {
			return "", failf(ErrNotPicture, "is %s, not a picture that can be read; %s", s.is, s.do)
		}
	}
	if bytes.Contains(head, []byte("%PDF-")) { // other bytes may come before it
		return PDF, nil
	}
	is := "no picture that is known here"
	if text := lookLikeText(head); text != "" {
		is = text + ", not a picture"
	}
	return "", failf(ErrNotPicture, "is %s; give a PNG, JPEG, TIFF, BMP, WebP, HEIC or PDF file", is)
}

// lookLikeText names a text file by its first bytes; empty when it is not
// text.
func lookLikeText(head []byte) string {
	if len(head) == headLen {
		head = head[:headLen-utf8.UTFMax+1] // the cut may have split a letter
		for len(head) > 0 && !utf8.RuneStart(head[len(head)-1]) {
			head = head[:len(head)-1]
		}
		head = head[:max(len(head)-1, 0)]
	}
	if !utf8.Valid(head) || bytes.ContainsRune(head, 0) {
		return ""
	}
	low := strings.ToLower(string(head))
	switch {
	case strings.Contains(low, "<svg"):
		return "an SVG drawing"
	case strings.Contains(low, "<html"):
		return "a web page"
	}
	return "a text file"
}
