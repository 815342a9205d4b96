package read_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// facePhoto is what the ways of scale are tested on: five holes, one of which is out
// of place.
func facePhoto(seed uint64, tilt float64) samples.Photo {
	p := samples.NewPhoto(samples.Keyed(80, []float64{90, 160, 235, 305, 20}, 9), seed)
	c := &p.Camera
	c.Width, c.Height, c.Focal, c.Principal = 2000, 1500, 1525, r2.Vec{X: 1000, Y: 750}
	c.Tilt, c.Toward, c.Turn = tilt, 40, 10
	c.K1 = -0.03
	return p
}

// keepPhoto renders a photograph into a file.
func keepPhoto(t *testing.T, p samples.Photo) (string, samples.PhotoTruth) {
	t.Helper()
	img, truth := p.Render()
	file := filepath.Join(t.TempDir(), "photo.jpg")
	w, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if err := p.WriteJPEG(w, img); err != nil {
		t.Fatal(err)
	}
	return file, truth
}

// chordsAre holds every chord of a reading against the true places of its holes:
// within its ±, with a little for the one in twenty, and within most mm.
func chordsAre(t *testing.T, r *pattern.Reading, holes int, at func(px r2.Vec) r2.Vec, most float64) {
	t.Helper()
	if len(r.Holes) != holes {
		t.Fatalf("%d holes, want %d", len(r.Holes), holes)
	}
	place := map[int]r2.Vec{}
	for _, h := range r.Holes {
		place[h.ID] = at(r2.Vec{X: h.XPx, Y: h.YPx})
	}
	worst := 0.0
	for _, c := range r.Chords {
		off := math.Abs(c.Chord - r2.Norm(r2.Sub(place[c.From], place[c.To])))
		worst = math.Max(worst, off)
		if off > 1.2*c.ChordU95 || off > most {
			t.Errorf("chord %d–%d of %.3f ±%.3f mm is %.3f mm off, want at most %g", c.From, c.To, c.Chord, c.ChordU95, off, most)
		}
	}
	t.Logf("the worst chord is %.3f mm off; PCD %.3f ±%.3f mm by %s", worst, r.PitchCircle.Diameter, r.PitchCircle.DiameterU95, r.Scale.Method)
}

// nearestOf is the true place of the hole that is seen nearest to a pixel.
func nearestOf(truth samples.PhotoTruth) func(r2.Vec) r2.Vec {
	return func(px r2.Vec) r2.Vec {
		best, off := r2.Vec{}, math.Inf(1)
		for _, c := range truth.Holes {
			if d := r2.Norm(r2.Sub(c.CentrePx, px)); d < off {
				best, off = c.CentreMM, d
			}
		}
		return best
	}
}

// A sheet of A4 with a window cut out, round the face, gives the scale by its
// four edges.
func TestSheetRoundFace(t *testing.T) {
	p := facePhoto(3, 20)
	p.Sheet = &samples.Sheet{Width: 210, Height: 297, WindowWidth: 130, WindowHeight: 130}
	p.Camera.Turn, p.Camera.Distance = 95, 480
	file, truth := keepPhoto(t, p)
	size, err := calib.ParseSheet("a4")
	if err != nil {
		t.Fatal(err)
	}
	res, err := read.File(file, read.Options{ScaleU: -1, Sheet: &size})
	if err != nil {
		t.Fatal(err)
	}
	chordsAre(t, res.Reading, 5, nearestOf(truth), 0.25)
}

// A frame that lies 4 mm above the face is told so, and its scale brought down
// to the face: not told, chords would be more than twice as far off as here.
func TestFrameAboveFace(t *testing.T) {
	p := facePhoto(4, 25)
	paper, err := calib.PaperNamed("a4")
	if err != nil {
		t.Fatal(err)
	}
	f, err := calib.NewFrame(paper, 120, 120)
	if err != nil {
		t.Fatal(err)
	}
	p.Sheet = &samples.Sheet{Width: paper.Width, Height: paper.Height, WindowWidth: f.WindowW, WindowHeight: f.WindowH, Above: 4}
	for _, d := range f.Dots {
		p.Sheet.Dots = append(p.Sheet.Dots, samples.Disc{X: d.Centre.X, Y: d.Centre.Y, Diameter: d.Diameter})
	}
	file, truth := keepPhoto(t, p)
	o := read.Options{ScaleU: -1, Printed: calib.PrintedBars{f.BarX.Length(), f.BarY.Length()}, AboveMM: 4, AboveU95: 0.5}
	res, err := read.File(file, o)
	if err != nil {
		t.Fatal(err)
	}
	chordsAre(t, res.Reading, 5, nearestOf(truth), 0.15)
	o.AboveMM, o.AboveU95 = 0, 0
	plain, err := read.File(file, o)
	if err != nil {
		t.Fatal(err)
	}
	if d := res.Reading.PitchCircle.Diameter - plain.Reading.PitchCircle.Diameter; d < 0.4 {
		t.Errorf("what lies 4 mm higher makes the pitch circle %.2f mm larger: this shows nothing", d)
	}
}

