package read_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"

	"gonum.org/v1/gonum/spatial/r2"
)

// framed renders a face with the printed frame round it, from 30° askew and
// at 3 megapixels, and writes it as a phone does.
func framed(t *testing.T) (file string, bars calib.PrintedBars, truth samples.PhotoTruth) {
	t.Helper()
	p := samples.NewPhoto(samples.Keyed(80, []float64{90, 160, 235, 305, 20}, 9), 3)
	c := &p.Camera
	c.Width, c.Height, c.Focal, c.Principal = 2000, 1500, 1525, r2.Vec{X: 1000, Y: 750}
	c.Tilt, c.Toward, c.Turn = 30, 40, 10
	c.K1 = -0.06
	return photographed(t, p, 120, 120)
}

// photographed renders a photograph with the printed frame for a window, mm.
func photographed(t *testing.T, p samples.Photo, width, height float64) (file string, bars calib.PrintedBars, truth samples.PhotoTruth) {
	t.Helper()
	paper, err := calib.PaperNamed("a4")
	if err != nil {
		t.Fatal(err)
	}
	f, err := calib.NewFrame(paper, width, height)
	if err != nil {
		t.Fatal(err)
	}
	s := samples.Sheet{Width: paper.Width, Height: paper.Height, WindowWidth: f.WindowW, WindowHeight: f.WindowH}
	for _, d := range f.Dots {
		s.Dots = append(s.Dots, samples.Disc{X: d.Centre.X, Y: d.Centre.Y, Diameter: d.Diameter})
	}
	p.Sheet = &s
	img, truth := p.Render()
	file = filepath.Join(t.TempDir(), "framed.jpg")
	w, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if err := p.WriteJPEG(w, img); err != nil {
		t.Fatal(err)
	}
	return file, calib.PrintedBars{f.BarX.Length(), f.BarY.Length()}, truth
}

// distance is the true one between the holes that a reading calls from and to.
func distance(r *pattern.Reading, truth samples.PhotoTruth, from, to int) float64 {
	at := func(id int) r2.Vec {
		best, off := r2.Vec{}, math.Inf(1)
		for _, c := range truth.Holes {
			if d := math.Hypot(c.CentrePx.X-r.Holes[id-1].XPx, c.CentrePx.Y-r.Holes[id-1].YPx); d < off {
				best, off = c.CentreMM, d
			}
		}
		return best
	}
	return r2.Norm(r2.Sub(at(to), at(from)))
}

// A large window has more dots round it than the finder has places for the
// circles that it measures: the holes are not crowded out by them.
func TestPhotographWithManyDots(t *testing.T) {
	p := samples.NewPhoto(samples.Ring(12, 100, 5), 5)
	p.Metal.Tone = 0.3 // so that the dots show more than the holes
	c := &p.Camera
	c.Width, c.Height, c.Focal, c.Principal = 2000, 1500, 1525, r2.Vec{X: 1000, Y: 750}
	c.Tilt = 3
	file, bars, truth := photographed(t, p, 150, 200)
	res, err := read.File(file, read.Options{ScaleU: -1, Printed: bars})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(res.Reading.Holes); n != len(truth.Holes) {
		t.Errorf("%d of %d holes", n, len(truth.Holes))
	}
}

