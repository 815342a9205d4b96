package profile

import (
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boltrose/calib"

	"gonum.org/v1/gonum/spatial/r2"
)

// photograph renders a chessboard of 10 × 7 fields of 20 mm as a lens with
// k1 = −0.1 and 700 px sees it, and writes it to a file.
func photograph(t *testing.T, folder string, n int, tilt, turn float64) string {
	t.Helper()
	const w, h, f, k1 = 640, 480, 700.0, -0.1
	img := image.NewGray(image.Rect(0, 0, w, h))
	st, ct := math.Sincos(tilt)
	sr, cr := math.Sincos(turn)
	// A direction d = (x, y, 1) meets the board, whose middle is 300 mm ahead,
	// where n·(s d − m) = 0, n being the board's normal.
	ex, ey, ez := [3]float64{cr, 0, -sr}, [3]float64{sr * st, ct, cr * st}, [3]float64{sr * ct, -st, cr * ct}
	dot := func(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
	m := [3]float64{0, 0, 300}
	const fine = 3
	for y := range h {
		for x := range w {
			sum := 0
			for s := range fine * fine {
				q := r2.Vec{
					X: (float64(x) + (float64(s%fine)+0.5)/fine - w/2) / f,
					Y: (float64(y) + (float64(s/fine)+0.5)/fine - h/2) / f,
				}
				u := q
				for range 12 {
					u = r2.Scale(1/(1+k1*r2.Norm2(u)), q)
				}
				d := [3]float64{u.X, u.Y, 1}
				far := dot(ez, m) / dot(ez, d)
				p := [3]float64{far * d[0], far * d[1], far*d[2] - 300}
				i, j := math.Floor(dot(p, ex)/20+5), math.Floor(dot(p, ey)/20+3.5)
				if i < 0 || j < 0 || i > 9 || j > 6 || int(i+j)%2 == 1 {
					sum++
				}
			}
			img.Pix[y*w+x] = uint8(50 + 170*sum/(fine*fine))
		}
	}
	name := filepath.Join(folder, fmt.Sprintf("photo%d.png", n))
	file, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if err := png.Encode(file, img); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestLens(t *testing.T) {
	folder := t.TempDir()
	var photos []string
	for i, v := range [][2]float64{{0.5, 0}, {-0.5, 0.1}, {0, 0.5}, {0.1, -0.5}, {0.4, 0.4}} {
		photos = append(photos, photograph(t, folder, i+1, v[0], v[1]))
	}
	blank := filepath.Join(folder, "blank.png")
	file, err := os.Create(blank)
	if err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(file, image.NewGray(image.Rect(0, 0, 640, 480))); err != nil {
		t.Fatal(err)
	}
	file.Close()
	var said []string
	res, err := Lens(append(photos, blank), LensOptions{Chessboard: [2]int{9, 6}, Progress: func(done, of int, name, result string) {
		said = append(said, fmt.Sprintf("%d of %d %s", done, of, name))
	}})
	if err != nil {
		t.Fatal(err)
	}
	l := res.Lens
	t.Logf("f %.2f, middle %.2f,%.2f, k1 %.4f, rms %.3f px", l.FX, l.CX, l.CY, l.K1, res.Fit.RMSPx)
	if math.Abs(l.FX-700) > 2 || math.Abs(l.CX-320) > 1.5 || math.Abs(l.CY-240) > 1.5 || math.Abs(l.K1+0.1) > 0.02 || res.Fit.RMSPx > 0.15 {
		t.Errorf("f %.2f, middle %.2f,%.2f, k1 %.4f, rms %.3f px", l.FX, l.CX, l.CY, l.K1, res.Fit.RMSPx)
	}
	if len(said) != 6 || len(res.Skipped) != 1 || !strings.HasPrefix(res.Skipped[0], "blank.png: no chessboard") {
		t.Errorf("said %q, skipped %q", said, res.Skipped)
	}
	for _, c := range []struct {
		photos []string
		opts   LensOptions
		want   string
	}{
		{photos[:2], LensOptions{Chessboard: [2]int{9, 6}}, "3 pictures or more"},
		{photos[:3], LensOptions{Chessboard: [2]int{8, 5}}, "no photograph can be used; photo1.png"},
		{photos[:3], LensOptions{Grid: [2]int{5, 6}}, "no photograph can be used"},
		{[]string{blank}, LensOptions{Printed: calib.PrintedBars{}}, "no printed frame was found"},
		{[]string{filepath.Join(folder, "none.png")}, LensOptions{}, "none.png"},
	} {
		if _, err := Lens(c.photos, c.opts); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v", c.opts, err)
		}
	}
}
