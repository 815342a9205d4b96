package samples

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// clean is a rubbing without anything that disturbs its edges: the picture is
// then a sharp drawing, whose moments tell where the circles are.
func clean(f Face) Rubbing {
	r := Rubbing{Face: f, DPI: 300, Tone: 0.9, EdgeSoftness: 0.1}
	r.Fit(6)
	return r
}

// greyAt is a pixel's grey level. Like all that follows here it looks at the
// picture only, and knows nothing of the renderer.
func greyAt(img image.Image, x, y int) float64 {
	return float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
}

// blob is area (px) and centroid of what is brighter than the darkest pixel
// of a window, in units of the brightest.
func blob(img image.Image, window image.Rectangle) (area float64, centre r2.Vec) {
	dark, bright := math.Inf(1), math.Inf(-1)
	each := func(do func(x, y int, v float64)) {
		for y := window.Min.Y; y < window.Max.Y; y++ {
			for x := window.Min.X; x < window.Max.X; x++ {
				do(x, y, greyAt(img, x, y))
			}
		}
	}
	each(func(_, _ int, v float64) { dark, bright = min(dark, v), max(bright, v) })
	each(func(x, y int, v float64) {
		v = (v - dark) / (bright - dark)
		area += v
		centre.X += v * (float64(x) + 0.5)
		centre.Y += v * (float64(y) + 0.5)
	})
	centre.X /= area
	centre.Y /= area
	return area, centre
}

func around(centre r2.Vec, half int) image.Rectangle {
	x, y := int(centre.X), int(centre.Y)
	return image.Rect(x-half, y-half, x+half+1, y+half+1)
}

// meanGrey is the mean over a disc of the picture.
func meanGrey(img image.Image, centre r2.Vec, radius float64) float64 {
	sum, n := 0.0, 0.0
	w := around(centre, int(radius)+1)
	for y := w.Min.Y; y < w.Max.Y; y++ {
		for x := w.Min.X; x < w.Max.X; x++ {
			if math.Hypot(float64(x)+0.5-centre.X, float64(y)+0.5-centre.Y) < radius {
				sum += greyAt(img, x, y)
				n++
			}
		}
	}
	return sum / n
}

func TestCleanHolesAgreeWithTheirMoments(t *testing.T) {
	for _, dpi := range []float64{100, 150, 300, 600} {
		r := clean(Ring(5, 40, 7))
		r.DPI = dpi
		r.Turn, r.ScaleX, r.ScaleY, r.Shear = 17, 0.01, -0.008, 0.02
		img, truth := r.Render()
		for k, h := range truth.Holes {
			area, centre := blob(img, around(h.CentrePx, int(5.5/truth.MMPerPxX)))
			if d := r2.Norm(r2.Sub(centre, h.CentrePx)); d > 0.01 {
				t.Errorf("%g dpi, hole %d: moments %v, truth %v: %.4f px apart", dpi, k, centre, h.CentrePx, d)
			}
			// Shear leaves areas alone. Heavy lead darkens the soft edge
			// (0.1 mm) as far as it finds any contact, so that the hole
			// looks smaller, by less than that.
			diameter := 2 * math.Sqrt(area*truth.MMPerPxX*truth.MMPerPxY/math.Pi)
			if diameter < 6.9 || diameter > 7 {
				t.Errorf("%g dpi, hole %d: diameter %.4f mm by area, truth 7", dpi, k, diameter)
			}
		}
	}
}

func TestCleanBoreAndRim(t *testing.T) {
	f := Face{Bore: &Disc{X: 1.5, Y: -0.7, Diameter: 20}, Rim: &Disc{Diameter: 40}}
	img, truth := clean(f).Render()
	_, bore := blob(img, around(truth.Bore.CentrePx, int(12/truth.MMPerPxX)))
	if d := r2.Norm(r2.Sub(bore, truth.Bore.CentrePx)); d > 0.01 {
		t.Errorf("bore: %.4f px off", d)
	}
	// The rim with its bore filled in: area and first moment of the paper
	// outside it, against the whole picture's.
	area, centre := blob(img, img.Bounds())
	holeArea, holeCentre := blob(img, around(truth.Bore.CentrePx, int(12/truth.MMPerPxX)))
	b := img.Bounds()
	whole := float64(b.Dx() * b.Dy())
	middle := r2.Vec{X: float64(b.Dx()) / 2, Y: float64(b.Dy()) / 2}
	disc := whole - (area - holeArea)
	moment := r2.Sub(r2.Scale(whole, middle), r2.Sub(r2.Scale(area, centre), r2.Scale(holeArea, holeCentre)))
	if d := r2.Norm(r2.Sub(r2.Scale(1/disc, moment), truth.Rim.CentrePx)); d > 0.01 {
		t.Errorf("rim: %.4f px off", d)
	}
	if d := 2 * math.Sqrt(disc*truth.MMPerPxX*truth.MMPerPxY/math.Pi); d < 40 || d > 40.1 {
		t.Errorf("rim: diameter %.4f mm by area, truth 40 and a little more", d)
	}
}