// One photograph with a frame, by each way of getting scale that it allows:
// every chord is within its ±, and of two ways the one that knows more has
// the smaller.
func TestPhotographWithFrame(t *testing.T) {
	file, bars, truth := framed(t)
	read1 := func(name string, o read.Options) *read.Result {
		t.Helper()
		o.ScaleU = -1
		res, err := read.File(file, o)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		r := res.Reading
		if len(r.Holes) != 5 || r.Source.Kind != pattern.ByPhoto {
			t.Fatalf("%s: %d holes of a %s", name, len(r.Holes), r.Source.Kind)
		}
		for _, c := range r.Chords {
			if off := math.Abs(c.Chord - distance(r, truth, c.From, c.To)); off > 1.3*c.ChordU95 {
				t.Errorf("%s: chord %d-%d of %.3f ±%.3f is %.3f off", name, c.From, c.To, c.Chord, c.ChordU95, off)
			}
		}
		t.Logf("%s: PCD %.3f ±%.3f by %s", name, r.PitchCircle.Diameter, r.PitchCircle.DiameterU95, r.Scale.Method)
		return res
	}
	frame := read1("frame", read.Options{})
	measured := read1("bars measured", read.Options{Printed: bars})
	d := pattern.Distance{From: 1, To: 3, Value: distance(frame.Reading, truth, 1, 3), U: 0.025, Over: pattern.Centres}
	known := read1("distance known", read.Options{Between: []pattern.Distance{d}})
	both := read1("bars measured and distance known", read.Options{Printed: bars, Between: []pattern.Distance{d}})
	behind := read1("from behind", read.Options{FromBehind: true})
	u := func(r *read.Result) float64 { return r.Reading.PitchCircle.DiameterU95 }
	// One distance tells little of the printer's other axis; both together do.
	if !(u(both) < u(measured) && u(both) < u(known) && u(measured) < u(frame) && u(known) < u(frame)) {
		t.Errorf("PCD ±%.3f by the frame, ±%.3f with its bars measured, ±%.3f with a known distance, ±%.3f with both", u(frame), u(measured), u(known), u(both))
	}
	if b := behind.Reading; b.View != pattern.FromBehind || math.Abs(b.PitchCircle.Diameter-frame.Reading.PitchCircle.Diameter) > 0.02 {
		t.Errorf("from behind: %+v", b.PitchCircle)
	}
	if !strings.Contains(frame.Scaling.Why, "printed frame is in the picture") || len(frame.Scaling.Notes) < 4 {
		t.Errorf("why: %q, %q", frame.Scaling.Why, frame.Scaling.Notes)
	}
	if _, err := read.File(file, read.Options{ScaleU: -1, Between: []pattern.Distance{{From: 1, To: 2, Value: d.Value, U: 0.025, Over: pattern.Centres}}}); err == nil || !strings.Contains(err.Error(), "it would fit") {
		t.Errorf("holes exchanged: %v", err)
	}

	// The lens that took it, kept in a folder, is found by the camera's name;
	// what else lies there does no harm.
	folder := t.TempDir()
	cam := frame.Picture.Camera
	lens := &calib.Lens{
		Make: cam.Make, Model: cam.Model, FocalLengthMM: cam.FocalLengthMM, MadeFrom: "the rendered camera",
		WidthPx: 2000, HighPx: 1500, FX: 1525, FY: 1525, CX: 1000, CY: 750, K1: -0.06, Pictures: 1,
	}
	for name, l := range map[string]*calib.Lens{"mine.json": lens, "other.json": {Make: "Other", Model: "Camera", FocalLengthMM: 4, WidthPx: 2000, HighPx: 1500, FX: 900, FY: 900, CX: 1000, CY: 750, Pictures: 1}} {
		w, err := os.Create(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := l.WriteJSON(w); err != nil {
			t.Fatal(err)
		}
		w.Close()
	}
	if err := os.WriteFile(filepath.Join(folder, "a.json"), []byte("no profile"), 0o666); err != nil {
		t.Fatal(err)
	}
	kept := read1("lens of the folder", read.Options{LensFolder: folder})
	if notes := strings.Join(kept.Scaling.Notes, "\n"); !strings.Contains(notes, "mine.json, by the camera") {
		t.Errorf("notes: %s", notes)
	}
	none := read1("no folder", read.Options{LensFolder: filepath.Join(folder, "none")})
	if notes := strings.Join(none.Scaling.Notes, "\n"); strings.Contains(notes, "lens profile") {
		t.Errorf("notes: %s", notes)
	}
}
