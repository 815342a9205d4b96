package show

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"boltrose/calib"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// result is what reading a picture of w × h pixels gives in which these
// circles (x, y, radius in px) were seen.
func result(t interface{ Fatal(...any) }, w, h int, behind bool, opts pattern.ChooseOptions, circles ...[3]float64) *read.Result {
	plane, err := calib.Scan("dpi as given", [2]float64{254, 254}, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	view := pattern.Facing
	if behind {
		plane, view = plane.Mirrored(), pattern.FromBehind
	}
	res := &read.Result{Picture: &vision.Picture{Grey: image.NewGray(image.Rect(0, 0, w, h))}, Plane: plane}
	for i, c := range circles {
		px := r2.Vec{X: c[0], Y: c[1]}
		res.Marks = append(res.Marks, vision.Mark{Centre: px, Radius: c[2], Kind: vision.Lighter, RimSeen: 0.97, Contrast: 40, Score: 20})
		res.Rings = append(res.Rings, pattern.Ring{
			ID: i + 1, Centre: plane.MM(px), Diameter: 0.2 * c[2],
			CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}, DiameterU: 0.02,
			Shared: plane.Shared(px), SharedDiameter: make([]float64, 3),
			CentrePx: px, RadiusPx: c[2], RimSeen: 0.97, Contrast: 40, Score: 20, Scatter: 0.03,
		})
	}
	res.Choice, err = pattern.Choose(res.Rings, opts)
	if errors.Is(err, pattern.ErrNoPattern) {
		return res
	}
	if err != nil {
		t.Fatal(err)
	}
	res.Reading, err = pattern.New(res.Rings, res.Choice, pattern.Options{
		Source: pattern.Source{File: "face.png"}, View: view,
		SharedNames:   plane.Names,
		Scale:         pattern.Scale{Method: plane.Method, MMPerPxX: 0.1, MMPerPxY: 0.1, URel: 0.002},
		DiameterBiasU: 0.25,
		Pixel:         func(mm r2.Vec) r2.Vec { px, _ := plane.Px(mm, r2.Vec{}); return px },
	})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// face is four holes of 8 mm on a pitch circle of 60 mm with chamfers, a
// fifth off the circle, a bore that is 1 mm off and a rim.
func face(t interface{ Fatal(...any) }, behind bool) *read.Result {
	var c [][3]float64
	for _, deg := range []float64{90, 180, 262, 0} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		c = append(c, [3]float64{500 + 300*cos, 500 - 300*sin, 40}, [3]float64{500 + 300*cos, 500 - 300*sin, 55})
	}
	c = append(c, [3]float64{600, 330, 40}, [3]float64{510, 500, 120}, [3]float64{500, 500, 450})
	return result(t, 1000, 1000, behind, pattern.ChooseOptions{}, c...)
}