// With every disturbance of an ordinary rubbing the dark side still begins
// where the metal does.
func TestOrdinaryHoleIsPaleAndItsSurroundingsAreDark(t *testing.T) {
	for _, style := range []Style{Pencil, Chalk} {
		r := New(CiderPress(), 5)
		r.Style, r.Streaks = style, 0.3
		img, truth := r.Render()
		for k, h := range truth.Holes {
			radius := h.Diameter / 2 / truth.MMPerPxX
			inside := meanGrey(img, h.CentrePx, 0.9*radius)
			both := meanGrey(img, h.CentrePx, 1.3*radius)
			outside := (both*1.69 - inside*0.81) / 0.88
			if style == Chalk {
				inside, outside = outside, inside
			}
			if inside-outside < 60 {
				t.Errorf("style %v, hole %d: %.0f inside, %.0f around", style, k, inside, outside)
			}
		}
	}
}

func TestToneIsTheMeanDarkness(t *testing.T) {
	for _, tone := range []float64{0.15, 0.3, 0.5, 0.7, 0.9} {
		r := New(Face{Rim: &Disc{Diameter: 90}}, 3)
		r.Tone, r.EdgeLine, r.UnevenLight = tone, 0, 0
		img, truth := r.Render()
		mean := meanGrey(img, truth.Rim.CentrePx, 40/truth.MMPerPxX)
		paper := meanGrey(img, r2.Vec{X: 20, Y: 20}, 15)
		if dark := 1 - mean/paper; math.Abs(dark-tone) > 0.06 {
			t.Errorf("tone %.2f: the rubbed metal is %.3f darker than paper", tone, dark)
		}
	}
}

func TestEdgeLineIsDarkestWhereStrokesClimbTheEdge(t *testing.T) {
	r := New(Face{Holes: []Hole{{Diameter: 20}}}, 4)
	r.Tone, r.Streaks, r.Ragged, r.Uneven, r.Grain, r.EdgeWander = 0.3, 0, 0, 0, 0, 0
	r.StrokeAngle, r.EdgeLine = 0, 1.5
	img, truth := r.Render()
	// beside is the mean grey beside the rim within 30 degrees of a direction.
	beside := func(from float64, direction float64) float64 {
		sum := 0.0
		for a := -30.0; a <= 30; a++ {
			sin, cos := math.Sincos((direction + a) * math.Pi / 180)
			d := (10 + from) / truth.MMPerPxX
			sum += greyAt(img, int(truth.Holes[0].CentrePx.X+d*cos), int(truth.Holes[0].CentrePx.Y-d*sin))
		}
		return sum / 61
	}
	right, up, left, metal := beside(0.2, 0), beside(0.2, 90), beside(0.2, 180), beside(3, 0)
	if !(right < left-20 && left < metal-20 && up < metal-20) {
		t.Errorf("grey beside the rim: right %.0f, left %.0f, up %.0f, on the metal %.0f", right, left, up, metal)
	}
}

