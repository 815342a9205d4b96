package demo

import (
	"image/jpeg"
	"os"
	"runtime"
	"testing"

	"boltrose/calib"
)

func TestSheetIsTheFrame(t *testing.T) {
	f, err := calib.NewFrame(calib.Letter, 100, 120)
	if err != nil {
		t.Fatal(err)
	}
	s := Sheet(f)
	if s.Width != 215.9 || s.Height != 279.4 || s.WindowHeight != 120 || len(s.Dots) != len(f.Dots) || len(s.Bars) != 2 {
		t.Errorf("%+v", s)
	}
	for _, b := range s.Bars {
		if long := b.X2 - b.X1 + b.Y2 - b.Y1; long != 140 {
			t.Errorf("a bar of %g mm", long)
		}
	}
	for window, want := range map[float64]float64{50: 50, 1000: 168} {
		if f := Frame(window); f.WindowW != want || f.WindowH != want {
			t.Errorf("for %g mm: %g × %g", window, f.WindowW, f.WindowH)
		}
	}
}

func TestDemoPhotographIsWhatTheProgramDraws(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("other processors round sums of products differently")
	}
	p := Photos()[0]
	f, err := os.Open("../../../samples/" + p.Name + ".jpg")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() > 600_000 {
		t.Errorf("the file has %d bytes, want at most 600,000", info.Size())
	}
	stored, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	drawn, _ := p.Render()
	if stored.Bounds() != drawn.Rect {
		t.Fatalf("%v, want %v", stored.Bounds(), drawn.Rect)
	}
	sum, n := 0, 0
	for y := 0; y < drawn.Rect.Dy(); y += 7 {
		for x := 0; x < drawn.Rect.Dx(); x += 7 {
			_, g, _, _ := stored.At(x, y).RGBA()
			d := int(g>>8) - int(drawn.RGBAAt(x, y).G)
			sum += max(d, -d)
			n++
		}
	}
	// What JPEG loses, noise first.
	if off := float64(sum) / float64(n); off > 3 {
		t.Errorf("%s.jpg differs by %.2f grey levels: run go run ./cmd/internal/demo/pictures samples, and keep this file of what it writes", p.Name, off)
	}
}