// Six known points beside the holes, pointed at to a pixel, give the scale of a
// tilted photograph.
func TestTiesOfTiltedPhoto(t *testing.T) {
	file, truth := keepPhoto(t, facePhoto(5, 30))
	var ties []calib.Tie
	for _, mm := range []r2.Vec{{X: -52, Y: -48}, {X: 55, Y: -46}, {X: 51, Y: 50}, {X: -54, Y: 47}, {X: 0, Y: 58}, {X: 2, Y: -57}} {
		px := truth.ToPx(mm)
		ties = append(ties, calib.Tie{Px: r2.Vec{X: math.Round(px.X), Y: math.Round(px.Y)}, MM: mm, U95: 0.05})
	}
	res, err := read.File(file, read.Options{ScaleU: -1, Ties: ties})
	if err != nil {
		t.Fatal(err)
	}
	chordsAre(t, res.Reading, 5, nearestOf(truth), 0.25)
}

// Four points known in holes are the holes' centres in the face, by the edges that
// the reading takes. In chamfers the chamfer's edge is seen here and there with the
// hole's: a tie that took the one where the reading takes the other put chords 0.4 mm
// off. In counterbores the hole's own rim lies deep: tied there, they were 0.3 mm off.
func TestTiesInHoles(t *testing.T) {
	for _, c := range []struct {
		name                  string
		seed                  uint64
		tilt, distance, outer float64
		counterbore           bool
	}{
		{"chamfers", 8, 16, 400, 10.8, false},
		{"counterbores", 12, 10, 320, 14.4, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := facePhoto(c.seed, c.tilt)
			p.Camera.Distance = c.distance
			for i := range p.Face.Holes {
				p.Face.Holes[i].Outer, p.Face.Holes[i].Counterbore = c.outer, c.counterbore
			}
			file, truth := keepPhoto(t, p)
			var ties []calib.Tie
			for _, h := range truth.Holes[:4] {
				ties = append(ties, calib.Tie{Px: r2.Vec{X: math.Round(h.CentrePx.X), Y: math.Round(h.CentrePx.Y)}, MM: h.CentreMM, U95: 0.02})
			}
			res, err := read.File(file, read.Options{ScaleU: -1, Ties: ties})
			if err != nil {
				t.Fatal(err)
			}
			chordsAre(t, res.Reading, 5, nearestOf(truth), 0.15)
		})
	}
}

// A scan of a scanner whose axes are 0.9 % and −0.6 % off, and 0.3° from square,
// gives true lengths by its profile, and does not without.
func TestScanWithProfile(t *testing.T) {
	const x, y, shear = 0.009, -0.006, 0.003 // the profile counts the angle the other way
	r := samples.New(samples.Keyed(96, []float64{90, 160, 235, 305, 20}, 9), 6)
	r.ScaleX, r.ScaleY, r.Shear = x, y, shear
	img, truth := r.Render()
	dir := t.TempDir()
	file, profile := filepath.Join(dir, "scan.png"), filepath.Join(dir, "scanner.json")
	w, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(samples.WritePNG(w, img, 300, 300), w.Close()); err != nil {
		t.Fatal(err)
	}
	cov := mat.NewSymDense(3, []float64{1e-8, 0, 0, 0, 1e-8, 0, 0, 0, 1e-8}) // 0.01 %
	s := calib.Scanner{MadeFrom: "what was rendered", Scans: 2, DPI: [2]float64{300, 300}, X: x, Y: y, Shear: -shear, Cov: cov, Measured: [3]bool{true, true, true}}
	p, err := os.Create(profile)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.WriteJSON(p), p.Close()); err != nil {
		t.Fatal(err)
	}
	at := func(px r2.Vec) r2.Vec {
		best, off := r2.Vec{}, math.Inf(1)
		for _, c := range truth.Holes {
			if d := r2.Norm(r2.Sub(c.CentrePx, px)); d < off {
				best, off = c.CentreMM, d
			}
		}
		return best
	}
	res, err := read.File(file, read.Options{ScaleU: -1, ScannerFile: profile})
	if err != nil {
		t.Fatal(err)
	}
	chordsAre(t, res.Reading, 5, at, 0.15)
	plain, err := read.File(file, read.Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for i, c := range plain.Reading.Chords {
		worst = math.Max(worst, math.Abs(c.Chord-res.Reading.Chords[i].Chord))
	}
	if worst < 0.4 {
		t.Errorf("the profile changes chords by up to %.2f mm: this shows nothing", worst)
	}
}