func TestUnrubbedShareOfTheRim(t *testing.T) {
	for _, unrubbed := range []float64{0, 0.2, 0.4, 0.6} {
		r := New(Ring(4, 60, 12), 6)
		r.Streaks, r.Ragged, r.Uneven = 0, 0, 0
		r.Face.Holes[1].Unrubbed = unrubbed
		img, truth := r.Render()
		got := truth.Holes[1].Rubbed
		if math.Abs(got-(1-unrubbed)) > 0.1 {
			t.Errorf("unrubbed %.2f: truth says %.2f rubbed", unrubbed, got)
		}
		if other := truth.Holes[3].Rubbed; other < 0.97 {
			t.Errorf("unrubbed %.2f: another hole's rim is %.2f rubbed", unrubbed, other)
		}
		// Looked at from outside: how much of a band beside the rim is dark.
		dark := 0
		for k := range 360 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 180)
			sum := 0.0
			for d := 6.2; d < 7; d += 0.1 {
				sum += greyAt(img, int(truth.Holes[1].CentrePx.X+d*cos/truth.MMPerPxX), int(truth.Holes[1].CentrePx.Y+d*sin/truth.MMPerPxY))
			}
			if sum/8 < 215 {
				dark++
			}
		}
		if seen := float64(dark) / 360; math.Abs(seen-got) > 0.08 {
			t.Errorf("unrubbed %.2f: %.2f of the rim looks rubbed, truth says %.2f", unrubbed, seen, got)
		}
	}
}

// Among real strokes, too, the truth about the rims is what the picture shows.
func TestRubbedShareIsWhatThePictureShows(t *testing.T) {
	r := New(Ring(8, 90, 10), 21)
	r.Tone, r.Streaks, r.UnevenLight, r.EdgeLine = 0.4, 1, 0, 0
	img, truth := r.Render()
	paper := meanGrey(img, r2.Vec{X: 12, Y: 12}, 8)
	seen, said := 0.0, 0.0
	for _, h := range truth.Holes {
		said += h.Rubbed / 8
		for k := range 360 {
			// The mean over a millimetre of rim and half a millimetre beside it.
			sum := 0.0
			for i := range 49 {
				d := 5.1 + 0.5*float64(i/7)/6
				sin, cos := math.Sincos(float64(k)*math.Pi/180 + (float64(i%7)/6-0.5)/d)
				sum += greyAt(img, int(h.CentrePx.X+d*cos/truth.MMPerPxX), int(h.CentrePx.Y+d*sin/truth.MMPerPxY))
			}
			if 1-sum/49/paper > r.Tone/3 {
				seen += 1 / 8.0 / 360
			}
		}
	}
	if math.Abs(seen-said) > 0.06 || said > 0.97 {
		t.Errorf("%.3f of the rims looks rubbed, truth says %.3f", seen, said)
	}
}

func TestRimsOffThePictureOrTheSheetAreNotRubbed(t *testing.T) {
	r := clean(Ring(4, 40, 6))
	r.Offset = r2.Vec{X: -r.Width/2 + 20} // the left hole's centre lies on the edge
	_, truth := r.Render()
	if got := truth.Holes[1].Rubbed; math.Abs(got-0.5) > 0.01 {
		t.Errorf("half off the picture: %.3f rubbed", got)
	}
	r = clean(Ring(4, 40, 6))
	r.Paper = Paper{Width: 40, Height: 2 * r.Height}
	_, truth = r.Render()
	if got := truth.Holes[1].Rubbed; math.Abs(got-0.5) > 0.01 {
		t.Errorf("half off the sheet: %.3f rubbed", got)
	}
}

func TestPatchesLeaveTheRestBare(t *testing.T) {
	r := New(Ring(3, 80, 8), 7)
	r.PatchesOnly = true
	img, truth := r.Render()
	if v := meanGrey(img, truth.ToPx(r2.Vec{}), 15/truth.MMPerPxX); v < 225 {
		t.Errorf("the face's middle is %.0f, not bare", v)
	}
	for k, h := range truth.Holes {
		if h.Rubbed < 0.6 {
			t.Errorf("hole %d: %.2f rubbed", k, h.Rubbed)
		}
	}
}

func TestGreaseMarksOnlyTheRim(t *testing.T) {
	r := New(Face{Holes: []Hole{{Diameter: 16}}}, 8)
	r.Style = Grease
	img, truth := r.Render()
	c, mm := truth.Holes[0].CentrePx, truth.MMPerPxX
	ring := func(inner, outer float64) float64 {
		a, b := meanGrey(img, c, inner/mm), meanGrey(img, c, outer/mm)
		return (b*outer*outer - a*inner*inner) / (outer*outer - inner*inner)
	}
	inside, rim, outside := meanGrey(img, c, 6/mm), ring(7.7, 8.5), ring(10, 12)
	if inside-rim < 30 || outside-rim < 30 || math.Abs(inside-outside) > 6 {
		t.Errorf("grey inside %.0f, rim %.0f, outside %.0f", inside, rim, outside)
	}
}

