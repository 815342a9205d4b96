package vision

import (
	"bytes"
	"encoding/binary"
	"image"
	"math/rand/v2"
	"os"
	"runtime"
	"runtime/debug"
	"strconv"
	"testing"
	"time"
)

// mutants is how many damaged files of each format are read.
// BOLTROSE_MUTANTS changes it.
func mutants(t *testing.T) int {
	t.Helper()
	s := os.Getenv("BOLTROSE_MUTANTS")
	if s == "" {
		return 150
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Damaged files of every format: nothing crashes, nothing takes longer than its
// limit, and memory stays bounded.
func TestMutants(t *testing.T) {
	grey := image.NewGray(sceneSize)
	paintScene(grey)
	m := stairs(60, 40)
	files := map[Format][][]byte{
		PNG:  {encoded(t, PNG, sceneRGBA()), testdata(t, "interlaced.png")},
		JPEG: {encoded(t, JPEG, sceneRGBA()), testdata(t, "progressive.jpg"), testdata(t, "cmyk.jpg")},
		BMP:  {encoded(t, BMP, sceneRGBA()), testdata(t, "mono.bmp")},
		WebP: {testdata(t, "lossy.webp"), testdata(t, "lossless.webp"), testdata(t, "alpha.webp")},
		TIFF: {testdata(t, "lzw.tif"), testdata(t, "packbits.tif"), testdata(t, "zip16.tif"), testdata(t, "g4.tif"), testdata(t, "tiled-lzw.tif"), testdata(t, "pages.tif"), greyTIFF(binary.BigEndian, grey, fuzzTags()...)},
		HEIC: {testdata(t, "scene.heic")},
		PDF:  {testdata(t, "pages.pdf"), testdata(t, "g4.pdf"), pdfOf(72, 72, 90, "", onPage{m: m, place: [6]float64{72, 0, 0, 72, 0, 0}}), pdfOf(72, 72, 0, "", onPage{m: m, place: [6]float64{72, 0, 0, 36, 0, 0}}, onPage{m: m, place: [6]float64{72, 0, 0, 36, 0, 36}})},
	}
	const most, limit = 10_000_000, 20 * time.Second
	for format, seeds := range files {
		t.Run(string(format), func(t *testing.T) {
			random := rand.New(rand.NewPCG(6, uint64(len(format))))
			read, slowest := 0, time.Duration(0)
			for i := range mutants(t) {
				data := mutate(random, seeds[i%len(seeds)])
				if format == PNG && i%2 == 0 {
					data = withChecksums(data) // or little gets past the checksums
				}
				start := time.Now()
				p, err := Decode(data, Limits{MaxPixels: most, Time: limit})
				took := time.Since(start)
				slowest = max(slowest, took)
				if took > limit+5*time.Second {
					t.Errorf("mutant %d took %v", i, took)
				}
				if err != nil {
					checkError(t, err, nil)
					continue
				}
				wellFormed(t, p)
				if n := len(p.Grey.Pix); n > most {
					t.Errorf("mutant %d has %d pixels", i, n)
				}
				read++
			}
			debug.FreeOSMemory()
			var mem runtime.MemStats
			runtime.ReadMemStats(&mem)
			// Two compiled decoders and little else are left.
			if held := mem.HeapInuse; held > 400<<20 {
				t.Errorf("%d MB are held", held>>20)
			}
			t.Logf("%d of %d could still be read, the slowest took %v; %d MB in use, %d MB had of the system", read, mutants(t), slowest, mem.HeapInuse>>20, mem.Sys>>20)
		})
	}
}

// mutate damages a file in a few of the ways in which files are damaged and
// forged: bits and bytes, numbers that are extreme, pieces cut out, doubled or
// swapped, an end that is missing.
func mutate(random *rand.Rand, data []byte) []byte {
	out := bytes.Clone(data)
	at := func() int { return random.IntN(len(out)) }
	for range 1 + random.IntN(4) {
		if len(out) < 8 {
			return out
		}
		switch random.IntN(8) {
		case 0:
			out[at()] ^= 1 << random.IntN(8)
		case 1:
			out[at()] = byte(random.IntN(256))
		case 2:
			extreme := []uint32{0, 1, 0x7f, 0xff, 0x7fff, 0xffff, 0x7fffffff, 0x80000000, 0xffffffff}[random.IntN(9)]
			i := random.IntN(len(out) - 4)
			if random.IntN(2) == 0 {
				binary.BigEndian.PutUint32(out[i:], extreme)
			} else {
				binary.LittleEndian.PutUint32(out[i:], extreme)
			}
		case 3:
			i := at()
			out = append(out[:i:i], out[min(len(out), i+1+random.IntN(40)):]...)
		case 4:
			i := at()
			j := min(len(out), i+1+random.IntN(40))
			out = append(append(bytes.Clone(out[:j]), out[i:j]...), out[j:]...)
		case 5:
			i, j := at(), at()
			out[i], out[j] = out[j], out[i]
		case 6:
			out = out[:1+random.IntN(len(out))]
		case 7:
			i := at()
			for k := i; k < min(len(out), i+16); k++ {
				out[k] = 0
			}
		}
	}
	return out
}
