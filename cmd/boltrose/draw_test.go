package main

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/pattern/draw"

	"gonum.org/v1/gonum/spatial/r2"
)

// A paper check that poppler prints at 600 dpi, read as a scan of it would be,
// has the drawing's pitch circle and angles; also one made for a printer that
// is off, as that printer prints it, and one from the other side.
func TestPaperCheckReadsBack(t *testing.T) {
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		if os.Getenv("BOLTROSE_TESTFILES") != "" {
			t.Fatal("BOLTROSE_TESTFILES is set, and pdftoppm is not installed")
		}
		t.Skip("pdftoppm is not installed; it is in poppler-utils")
	}
	var rings []pattern.Ring
	choice := pattern.Choice{Bore: 6, Rim: 7, Circle: true}
	for i, deg := range []float64{92, 152, 212, 279, 332, 32} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		rings = append(rings, pattern.Ring{ID: i, Centre: r2.Vec{X: 48 * cos, Y: 48 * sin}, Diameter: 9, DiameterU: 0.1, CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}})
		choice.Holes = append(choice.Holes, i)
	}
	for _, d := range []float64{51.5, 119} {
		rings = append(rings, pattern.Ring{ID: len(rings), Centre: r2.Vec{X: 0.2}, Diameter: d, DiameterU: 0.1, CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}})
	}
	want, err := pattern.New(rings, choice, pattern.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		paper   calib.Paper
		opts    draw.Options
		printed [2]float64
	}{
		{"a4", calib.A4, draw.Options{}, [2]float64{}},
		{"letter, corrected", calib.Letter, draw.Options{Clearance: []float64{9.6}}, [2]float64{98.5, 101.2}},
		{"mirrored", calib.A4, draw.Options{Mirror: true}, [2]float64{}},
	} {
		d, err := draw.New(want, c.opts)
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		file := filepath.Join(dir, "check.pdf")
		out, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.WritePDF(out, draw.Paper(c.paper), c.printed); err != nil {
			t.Fatal(err)
		}
		if err := out.Close(); err != nil {
			t.Fatal(err)
		}
		page := filepath.Join(dir, "page")
		if msg, err := exec.Command("pdftoppm", "-gray", "-png", "-singlefile", "-r", "600", file, page).CombinedOutput(); err != nil || len(msg) > 0 {
			t.Fatalf("pdftoppm: %v %s", err, msg)
		}
		opts := read.Options{DPI: [2]float64{600, 600}, FromBehind: c.opts.Mirror}
		for i, p := range c.printed {
			if p > 0 { // a printer that shrinks puts more pixels into an inch
				opts.DPI[i] = 600 * draw.BarMM / p
			}
		}
		got, err := read.File(page+".png", opts)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		r := got.Reading
		if len(r.Holes) != len(want.Holes) || r.PitchCircle == nil {
			t.Fatalf("%s: %d holes", c.name, len(r.Holes))
		}
		pcd := math.Abs(r.PitchCircle.Diameter - want.PitchCircle.Diameter)
		angle := 0.0
		for i, h := range r.Holes {
			angle = math.Max(angle, math.Abs(math.Remainder(*h.AngleDeg-*want.Holes[i].AngleDeg, 360)))
		}
		if r.Bore == nil || r.Rim == nil {
			t.Fatalf("%s: no bore or no rim", c.name)
		}
		// Which side of a drawn line is a circle's edge, nobody can say.
		const line = 0.3
		bore, rim := math.Abs(r.Bore.Diameter-want.Bore.Diameter), math.Abs(r.Rim.Diameter-want.Rim.Diameter)
		t.Logf("%s: PCD %.4f mm, angles %.4f° off, bore %.2f and rim %.2f mm", c.name, pcd, angle, bore, rim)
		if bore > line || rim > line {
			t.Errorf("%s: the bore is off by %.2f mm and the rim by %.2f mm", c.name, bore, rim)
		}
		if pcd > 0.02 || angle > 0.02 {
			t.Errorf("%s: PCD %.4f mm, angles %.4f° off", c.name, pcd, angle)
		}
	}
}

// Whatever is typed, parsing ends in what can be drawn or in one line.
func FuzzDrawFlags(f *testing.F) {
	for _, s := range []string{
		"r.json\n--to\na.dxf\n--to=b.gaps.csv\n--bolt\nM8\n--fit\nloose", "-\n--to\n-\n--as\nscad\n--clearance\n9,0.25in", "r.json\n--to\na.pdf\n--printed\n99,101\n--paper\nletter\n--units\nin\n--mirror",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseDraw(strings.Split(s, "\n"))
		if err != nil {
			if strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		for _, path := range c.to {
			if _, err := c.form(path); err != nil {
				t.Errorf("%q: %v", s, err)
			}
		}
		for _, v := range append(append(c.clearance, c.allowance), c.printed[:]...) {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Errorf("%q gives %v", s, c)
			}
		}
	})
}
