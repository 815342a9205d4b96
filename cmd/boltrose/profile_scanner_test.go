package main

import (
	"bytes"
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boltrose/calib"
)

// writeRule draws a scan of a steel rule with pitch px along x or y.
func writeRule(t *testing.T, path string, pitch float64, upright bool, dpi float64) {
	t.Helper()
	const w, h = 900, 220
	g := image.NewGray(image.Rect(0, 0, w, h))
	if upright {
		g = image.NewGray(image.Rect(0, 0, h, w))
	}
	for v := range h {
		for u := range w {
			grey := 235.0
			if v > 60 && v < 190 && u > 20 && u < 880 {
				grey = 170
				n := math.Round((float64(u) + 0.5 - 40) / pitch)
				long := 30.0
				if int(n)%5 == 0 {
					long = 45
				}
				if n >= 0 && float64(v-60) < long {
					grey -= 110 * min(max(1.5-math.Abs(float64(u)+0.5-40-n*pitch), 0), 1)
				}
			}
			x, y := u, v
			if upright {
				x, y = v, u
			}
			g.Pix[y*g.Stride+x] = uint8(grey)
		}
	}
	keepScan(t, path, g, dpi)
}

// Two scans of a rule, along x and along y, give a profile that can be read
// back and says by how much it is better.
func TestProfileScannerFromRules(t *testing.T) {
	dir := t.TempDir()
	along, across, out := filepath.Join(dir, "along.png"), filepath.Join(dir, "across.png"), filepath.Join(dir, "scanner.json")
	const nominal = 300 / 25.4
	writeRule(t, along, nominal/1.004, false, 300) // fewer pixels to the millimetre: lengths are 0.4 % longer
	writeRule(t, across, nominal/0.998, true, 300)
	var stdout, stderr bytes.Buffer
	if code := run([]string{"profile", "scanner", along, across, "--rule", "1mm", "-o", out}, &stdout, &stderr); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr.String())
	}
	t.Logf("\n%s%s", stderr.String(), stdout.String())
	f, err := os.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s, err := calib.ReadScanner(f)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(s.X-0.004) > 2e-4 || math.Abs(s.Y+0.002) > 2e-4 || s.Measured != [3]bool{true, true, false} {
		t.Errorf("%+v", s)
	}
	for _, want := range []string{"Along x     298.8", "for 300: lengths are +0.", "-0.200 %", "angle not measured", "Repeats     not known", "±0.40 mm", "--scanner"} {
		if !strings.Contains(stdout.String(), want) {
			t.Errorf("nothing says %q", want)
		}
	}
}