func TestSlippedCopyLiesWhereItSlippedTo(t *testing.T) {
	r := clean(Ring(3, 40, 6))
	r.Tone = 0.4
	r.Slip, r.SlipShare = r2.Vec{X: 9, Y: 4}, 0.5
	r.Fit(12)
	img, truth := r.Render()
	slipped := truth.ToPx(r2.Add(truth.Holes[0].CentreMM, r.Slip))
	half := int(4 / truth.MMPerPxX)
	_, second := blob(img, around(slipped, half))
	if d := r2.Norm(r2.Sub(second, slipped)); d > 0.02 {
		t.Errorf("the second copy is %.3f px from where it slipped to", d)
	}
	first := meanGrey(img, truth.Holes[0].CentrePx, 20)
	if copied := meanGrey(img, second, 20); copied > first-20 {
		t.Errorf("the fainter copy's hole is %.0f, the first's %.0f", copied, first)
	}
}

func TestOutputs(t *testing.T) {
	r := New(Ring(4, 20, 5), 9)
	for _, output := range []Output{Threshold, Dither} {
		r.Output = output
		img, _ := r.Render()
		two, ok := img.(*image.Paletted)
		if !ok || len(two.Palette) != 2 {
			t.Fatalf("output %v: %T", output, img)
		}
	}
	// Mild JPEG, whose rows are padded, leaves black and white where they were.
	r.Output, r.Grain, r.JPEGQuality = Threshold, 0, 0
	straight, _ := r.Render()
	r.JPEGQuality = 100
	padded, _ := r.Render()
	differ := 0
	for i, v := range straight.(*image.Paletted).Pix {
		if padded.(*image.Paletted).Pix[i] != v {
			differ++
		}
	}
	if share := float64(differ) / float64(straight.Bounds().Dx()*straight.Bounds().Dy()); share > 0.01 {
		t.Errorf("through JPEG, %.3f of the 1-bit pixels differ", share)
	}
	r.Output, r.Grain, r.JPEGQuality = Colour, 0.8, 0
	img, _ := r.Render()
	c := img.(*image.RGBA).RGBAAt(3, 3)
	if !(c.R > c.G && c.G > c.B) {
		t.Errorf("paper is %v, not warm", c)
	}
	r.Output, r.JPEGQuality = Grey, 30
	lossy, _ := r.Render()
	r.JPEGQuality = 0
	exact, _ := r.Render()
	if bytes.Equal(lossy.(*image.Gray).Pix, exact.(*image.Gray).Pix) {
		t.Error("JPEG changed nothing")
	}
}

// Nothing but the setting itself decides the picture: neither how often nor on
// how many processors it is drawn.
func TestRenderingIsReproducible(t *testing.T) {
	for _, r := range Population(len(effects), 2) {
		if r.DPI*r.Width > 150*80 {
			continue // large pictures teach nothing more
		}
		a, truthA := r.Render()
		before := runtime.GOMAXPROCS(1)
		b, truthB := r.Render()
		runtime.GOMAXPROCS(before)
		if !samePixels(a, b) {
			t.Errorf("%s: two renderings differ", r.Name)
		}
		for k := range truthA.Holes {
			if truthA.Holes[k] != truthB.Holes[k] {
				t.Errorf("%s: two truths differ", r.Name)
			}
		}
	}
}

func samePixels(a, b image.Image) bool {
	if a.Bounds() != b.Bounds() {
		return false
	}
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			if greyAt(a, x, y) != greyAt(b, x, y) {
				return false
			}
		}
	}
	return true
}

func TestDemoPictureIsWhatTheProgramDraws(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("other processors round sums of products differently")
	}
	f, err := os.Open("cider-press.png")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	stored, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	drawn, _ := Finished()[0].Render()
	if !samePixels(stored, drawn) {
		t.Error("cider-press.png is out of date: run go run ./cmd/internal/demo/pictures samples, and keep this file of what it writes")
	}
}

