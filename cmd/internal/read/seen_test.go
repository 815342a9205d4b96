package read

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/samples"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// A picture that was read before gives with other options what a fresh one
// gives with these.
func TestSeenReadsAsFresh(t *testing.T) {
	for file, changes := range map[string][]func(*Options){
		"cider-press.png": {
			func(o *Options) {},
			func(o *Options) { o.DropAt = []Added{place(t, "cider-press.png", "3")} },
			func(o *Options) { o.Drop = []string{"bore"} },
			func(o *Options) { o.Zero = 4 },
			func(o *Options) { o.Between = []pattern.Distance{{From: 1, To: 4, Value: 95.3, Over: pattern.Centres}} },
			func(o *Options) { o.PCD, o.PCDU95 = 96, 0.1 },
			func(o *Options) { o.FromBehind = true },
			func(o *Options) { o.DPI = [2]float64{299, 301} },
			func(o *Options) { o.Free = true },
			func(o *Options) { o.Add = []Added{place(t, "cider-press.png", "2")} },
			func(o *Options) { o.Holes = 5 }, // refused
			func(o *Options) { *o = Options{ScaleU: -1} },
		},
		"cider-press-frame.jpg": {
			func(o *Options) {},
			func(o *Options) { o.Printed = calib.PrintedBars{139.8, 140.1} },
			func(o *Options) { o.DropAt = []Added{place(t, "cider-press-frame.jpg", "2")} },
			func(o *Options) { o.AboveMM = 2 },
			func(o *Options) { o.FromBehind = true },
			func(o *Options) { *o = Options{ScaleU: -1} },
		},
	} {
		if testing.Short() && file == "cider-press-frame.jpg" {
			continue
		}
		pic, err := vision.Open(filepath.Join("../../../samples", file), vision.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		seen := See(pic, file)
		o := Options{ScaleU: -1}
		for i, change := range changes {
			change(&o)
			t.Run(fmt.Sprint(file, i), func(t *testing.T) {
				got, gotErr := seen.Read(o)
				want, wantErr := Picture(pic, file, o)
				if fmt.Sprint(gotErr) != fmt.Sprint(wantErr) || (got == nil) != (want == nil) {
					t.Fatalf("%v, fresh %v", gotErr, wantErr)
				}
				if got == nil {
					return
				}
				if !reflect.DeepEqual(got.Choice, want.Choice) {
					t.Error("other marks were chosen than in a fresh picture")
				}
				if file == "cider-press.png" {
					if !reflect.DeepEqual(got.Reading, want.Reading) || !reflect.DeepEqual(got.Marks, want.Marks) {
						t.Error("the reading is not that of a fresh picture")
					}
					return
				}
				// Photographs are adjusted side by side, and two fresh ones
				// differ by a millionth of a millimetre too.
				for k, h := range got.Reading.Holes {
					w := want.Reading.Holes[k]
					if math.Hypot(h.X-w.X, h.Y-w.Y) > 1e-4 || math.Abs(h.XU95-w.XU95) > 1e-4 || math.Abs(h.Diameter-w.Diameter) > 1e-4 {
						t.Errorf("hole %d is %+v, and in a fresh picture %+v", h.ID, h, w)
					}
				}
			})
		}
	}
}

// place is where a hole of a sample is, pointed at by hand.
func place(t *testing.T, file, hole string) Added {
	t.Helper()
	res, err := File(filepath.Join("../../../samples", file), Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	id, err := res.ringNamed(hole)
	if err != nil {
		t.Fatal(err)
	}
	m := res.Marks[id-1]
	return Added{Centre: r2.Add(m.Centre, r2.Vec{X: 0.3, Y: -0.2}), Diameter: 2 * m.Radius}
}

// A mark dropped by its place is gone, and one dropped where none lies is no
// error: it is gone already.
func TestDropAt(t *testing.T) {
	pic, err := vision.Open("../../../samples/cider-press.png", vision.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	seen := See(pic, "cider-press.png")
	at := place(t, "cider-press.png", "3")
	by, err := seen.Read(Options{ScaleU: -1, Drop: []string{"3"}})
	if err != nil {
		t.Fatal(err)
	}
	res, err := seen.Read(Options{ScaleU: -1, DropAt: []Added{at, {Centre: r2.Vec{X: 5, Y: 5}, Diameter: 60}}})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Reading.Holes) != 5 || !reflect.DeepEqual(res.Reading, by.Reading) {
		t.Errorf("%d holes, or other than with --drop 3", len(res.Reading.Holes))
	}
}

// The holes' numbers are known before anything gives the scale: then two
// holes can be named whose distance gives it.
func TestNumbersWithoutScale(t *testing.T) {
	pic, err := vision.Open("../../../samples/cider-press.png", vision.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	pic.DPI, pic.DPISource = [2]float64{}, ""
	seen := See(pic, "cider-press.png")
	if _, err := seen.Read(Options{ScaleU: -1}); !errors.Is(err, ErrScale) {
		t.Fatalf("read without a scale: %v", err)
	}
	numbers, unscaled, err := seen.Numbers(Options{ScaleU: -1, Zero: 9, Between: nil})
	if err != nil || !unscaled {
		t.Fatalf("unscaled %v, %v", unscaled, err)
	}
	res, err := seen.Read(Options{ScaleU: -1, Between: []pattern.Distance{{From: 1, To: 4, Value: 95.3, Over: pattern.Centres}}})
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range res.Reading.Holes {
		if n := numbers.Reading.Holes[i]; n.XPx != h.XPx || n.YPx != h.YPx {
			t.Errorf("hole %d is at %g,%g px by its number, and at %g,%g in the reading", h.ID, n.XPx, n.YPx, h.XPx, h.YPx)
		}
	}
}

// BenchmarkSeenRead is a correction of a 300 dpi page beside a fresh reading.
func BenchmarkSeenRead(b *testing.B) {
	pic := benchPage(b)
	seen := See(pic, "page.png")
	res, err := seen.Read(Options{ScaleU: -1})
	if err != nil {
		b.Fatal(err)
	}
	h := res.Reading.Holes[1]
	at := Added{Centre: r2.Vec{X: h.XPx, Y: h.YPx}, Diameter: h.Diameter / res.Reading.Scale.MMPerPxX}
	b.Run("fresh", func(b *testing.B) {
		for b.Loop() {
			Picture(pic, "page.png", Options{ScaleU: -1})
		}
	})
	for name, o := range map[string]Options{
		"again": {}, "drop": {DropAt: []Added{at}}, "add": {Add: []Added{at}},
		"zero": {Zero: 2}, "known": {Between: []pattern.Distance{{From: 1, To: 4, Value: 95.3, Over: pattern.Centres}}},
	} {
		o.ScaleU = -1
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := seen.Read(o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func benchPage(b *testing.B) *vision.Picture {
	page := samples.New(samples.CiderPress(), 1)
	page.DPI, page.Width, page.Height = 300, 210, 297
	page.Turn, page.Handwriting, page.Smudges = 7, 3, 3
	img, _ := page.Render()
	var file bytes.Buffer
	if err := samples.WritePNG(&file, img, 300, 300); err != nil {
		b.Fatal(err)
	}
	pic, err := vision.Decode(file.Bytes(), vision.Limits{})
	if err != nil {
		b.Fatal(err)
	}
	return pic
}

// A JPEG that states neither a camera nor a resolution was no scanner's: it is
// taken for a photograph, of which a known distance tells less.
func TestKnownDistanceInSentPhotograph(t *testing.T) {
	u95 := map[string]float64{}
	for _, format := range []string{"png", "jpeg"} {
		pic, err := vision.Open("../../../samples/cider-press.png", vision.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		pic.DPI, pic.DPISource, pic.Format = [2]float64{}, "", format
		res, err := See(pic, "sent").Read(Options{ScaleU: -1, Between: []pattern.Distance{{From: 1, To: 4, Value: 95.3, Over: pattern.Centres}}})
		if err != nil {
			t.Fatal(err)
		}
		r := res.Reading
		if photo := format == "jpeg"; (r.Source.Kind == pattern.ByPhoto) != photo || (len(r.Warnings) > 0) != photo {
			t.Errorf("%s: %s, warnings %q", format, r.Source.Kind, r.Warnings)
		}
		u95[format] = r.PitchCircle.DiameterU95
	}
	if u95["jpeg"] < 2*u95["png"] {
		t.Errorf("the pitch circle is known to ±%.3f mm by the photograph and ±%.3f mm by the scan", u95["jpeg"], u95["png"])
	}
}