func TestText(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, face(t, false).Reading, TextOptions{Unit: MM}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"face.png: 5 holes\n",
		"looking at the face",
		"each axis is known to ±0.4 %",
		"PCD     60.00 ±0.17 mm",
		"Outer mm",
		"11.00 ±0.50",
		"* not on the pitch circle of the others",
		"Angles counter-clockwise from hole 1;",
		"82.0", // the uneven gap
		"Bore    diameter 24.00 ±0.5",
		"towards 270°", // right of the centre, counted from the hole at the top
		"Rim     diameter 90.00 ±0.50",
		"which may well be none",
		Safety[:30],
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// The bore's direction goes round the other way when seen from behind.
func TestBoreFromBehind(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, face(t, true).Reading, TextOptions{Unit: MM}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"from behind: mirrored", "towards 90°"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

func TestTextFitsTheScreen(t *testing.T) {
	r := face(t, false).Reading
	r.Warnings = append(r.Warnings, strings.Repeat("a long warning ", 20), "with\x1b[31m colours\nand lines")
	for _, unit := range []Unit{MM, Inch} {
		var b bytes.Buffer
		if err := Text(&b, r, TextOptions{Unit: unit, Chords: true}); err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(b.String(), "\n") {
			if n := utf8.RuneCountInString(line); n > 100 {
				t.Errorf("%d columns: %s", n, line)
			}
			if strings.ContainsRune(line, '\x1b') {
				t.Errorf("a control character: %q", line)
			}
		}
	}
}

func TestExplain(t *testing.T) {
	res := face(t, false)
	var b bytes.Buffer
	if err := Explain(&b, res); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	rows := lines[len(lines)-len(res.Marks):]
	for i, want := range []string{"hole 1", "hole 2", "hole 3", "hole 4", "hole 5", "chamfer", "chamfer", "chamfer", "chamfer", "bore", "rim"} {
		if !strings.Contains(rows[i], want) {
			t.Errorf("row %d is not of the %s: %s", i+1, want, rows[i])
		}
	}
	b.Reset()
	if err := Explain(&b, &read.Result{}); err != nil || b.String() != "No circular mark was seen.\n" {
		t.Error(b.String(), err)
	}
}

// Where a hole was taken, its line is seen on the overlay, and nowhere else.
func TestOverlayDrawsTheHoles(t *testing.T) {
	img, err := Overlay(face(t, false), OverlayOptions{Unit: MM})
	if err != nil {
		t.Fatal(err)
	}
	ink := func(x, y int, want color.NRGBA) bool {
		for dx := -2; dx <= 2; dx++ {
			for dy := -2; dy <= 2; dy++ {
				c := img.RGBAAt(x+dx, y+dy)
				if absDiff(c.R, want.R)+absDiff(c.G, want.G)+absDiff(c.B, want.B) < 120 {
					return true
				}
			}
		}
		return false
	}
	for _, c := range []struct {
		x, y  int
		ink   color.NRGBA
		drawn bool
		what  string
	}{
		{500 + 28, 200 - 28, blue, true, "hole 1, upper right"},
		{200 - 28, 500 - 28, blue, true, "hole 2, upper left"},
		{500 + 20, 200 - 20, blue, false, "inside hole 1"},
		{700, 700, blue, false, "where no hole is"},
		{600, 330, vermilion, true, "the cross of the hole off the circle"},
	} {
		if ink(c.x, c.y, c.ink) != c.drawn {
			t.Errorf("%s: drawn is %v", c.what, !c.drawn)
		}
	}
	var b bytes.Buffer
	if err := WritePicture(&b, img, "x.png"); err != nil {
		t.Fatal(err)
	}
	again, err := png.Decode(&b)
	if err != nil || again.Bounds() != img.Rect {
		t.Fatal(again.Bounds(), err)
	}
}

func absDiff(a, b uint8) int { return max(int(a)-int(b), int(b)-int(a)) }

// Whatever was found, the overlay is drawn, no larger than promised, and no
// label covers another or hangs out of the picture.
func TestOverlayOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 700).Draw(t, "w"), rapid.IntRange(1, 700).Draw(t, "h")
		var circles [][3]float64
		for range rapid.IntRange(0, 20).Draw(t, "marks") {
			circles = append(circles, [3]float64{
				rapid.Float64Range(-100, 800).Draw(t, "x"), rapid.Float64Range(-100, 800).Draw(t, "y"),
				rapid.SampledFrom([]float64{0.6, 8, 20, 35, 90, 500}).Draw(t, "r"),
			})
		}
		res := result(t, w, h, rapid.Bool().Draw(t, "behind"), pattern.ChooseOptions{Free: rapid.Bool().Draw(t, "free")}, circles...)
		o, err := newOverlay(res, OverlayOptions{Unit: Inch, Left: rapid.Bool().Draw(t, "left")})
		if err != nil {
			t.Fatal(err)
		}
		o.draw()
		if o.scan.Dx() > maxSide || o.scan.Dy() > maxSide {
			t.Fatalf("%v", o.scan)
		}
		for i, a := range o.places.taken {
			if a.x0 < 0 || a.y0 < 0 || a.x1 > float64(o.scan.Max.X) || a.y1 > float64(o.scan.Max.Y) {
				t.Fatalf("label %d at %v leaves %v", i, a, o.scan)
			}
			for _, b := range o.places.taken[:i] {
				if a.overlaps(b) {
					t.Fatalf("labels at %v and %v", a, b)
				}
			}
		}
	})
}

// An A4 page at 600 dpi.
func BenchmarkOverlay(b *testing.B) {
	res := face(b, false)
	res.Picture.Grey = image.NewGray(image.Rect(0, 0, 4960, 7016))
	for b.Loop() {
		img, err := Overlay(res, OverlayOptions{Unit: MM})
		if err != nil {
			b.Fatal(err)
		}
		if err := WritePicture(io.Discard, img, "found.png"); err != nil {
			b.Fatal(err)
		}
	}
}
