package vision

import (
	"bytes"
	"encoding/binary"
	"image"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gen2brain/heic"
)

// pages.tif and pages.pdf hold what their pages' own files hold.
func TestPages(t *testing.T) {
	single := func(name string) *Picture { return mustDecode(t, testdata(t, name)) }
	for file, pages := range map[string][]*Picture{
		"pages.tif": {single("lzw.tif"), single("packbits.tif"), single("g4.tif"), single("zip16.tif")},
		"pages.pdf": {single("lzw.tif"), single("progressive.jpg")},
	} {
		t.Run(file, func(t *testing.T) {
			path := filepath.Join("testdata", file)
			digests := map[string]bool{}
			for i, want := range pages {
				p, err := OpenPage(path, i+1, Limits{})
				if err != nil {
					t.Fatal(err)
				}
				wellFormed(t, p)
				if p.Page != i+1 || p.Pages != len(pages) || len(p.Warnings) != 0 || p.Grey.Rect != want.Grey.Rect {
					t.Errorf("page %d of %d, %v, %q", p.Page, p.Pages, p.Grey.Rect, p.Warnings)
				}
				for k := range want.Grey.Pix {
					if d := int(want.Grey.Pix[k]) - int(p.Grey.Pix[k]); d != 0 {
						t.Fatalf("page %d, pixel %d: %d, want %d", i+1, k, p.Grey.Pix[k], want.Grey.Pix[k])
					}
				}
				digests[p.SHA256] = true
			}
			if len(digests) != len(pages) {
				t.Error("two pages have one digest")
			}
			first, err := Open(path, Limits{})
			if err != nil || first.Page != 1 || len(first.Warnings) != 1 || !strings.Contains(first.Warnings[0], "--page N") {
				t.Errorf("%+v, %v", first, err)
			}
			_, err = OpenPage(path, len(pages)+1, Limits{})
			checkError(t, err, ErrUnreadable, "has no page", "from 1 to")
		})
	}
}

// A page's own resolution and orientation count, and a reduced copy is none.
func TestTIFFPageTags(t *testing.T) {
	grey := image.NewGray(sceneSize)
	paintScene(grey)
	data := greyTIFF(binary.LittleEndian, grey, tag{tagXRes, [2]uint32{300, 1}}, tag{tagYRes, [2]uint32{300, 1}})
	p, err := DecodePage(data, 2, Limits{})
	if err != nil || p.DPI != [2]float64{150, 150} || p.Grey.Rect != image.Rect(0, 0, 4, 4) {
		t.Errorf("%+v, %v", p, err)
	}
	// Make the second page a reduced copy: its first tag becomes 254.
	second := binary.LittleEndian.Uint32(data[8+2+12*int(binary.LittleEndian.Uint16(data[8:])):])
	binary.LittleEndian.PutUint16(data[second+2:], 254)
	binary.LittleEndian.PutUint32(data[second+2+8:], 1)
	if p := mustDecode(t, data); p.Pages != 1 || len(p.Warnings) != 0 {
		t.Errorf("%d pages, %q", p.Pages, p.Warnings)
	}
	// A chain of pages that bites its own tail ends.
	loop := greyTIFF(binary.BigEndian, grey)
	tags := int(binary.BigEndian.Uint16(loop[8:]))
	binary.BigEndian.PutUint32(loop[8+2+12*tags:], 8)
	if p := mustDecode(t, loop); p.Pages != 1 {
		t.Errorf("%d pages", p.Pages)
	}
}

// The decoder is the one of the package named in go.mod. (That package's own
// pixels are not compared: with the WebAssembly runtime used here it hands out
// memory that it has given back.)
func TestHEICAsItsPackage(t *testing.T) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/gen2brain/heic").Output()
	folder := strings.TrimSpace(string(out))
	if err != nil || folder == "" {
		t.Skip("the package's source is not there:", err)
	}
	theirs, err := os.ReadFile(filepath.Join(folder, "lib", "heif.wasm.gz"))
	if err != nil || !bytes.Equal(theirs, heifWasm) {
		t.Errorf("heic/heif.wasm.gz is not lib/heif.wasm.gz of the package: %v", err)
	}
	data := testdata(t, "scene.heic")
	c, err := heic.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if p := mustDecode(t, data); p.Grey.Rect != image.Rect(0, 0, c.Width, c.Height) {
		t.Errorf("%v, the package says %d × %d", p.Grey.Rect, c.Width, c.Height)
	}
}

// scene.heic shows the scene four times as large, as heif-enc writes it.
func TestHEIC(t *testing.T) {
	p := mustDecode(t, testdata(t, "scene.heic"))
	wellFormed(t, p)
	if p.Grey.Rect != image.Rect(0, 0, 128, 64) || p.Format != "heic" || p.Pages != 1 {
		t.Fatalf("%v %s", p.Grey.Rect, p.Format)
	}
	for at, want := range map[image.Point]int{{8, 8}: 0, {40, 60}: 0, {120, 4}: 255, {124, 60}: 255, {96, 32}: 76} {
		if got := int(p.Grey.GrayAt(at.X, at.Y).Y); got < want-3 || got > want+3 {
			t.Errorf("%v is %d, want %d", at, got, want)
		}
	}
	_, err := Decode(testdata(t, "scene.heic"), Limits{MaxPixels: 128*64 - 1})
	checkError(t, err, ErrTooLarge, "128 × 64")
	huge := bytes.Replace(testdata(t, "scene.heic"), []byte("ispe\x00\x00\x00\x00\x00\x00\x00\x80\x00\x00\x00\x40"), []byte("ispe\x00\x00\x00\x00\x00\x00\xea\x60\x00\x00\xea\x60"), 1)
	_, err = Decode(huge, Limits{})
	checkError(t, err, nil)
}

// endless hands out the beginning of a picture and then never stops.
type endless struct {
	head  []byte
	slow  chan struct{} // closed when the test is over
	after int64
}

func (e endless) ReadAt(b []byte, at int64) (int, error) {
	if at >= e.after {
		<-e.slow
		return 0, io.ErrUnexpectedEOF
	}
	n := 0
	if at < int64(len(e.head)) {
		n = copy(b, e.head[at:])
	}
	clear(b[n:])
	return len(b), nil
}

// A disk that stops answering ends in an error, not in waiting.
func TestTimeLimit(t *testing.T) {
	slow := make(chan struct{})
	defer close(slow)
	data := encoded(t, PNG, sceneRGBA())
	_, err := decode(endless{data[:60], slow, 60}, 1<<20, 0, Limits{Time: 20 * time.Millisecond})
	checkError(t, err, ErrTooLarge, "more than 20ms")
	// Decoders in a sandbox are stopped where they are.
	for _, name := range []string{"scene.heic", "pages.pdf"} {
		start := time.Now()
		_, err := Decode(testdata(t, name), Limits{Time: time.Nanosecond})
		checkError(t, err, ErrTooLarge, "more than 1ns")
		if took := time.Since(start); took > 20*time.Second { // compiling them is not stopped
			t.Errorf("%s: %v", name, took)
		}
	}
}