// The true position of a point moves with the face.
func TestTruthMovesWithTheFace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Rubbing{
			DPI: rapid.Float64Range(100, 1200).Draw(t, "dpi"), Width: 20, Height: 15,
			ScaleX: rapid.Float64Range(-0.01, 0.01).Draw(t, "sx"),
			ScaleY: rapid.Float64Range(-0.01, 0.01).Draw(t, "sy"),
			Shear:  rapid.Float64Range(-0.01, 0.01).Draw(t, "shear"),
			Turn:   rapid.Float64Range(-360, 360).Draw(t, "turn"),
			Offset: r2.Vec{X: rapid.Float64Range(-5, 5).Draw(t, "x"), Y: rapid.Float64Range(-5, 5).Draw(t, "y")},
		}
		p := newPlacement(r.sane())
		a := r2.Vec{X: rapid.Float64Range(-50, 50).Draw(t, "ax"), Y: rapid.Float64Range(-50, 50).Draw(t, "ay")}
		// What the scanner's axes do, undone by hand.
		px := p.px(a)
		y := px.Y * 25.4 / r.DPI * (1 + r.ScaleY)
		x := px.X*25.4/r.DPI*(1+r.ScaleX) - r.Shear*y
		origin := p.px(r2.Vec{})
		oy := origin.Y * 25.4 / r.DPI * (1 + r.ScaleY)
		ox := origin.X*25.4/r.DPI*(1+r.ScaleX) - r.Shear*oy
		want := r2.Rotate(a, r.Turn*math.Pi/180, r2.Vec{})
		if got := (r2.Vec{X: x - ox, Y: oy - y}); r2.Norm(r2.Sub(got, want)) > 1e-9*(1+r2.Norm(want)) {
			t.Fatalf("the face's point %v lies at %v on the page, want %v", a, got, want)
		}
	})
}

// Any setting whatever gives a picture.
func TestWildSettings(t *testing.T) {
	odd := rapid.OneOf(
		rapid.Float64(), rapid.Float64Range(-2, 2), rapid.Float64Range(0, 50),
		rapid.SampledFrom([]float64{0, 1, math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 1e-300}),
	)
	rapid.Check(t, func(t *rapid.T) {
		v := func(name string) float64 { return odd.Draw(t, name) }
		count := func(name string) int { return rapid.SampledFrom([]int{-1, 0, 1, 3}).Draw(t, name) }
		var f Face
		for range rapid.IntRange(0, 3).Draw(t, "holes") {
			f.Holes = append(f.Holes, Hole{
				X: v("hx"), Y: v("hy"), Diameter: v("hd"), Outer: v("ho"),
				Counterbore: rapid.Bool().Draw(t, "cb"), Threaded: rapid.Bool().Draw(t, "th"),
				Unrubbed: v("un"), Blocked: v("bl"),
			})
		}
		if rapid.Bool().Draw(t, "bore") {
			f.Bore = &Disc{X: v("bx"), Y: v("by"), Diameter: v("bd"), Keyway: v("bk")}
		}
		if rapid.Bool().Draw(t, "rim") {
			f.Rim = &Disc{X: v("rx"), Y: v("ry"), Diameter: v("rd")}
		}
		f.FeedPitch, f.FeedDepth, f.Scratches, f.Pits = v("fp"), v("fd"), count("sc"), count("pi")
		r := Rubbing{
			Face: f, Seed: rapid.Uint64().Draw(t, "seed"),
			DPI:   rapid.SampledFrom([]float64{math.NaN(), -1, 20, 60}).Draw(t, "dpi"),
			Width: rapid.Float64Range(1, 30).Draw(t, "w"), Height: rapid.Float64Range(1, 30).Draw(t, "h"),
			ScaleX: v("sx"), ScaleY: v("sy"), Shear: v("sh"), Offset: r2.Vec{X: v("ox"), Y: v("oy")}, Turn: v("turn"),
			Paper: Paper{Width: v("pw"), Height: v("ph"), Turn: v("pt"), Lid: v("lid")},
			Style: Style(rapid.IntRange(0, 3).Draw(t, "style")), Tone: v("tone"),
			StrokeAngle: v("sa"), CrossAngle: v("ca"), Cross: v("c"), StrokeWidth: v("sw"), Streaks: v("st"),
			Ragged: v("ra"), Uneven: v("ue"), PaleAreas: count("pale"), PatchesOnly: rapid.Bool().Draw(t, "po"),
			Grain: v("gr"), GrainSize: v("gs"), EdgeLine: v("el"), EdgeLineWidth: v("ew"), EdgeSoftness: v("es"),
			Bridging: v("br"), EdgeWander: v("wa"), Slip: r2.Vec{X: v("slx"), Y: v("sly")}, SlipShare: v("ss"),
			Smudges: count("sm"), Handwriting: count("hw"), Folds: count("fo"),
			Blur: v("blur"), Noise: v("noise"), UnevenLight: v("ul"), WhitePoint: v("wp"), Levels: count("le"),
			Output: Output(rapid.IntRange(0, 4).Draw(t, "out")), JPEGQuality: count("jq"),
		}
		img, truth := r.Render()
		if img.Bounds().Empty() {
			t.Fatal("no picture")
		}
		for _, h := range truth.Holes {
			if math.IsNaN(h.CentrePx.X) || math.IsNaN(h.CentrePx.Y) || !(h.Rubbed >= 0 && h.Rubbed <= 1) {
				t.Fatalf("truth %+v", h)
			}
		}
	})
}

