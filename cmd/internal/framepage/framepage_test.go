package framepage

import (
	"bytes"
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"boltrose/calib"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

func frame(t *testing.T, p calib.Paper, w, h float64) *calib.Frame {
	t.Helper()
	f, err := calib.NewFrame(p, w, h)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// rendered is the frame's page as poppler prints it.
func rendered(t *testing.T, f *calib.Frame, dpi int) *vision.Picture {
	t.Helper()
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("pdftoppm is not installed; it is in poppler-utils")
	}
	dir := t.TempDir()
	out, err := os.Create(filepath.Join(dir, "frame.pdf"))
	if err != nil {
		t.Fatal(err)
	}
	if err := Write(out, f); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(dir, "page")
	if msg, err := exec.Command("pdftoppm", "-gray", "-png", "-singlefile", "-r", strconv.Itoa(dpi), out.Name(), to).CombinedOutput(); err != nil || len(msg) > 0 {
		t.Fatalf("pdftoppm: %v %s", err, msg)
	}
	pic, err := vision.Open(to+".png", vision.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return pic
}

// Rendered by poppler, every dot and both bars are where the frame has them
// to 0.02 mm, measured with the mark finder and by their grey.
func TestPrintedPlaces(t *testing.T) {
	for _, c := range []struct {
		paper calib.Paper
		w, h  float64
		dpi   int
	}{{calib.A4, 150, 150, 300}, {calib.A4, 168, 252, 600}, {calib.Letter, 60, 40, 300}} {
		f := frame(t, c.paper, c.w, c.h)
		pic := rendered(t, f, c.dpi)
		k := float64(c.dpi) / 25.4
		px := func(mm r2.Vec) r2.Vec {
			return r2.Vec{X: k * (f.Paper.Width/2 + mm.X), Y: k * (f.Paper.Height/2 - mm.Y)}
		}
		worst, worstSize, worstBar := 0.0, 0.0, 0.0
		for _, d := range f.Dots {
			m, ok := vision.MeasureAt(pic, px(d.Centre), k*d.Diameter/2)
			if !ok || m.Kind != vision.Darker {
				t.Fatalf("%s is not there", d.Name)
			}
			worst = max(worst, r2.Norm(r2.Sub(m.Centre, px(d.Centre)))/k)
			worstSize = max(worstSize, math.Abs(2*m.Radius/k-d.Diameter))
		}
		for _, b := range []calib.Bar{f.BarX, f.BarY} {
			worstBar = max(worstBar, math.Abs(inked(pic.Grey, px(b.From), px(b.To))/k-b.Length()))
		}
		t.Logf("%s at %d dpi: places to %.4f mm, diameters to %.4f mm, bars to %.4f mm", f.Paper.Name, c.dpi, worst, worstSize, worstBar)
		// Poppler puts a bar's ends on whole pixels.
		if worst > 0.02 || worstSize > 0.02 || worstBar > max(0.02, 0.5/k) {
			t.Errorf("%s at %d dpi: places to %.4f mm, diameters to %.4f mm, bars to %.4f mm", f.Paper.Name, c.dpi, worst, worstSize, worstBar)
		}
	}
}

// inked returns how many px of the line from a to b, taken 2 mm farther at
// either end, are black, grey ones in their share.
func inked(g *image.Gray, a, b r2.Vec) float64 {
	along := r2.Unit(r2.Sub(b, a))
	beyond := r2.Scale(20, along)
	a, b = r2.Sub(a, beyond), r2.Add(b, beyond)
	sum := 0.0
	for s := 0.5; s < r2.Norm(r2.Sub(b, a)); s++ {
		p := r2.Add(a, r2.Scale(s, along))
		// Between the two pixels along the line.
		lower := r2.Vec{X: math.Floor(p.X - along.X/2), Y: math.Floor(p.Y - along.Y/2)}
		sum += 1 - float64(g.GrayAt(int(lower.X), int(lower.Y)).Y)/255
	}
	return sum
}

// The page as a scanner sees it is known for the frame that it is, with its
// bars, window and text about.
func TestPageIsKnown(t *testing.T) {
	for _, c := range []struct {
		paper calib.Paper
		w, h  float64
	}{{calib.A4, 150, 150}, {calib.Letter, 168, 228}, {calib.A4, 30, 250}, {calib.Letter, 20, 20}} {
		f := frame(t, c.paper, c.w, c.h)
		pic := rendered(t, f, 150)
		v, err := calib.FindFrame(pic, calib.PrintedBars{})
		if err != nil || v == nil {
			t.Errorf("%s %g × %g: %v, %v", c.paper.Name, c.w, c.h, v, err)
			continue
		}
		if v.Frame.Paper != f.Paper || v.Frame.Columns != f.Columns || v.Frame.Rows != f.Rows || v.Hidden > 0 || v.TiltDeg > 1 {
			t.Errorf("%s %g × %g: taken for %s with %d × %d dots, %d hidden, tilt %.1f°", c.paper.Name, c.w, c.h, v.Frame.Paper.Name, v.Frame.Columns, v.Frame.Rows, v.Hidden, v.TiltDeg)
		}
	}
}

// A page seen from 40° aside is known too, and its dots are where they are on
// it: the camera's view of the page that poppler prints.
func TestTiltedPage(t *testing.T) {
	const dpi, focal, distance = 300, 1550.0, 420.0
	f := frame(t, calib.A4, 150, 150)
	page := rendered(t, f, dpi)
	k := dpi / 25.4
	size := r2.Vec{X: float64(page.Grey.Rect.Dx()), Y: float64(page.Grey.Rect.Dy())}
	for _, turn := range []float64{20, 110, 200, 290} {
		st, ct := math.Sincos(40 * math.Pi / 180)
		su, cu := math.Sincos(turn * math.Pi / 180)
		// A line of sight (u, v, 1) meets the plane that is tilted about the
		// picture's x axis; from there in its own axes, turned, to the page.
		// In homogeneous coordinates all of it is linear in u and v.
		// Points of the plane: (x, y ct, distance + y st).
		plane := [9]float64{distance * ct, 0, 0, 0, distance, 0, 0, -st, ct} // (u, v, 1) to (x, y, w)
		toPage := mul([9]float64{k, 0, size.X / 2, 0, k, size.Y / 2, 0, 0, 1}, mul([9]float64{cu, -su, 0, su, cu, 0, 0, 0, 1}, plane))
		view := mul(toPage, [9]float64{1 / focal, 0, -1000 / focal, 0, 1 / focal, -750 / focal, 0, 0, 1})
		photo, err := vision.Flatten(page, 2000, 1500, view)
		if err != nil {
			t.Fatal(err)
		}
		v, err := calib.FindFrame(photo.Picture, calib.PrintedBars{})
		if err != nil || v == nil {
			t.Fatalf("turned %g°: %v, %v", turn, v, err)
		}
		if v.Frame.Columns != f.Columns || v.Frame.Rows != f.Rows || v.Hidden > 0 || math.Abs(v.TiltDeg-40) > 1.5 {
			t.Errorf("turned %g°: %d × %d dots, %d hidden, tilt %.1f°", turn, v.Frame.Columns, v.Frame.Rows, v.Hidden, v.TiltDeg)
		}
		sheet, fit, err := calib.FromControls("frame", calib.ControlSet{Controls: v.Controls, WidthPx: 2000, HighPx: 1500})
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for _, d := range f.Dots { // where the page has them, by way of the photograph
			at := r2.Vec{X: size.X/2 + k*d.Centre.X, Y: size.Y/2 - k*d.Centre.Y}
			back := photo.Point(pxOf(t, sheet, d.Centre))
			worst = max(worst, r2.Norm(r2.Sub(back, at))/k)
		}
		t.Logf("turned %g°: dots to %.4f mm, rms %.4f mm", turn, worst, fit.RMSMM)
		// The view takes single points of the page, where a camera averages.
		if worst > 0.05 || fit.RMSMM > 0.02 {
			t.Errorf("turned %g°: a dot is %.4f mm off", turn, worst)
		}
	}
}

func pxOf(t *testing.T, p *calib.Plane, mm r2.Vec) r2.Vec {
	t.Helper()
	px, ok := p.Px(mm, r2.Vec{X: 1000, Y: 750})
	if !ok {
		t.Fatalf("%v mm is not in the picture", mm)
	}
	return px
}

// mul multiplies two 3 × 3 matrices by rows.
func mul(a, b [9]float64) (c [9]float64) {
	for r := range 3 {
		for q := range 3 {
			for k := range 3 {
				c[3*r+q] += a[3*r+k] * b[3*k+q]
			}
		}
	}
	return c
}

// The same frame gives the same bytes, so that a page can be kept and compared.
func TestSamePage(t *testing.T) {
	var a, b bytes.Buffer
	f := frame(t, calib.A4, 150, 150)
	if Write(&a, f) != nil || Write(&b, f) != nil || a.Len() < 1000 || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("%d and %d bytes", a.Len(), b.Len())
	}
}

// Nothing that is printed leaves the paper's printable part or runs over dots,
// bars or the window's line: all ink but theirs is text, and text is apart.
func TestInkKeepsClear(t *testing.T) {
	const dpi, margin = 100, 5.5
	for _, c := range []struct {
		paper calib.Paper
		w, h  float64
	}{{calib.A4, 150, 150}, {calib.A4, 168, 252}, {calib.Letter, 168, 228}, {calib.A4, 30, 250}, {calib.A4, 168, 30}, {calib.Letter, 20, 20}, {calib.A4, 76, 252}} {
		f := frame(t, c.paper, c.w, c.h)
		g := rendered(t, f, dpi).Grey
		k := float64(dpi) / 25.4
		beside := 0
		for y := range g.Rect.Dy() {
			for x := range g.Rect.Dx() {
				if g.GrayAt(x, y).Y > 200 {
					continue
				}
				mm := r2.Vec{X: (float64(x)+0.5)/k - f.Paper.Width/2, Y: f.Paper.Height/2 - (float64(y)+0.5)/k}
				if math.Abs(mm.X) > f.Paper.Width/2-margin || math.Abs(mm.Y) > f.Paper.Height/2-margin {
					t.Fatalf("%s %g × %g: ink in the margin, at %.1f mm", c.paper.Name, c.w, c.h, mm)
				}
				for _, d := range f.Dots {
					if off := r2.Norm(r2.Sub(mm, d.Centre)) - d.Diameter/2; off > 0.3 && off < 1.2 {
						beside++
					}
				}
			}
		}
		if beside > 0 {
			t.Errorf("%s %g × %g: %d pixels of ink beside dots", c.paper.Name, c.w, c.h, beside)
		}
	}
}