func TestZeroRubbing(t *testing.T) {
	img, truth := Rubbing{}.Render()
	if img.Bounds().Dx() < 100 || truth.DPI != 300 || len(truth.Holes) != 0 {
		t.Errorf("%v, %+v", img.Bounds(), truth)
	}
}

// Every face of the population could be made, and lies on its page.
func TestPopulationIsPlausible(t *testing.T) {
	list := Population(3*len(effects), 7)
	seen := map[string]bool{}
	coarse := 0
	for _, r := range list {
		for _, e := range r.Effects {
			seen[e] = true
		}
		if r.DPI == 150 || r.DPI == 300 {
			coarse++
		}
		n := len(r.Face.Holes)
		if n < 3 || n > 12 {
			t.Errorf("%s: %d holes", r.Name, n)
		}
		place := newPlacement(r.sane())
		for i, h := range r.Face.Holes {
			from := math.Hypot(h.X, h.Y)
			half := max(h.Diameter, h.Outer) / 2
			if h.Diameter < 4 || h.Diameter > 20 {
				t.Errorf("%s: hole of %.1f mm", r.Name, h.Diameter)
			}
			if from < 15-1e-9 || from > 85+1e-9 {
				t.Errorf("%s: hole at %.1f mm from the middle", r.Name, from)
			}
			for _, o := range r.Face.Holes[:i] {
				if math.Hypot(h.X-o.X, h.Y-o.Y) < half+max(o.Diameter, o.Outer)/2+0.5 {
					t.Errorf("%s: holes run into each other", r.Name)
				}
			}
			if b := r.Face.Bore; b != nil && math.Hypot(h.X-b.X, h.Y-b.Y) < half+b.Diameter/2+0.5 {
				t.Errorf("%s: the bore touches a hole", r.Name)
			}
			if rim := r.Face.Rim; rim != nil && from+half+0.5 > rim.Diameter/2 {
				t.Errorf("%s: a hole breaks the rim", r.Name)
			}
			c := place.px(r2.Vec{X: h.X, Y: h.Y})
			px := (half + 1) / place.mmX
			if c.X < px || c.Y < px || c.X > float64(place.w)-px || c.Y > float64(place.h)-px {
				t.Errorf("%s: hole %d is not on the page", r.Name, i)
			}
		}
	}
	for _, name := range EffectNames() {
		if !seen[name] {
			t.Errorf("no rubbing with %s", name)
		}
	}
	if share := float64(coarse) / float64(len(list)); share < 0.8 {
		t.Errorf("only %.2f at 150 or 300 dpi", share)
	}
	again := Population(len(list), 7)
	if !slices.EqualFunc(list, again, func(a, b Rubbing) bool { return a.Name == b.Name && a.Seed == b.Seed && a.Turn == b.Turn }) {
		t.Error("the same seed gave another population")
	}
}

func BenchmarkRenderA4(b *testing.B) {
	f := CiderPress()
	r := New(f, 1)
	r.Width, r.Height = 210, 297
	for b.Loop() {
		r.Render()
	}
}
