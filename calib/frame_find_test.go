package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

func frameOf(t rapid.TB, p Paper, w, h float64) *Frame {
	t.Helper()
	f, err := NewFrame(p, w, h)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// anyScene is a frame seen from up to 45° aside, any way up, by a camera with
// radial distortion, with all of it in the picture.
func anyScene(t *rapid.T) scene {
	paper := rapid.SampledFrom(papers[:]).Draw(t, "paper")
	columns := rapid.IntRange(leastDots, mostDots(paper.Width)).Draw(t, "columns")
	rows := rapid.IntRange(leastDots, mostDots(paper.Height)).Draw(t, "rows")
	s := scene{
		frame: frameOf(t, paper, windowAmong(columns), windowAmong(rows)),
		width: 2000, height: 1500, focal: rapid.Float64Range(1300, 2200).Draw(t, "focal"),
		k1:      rapid.Float64Range(-0.1, 0.05).Draw(t, "k1"),
		tilt:    rapid.Float64Range(0, 45).Draw(t, "tilt"),
		towards: rapid.Float64Range(0, 360).Draw(t, "towards"),
		turn:    rapid.Float64Range(0, 360).Draw(t, "turn"),
	}
	// As near as it goes with all dots in the picture.
	for s.distance = 150; ; s.distance *= 1.1 {
		all := true
		for _, d := range s.frame.Dots {
			p := s.px(d.Centre)
			all = all && p.X > 20 && p.Y > 20 && p.X < 1980 && p.Y < 1480
		}
		if all {
			break
		}
	}
	s.distance *= rapid.Float64Range(1, 1.6).Draw(t, "farther")
	return s
}

// spotsOf are the spots that the dots which are not hidden make, and which dot
// each is; wander is how far (px, uniform) they are off.
func (s scene) spotsOf(hidden map[int]bool, wander func() float64) (spots []vision.Spot, dot []int) {
	for i, d := range s.frame.Dots {
		if hidden[i] {
			continue
		}
		o := s.px(d.Centre)
		x, y := r2.Sub(s.px(r2.Add(d.Centre, r2.Vec{X: d.Diameter / 2})), o), r2.Sub(s.px(r2.Add(d.Centre, r2.Vec{Y: d.Diameter / 2})), o)
		area := math.Pi * math.Abs(r2.Cross(x, y))
		spots = append(spots, vision.Spot{Centre: r2.Vec{X: o.X + wander(), Y: o.Y + wander()}, Area: area * (1 + 0.03*wander()), Ratio: 1})
		dot = append(dot, i)
	}
	return spots, dot
}

// hideThird hides a third of n dots, in one to three clumps.
func hideThird(t *rapid.T, n int) map[int]bool {
	hidden := map[int]bool{}
	clumps := rapid.IntRange(1, 3).Draw(t, "clumps")
	for c := range clumps {
		at := rapid.IntRange(0, n-1).Draw(t, "hidden from")
		for i := range n / 3 / clumps {
			hidden[(at+i)%n] = true
		}
		_ = c
	}
	return hidden
}

// clutter are spots that are no dots: bolt holes on their circle, in the
// window, and others anywhere.
func clutter(t *rapid.T, s scene) []vision.Spot {
	var out []vision.Spot
	holes := rapid.IntRange(0, 12).Draw(t, "holes")
	radius := 0.42 * min(s.frame.WindowW, s.frame.WindowH)
	for i := range holes {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(holes))
		o := s.px(r2.Vec{X: radius * cos, Y: radius * sin})
		e := s.px(r2.Vec{X: radius*cos + 4, Y: radius * sin})
		out = append(out, vision.Spot{Centre: o, Area: math.Pi * r2.Norm2(r2.Sub(e, o)), Ratio: 1})
	}
	for range rapid.IntRange(0, 60).Draw(t, "others") {
		out = append(out, vision.Spot{
			Centre: r2.Vec{X: rapid.Float64Range(0, 2000).Draw(t, "x"), Y: rapid.Float64Range(0, 1500).Draw(t, "y")},
			Area:   rapid.Float64Range(20, 2000).Draw(t, "area"), Ratio: 1,
		})
	}
	return out
}

// A seen frame is a scene with what is seen of its dots and beside them.
type seenFrame struct {
	scene
	spots []vision.Spot
	dot   []int // which dot each of the first spots is
}

var seenFrames = rapid.Custom(func(t *rapid.T) seenFrame {
	s := seenFrame{scene: anyScene(t)}
	s.spots, s.dot = s.spotsOf(hideThird(t, len(s.frame.Dots)), func() float64 { return rapid.Float64Range(-0.5, 0.5).Draw(t, "off") })
	s.spots = append(s.spots, clutter(t, s.scene)...)
	return s
})

// Whatever third of the dots is hidden, however the sheet lies and whatever
// else is seen, each spot is known for the dot it is, or the frame is said not
// to be known. Spots that lie where a dot would can say anything, so there is
// no never: fixed draws are judged by how many go wrong.
func TestIdentify(t *testing.T) {
	const draws = 1000
	known, wrong := 0, 0
	for seed := range draws {
		s := seenFrames.Example(seed)
		id, _ := identify(s.spots)
		if id == nil {
			continue
		}
		known++
		if why := s.misread(id); why != "" {
			wrong++
			t.Logf("draw %d: %s", seed, why)
		}
	}
	t.Logf("%d of %d known, %d of them wrongly", known, draws, wrong)
	if 100*known < 93*draws {
		t.Errorf("only %d of %d frames were known", known, draws)
	}
	if 500*wrong > known {
		t.Errorf("%d of %d frames were misread", wrong, known)
	}
}

// misread tells what of a frame was read wrongly; nothing, it is hoped.
func (s seenFrame) misread(id *identified) string {
	if id.paper != s.frame.Paper || id.columns != s.frame.Columns || id.rows != s.frame.Rows {
		return fmt.Sprintf("a frame of %d × %d dots on %s was taken for one of %d × %d on %s", s.frame.Columns, s.frame.Rows, s.frame.Paper.Name, id.columns, id.rows, id.paper.Name)
	}
	if id.mirrored(id.grid) {
		return "it was taken for mirrored"
	}
	right := 0
	for c, i := range id.dots() {
		if i >= len(s.dot) {
			continue // clutter that lies on a hidden dot's place
		}
		if off := r2.Norm(r2.Sub(id.nominal(c), s.frame.Dots[s.dot[i]].Centre)); off > 1e-9 {
			return fmt.Sprintf("dot %s was taken for the one %g mm off", s.frame.Dots[s.dot[i]].Name, off)
		}
		right++
	}
	if 10*right < 9*len(s.dot) {
		return fmt.Sprintf("only %d of %d dots were taken", right, len(s.dot))
	}
	return ""
}

// A camera that turns left and right round is found out.
func TestMirroredFrame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyScene(t)
		s.mirrored = true
		spots, _ := s.spotsOf(nil, func() float64 { return 0 })
		id, _ := identify(spots)
		if id == nil || !id.mirrored(id.grid) {
			t.Fatal("it was not seen to be mirrored")
		}
		v := &FrameView{print: [2]float64{1, 1}}
		if err := v.place(id, spots, r2.Vec{X: 2000, Y: 1500}); err == nil || !strings.Contains(err.Error(), "mirror") {
			t.Fatalf("error %v", err)
		}
	})
}

// plates are full of holes of one or two sizes, or have a corner of them.
var plates = rapid.Custom(func(t *rapid.T) []vision.Spot {
	s := anyScene(t)
	two := rapid.Bool().Draw(t, "two sizes")
	border := rapid.Bool().Draw(t, "border") && !two
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	var spots []vision.Spot
	for i := range rapid.IntRange(4, 20).Draw(t, "columns") {
		for j := range rapid.IntRange(4, 20).Draw(t, "rows") {
			if border && i > 0 && j > 0 {
				continue
			}
			d := 6.0
			if two && random.IntN(2) == 0 {
				d = 8
			}
			o := r2.Vec{X: Pitch*float64(i) - 90, Y: Pitch*float64(j) - 90}
			px := s.px(o)
			x, y := r2.Sub(s.px(r2.Add(o, r2.Vec{X: d / 2})), px), r2.Sub(s.px(r2.Add(o, r2.Vec{Y: d / 2})), px)
			spots = append(spots, vision.Spot{Centre: px, Area: math.Pi * math.Abs(r2.Cross(x, y)), Ratio: 1})
		}
	}
	return spots
})

// Plates full of holes and rows of dots of one size are no frames, but for one
// in a thousand: two sizes at random say anything.
func TestNoFrame(t *testing.T) {
	const draws = 1000
	wrong := 0
	for seed := range draws {
		if id, _ := identify(plates.Example(seed)); id != nil {
			wrong++
			t.Logf("draw %d was taken for a frame of %d × %d on %s, %d of its spots agreeing and %d not", seed, id.columns, id.rows, id.paper.Name, id.agree, id.differ)
		}
	}
	t.Logf("%d of %d plates were taken for frames", wrong, draws)
	if 1000*wrong > draws {
		t.Errorf("%d of %d plates were taken for frames", wrong, draws)
	}
}

// Dirt is no frame and no part of one.
func TestNoFrameInDirt(t *testing.T) {
	for seed := range uint64(200) {
		random := rand.New(rand.NewPCG(seed, 1))
		var dirt []vision.Spot
		for range random.IntN(400) {
			dirt = append(dirt, vision.Spot{
				Centre: r2.Vec{X: 600 * random.Float64(), Y: 500 * random.Float64()},
				Area:   20 + 180*random.Float64(), Ratio: 1,
			})
		}
		if id, part := identify(dirt); id != nil || part > 0 {
			t.Errorf("draw %d: dirt was taken for a frame, or for %d dots of one", seed, part)
		}
	}
}

// No spots can make identify panic.
func FuzzIdentify(f *testing.F) {
	s := scene{frame: frameOf(f, A4, 60, 60), width: 400, height: 300, focal: 400, distance: 300}
	spots, _ := s.spotsOf(nil, func() float64 { return 0 })
	var seed []byte
	for _, p := range spots {
		seed = append(seed, byte(p.Centre.X/2), byte(p.Centre.Y/2), byte(p.Area))
	}
	f.Add(seed)
	f.Add([]byte{1, 1, 1, 2, 1, 1, 3, 1, 1, 4, 1, 1, 1, 2, 1, 1, 3, 1, 1, 4, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		var spots []vision.Spot
		for ; len(b) >= 3; b = b[3:] {
			spots = append(spots, vision.Spot{Centre: r2.Vec{X: 2 * float64(b[0]), Y: 2 * float64(b[1])}, Area: float64(b[2]), Ratio: 1})
		}
		id, _ := identify(spots)
		if id == nil {
			return
		}
		v := &FrameView{print: [2]float64{1, 1}}
		if err := v.place(id, spots, r2.Vec{X: 400, Y: 300}); err == nil && !(v.TiltDeg >= 0 && v.TiltDeg <= mostTilt) {
			t.Errorf("a tilt of %g°", v.TiltDeg)
		}
	})
}

// picturesOfFrames are scenes of few pixels, each with the six holes of the press's
// gearbox in the window.
func picturesOfFrames() map[string]scene {
	straight := scene{frame: must(NewFrame(A4, 150, 150)), width: 1600, height: 1200, focal: 1240, distance: 330, turn: 200, tilt: 3, towards: 30, k1: -0.04, blur: 1, noise: 3}
	tilted := straight
	tilted.frame, tilted.tilt, tilted.turn, tilted.distance, tilted.uneven = must(NewFrame(Letter, 120, 140)), 45, 95, 350, true
	third := tilted
	third.tilt = 35
	third.hidden = func(mm r2.Vec) bool { return r2.Norm(r2.Sub(mm, r2.Vec{X: -60, Y: 70})) < 75 }
	all := map[string]scene{"straight": straight, "tilted": tilted, "a third hidden": third}
	for name, s := range all {
		for i := range 6 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 3)
			s.extra = append(s.extra, Dot{Centre: r2.Vec{X: 48 * cos, Y: 48 * sin}, Diameter: 9})
		}
		all[name] = s
	}
	return all
}

func must(f *Frame, err error) *Frame {
	if err != nil {
		panic(err)
	}
	return f
}

// From the picture to the plane: places on the face come out where they are.
func TestFindFrame(t *testing.T) {
	for name, s := range picturesOfFrames() {
		t.Run(name, func(t *testing.T) {
			v, err := FindFrame(s.render(1), PrintedBars{})
			if err != nil || v == nil {
				t.Fatalf("%v, %v", v, err)
			}
			hidden := map[string]bool{}
			for _, d := range s.frame.Dots {
				hidden[d.Name] = s.hidden != nil && s.hidden(d.Centre)
			}
			for _, c := range v.Controls {
				if hidden[c.Name] {
					t.Errorf("%s was measured where it is hidden", c.Name)
				}
				delete(hidden, c.Name)
			}
			for name, is := range hidden {
				if !is {
					t.Errorf("%s was not measured", name)
				}
			}
			if v.Hidden != len(hidden) || v.Frame.Paper != s.frame.Paper || math.Abs(v.TiltDeg-s.tilt) > 2 {
				t.Errorf("%d hidden, %s, tilt %.1f°", v.Hidden, v.Frame.Paper.Name, v.TiltDeg)
			}
			plane, fit, err := FromControls("frame", ControlSet{Controls: v.Controls, WidthPx: s.width, HighPx: s.height, ScaleU: v.ScaleU, AxesU: v.AxesU})
			if err != nil {
				t.Fatal(err)
			}
			worst := 0.0
			for _, h := range s.extra {
				worst = max(worst, r2.Norm(r2.Sub(plane.MM(s.px(h.Centre)), h.Centre)))
			}
			t.Logf("worst place on the face %.4f mm off, dots %.4f mm rms, outliers %v", worst, fit.RMSMM, fit.Outliers)
			if worst > 0.03 || fit.RMSMM > 0.05 || len(fit.Outliers) > 1 {
				t.Errorf("worst place on the face %.4f mm off, dots %.4f mm rms, outliers %v", worst, fit.RMSMM, fit.Outliers)
			}
			for _, d := range s.frame.Dots {
				if !v.Border(d.Centre) {
					t.Errorf("%s is not on the border", d.Name)
				}
			}
			for _, h := range s.extra {
				if v.Border(h.Centre) {
					t.Error("a hole is on the border")
				}
			}
		})
	}
}

// What cannot be used is told as what it is.
func TestFindFrameRefuses(t *testing.T) {
	base := scene{frame: must(NewFrame(A4, 90, 90)), width: 1000, height: 750, focal: 800, distance: 230, turn: 30, blur: 0.7, noise: 2}
	half := base
	half.aside = r2.Vec{X: 480}
	steep := base
	steep.tilt, steep.distance = 57, 300
	mirror := base
	mirror.mirrored = true
	little := base
	little.hidden = func(mm r2.Vec) bool { return mm.X < 10 }
	covered := base
	covered.frame, covered.distance = must(NewFrame(A4, 120, 180)), 350
	covered.hidden = func(mm r2.Vec) bool { return mm.X < 20 }
	for name, c := range map[string]struct {
		scene
		says string
	}{
		"half": {half, "only half of the frame is in the picture"}, "steep": {steep, "tilt is too strong"},
		"mirror": {mirror, "mirror"}, "covered": {covered, "can be seen; uncover"}, "little": {little, "too little to know it by"},
	} {
		v, err := FindFrame(c.render(1), PrintedBars{})
		if v != nil || err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, error %v, want one with %q", name, v != nil, err, c.says)
		}
	}
	bare := base
	bare.hidden = func(r2.Vec) bool { return true }
	if v, err := FindFrame(bare.render(1), PrintedBars{}); v != nil || err != nil {
		t.Errorf("without a frame: %v, %v", v, err)
	}
	for _, printed := range []PrintedBars{{140, 0}, {-140, 140}, {math.NaN(), 140}, {math.Inf(1), 140}, {14, 14}} {
		if _, err := FindFrame(bare.render(1), printed); err == nil {
			t.Errorf("bars of %v mm were taken", printed)
		}
	}
}

// Two frames in one picture: printed alike one of them serves, printed at
// another scale they disagree.
func TestTwoFrames(t *testing.T) {
	for _, c := range []struct {
		size float64
		says string
	}{{1, ""}, {0.95, "two frames in the picture disagree"}} {
		s := scene{frame: must(NewFrame(A4, 70, 70)), width: 1600, height: 800, focal: 1300, distance: 260, aside: r2.Vec{X: -330}, blur: 0.7, noise: 2}
		for _, d := range must(NewFrame(Letter, 60, 70)).Dots {
			s.extra = append(s.extra, Dot{Centre: r2.Add(r2.Scale(c.size, d.Centre), r2.Vec{X: 125, Y: 5}), Diameter: c.size * d.Diameter})
		}
		// The sheet is as wide as both.
		s.frame.Paper.Width = 500
		v, err := FindFrame(s.render(1), PrintedBars{})
		switch {
		case c.says == "" && (err != nil || v == nil || len(v.Warnings) != 1 || !strings.Contains(v.Warnings[0], "two frames")):
			t.Errorf("alike: %v, %v", v, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("error %v, want one with %q", err, c.says)
		}
	}
}

// What the bars measure stretches the sheet's millimetres, and makes them surer.
func TestPrintedBars(t *testing.T) {
	s := scene{frame: must(NewFrame(A4, 70, 70)), width: 800, height: 800, focal: 800, distance: 200, blur: 0.7, noise: 2}
	pic := s.render(1)
	plain, err := FindFrame(pic, PrintedBars{})
	if err != nil || plain == nil {
		t.Fatal(plain, err)
	}
	given, err := FindFrame(pic, PrintedBars{139.3, 140.7})
	if err != nil || len(given.Controls) != len(plain.Controls) {
		t.Fatal(given, err)
	}
	for i, c := range given.Controls {
		n := plain.Controls[i].MM
		if want := (r2.Vec{X: n.X * 0.995, Y: n.Y * 1.005}); r2.Norm(r2.Sub(c.MM, want)) > 1e-9 {
			t.Errorf("%s at %v, want %v", c.Name, c.MM, want)
		}
	}
	if given.ScaleU >= plain.ScaleU/3 || given.AxesU >= plain.AxesU/3 {
		t.Errorf("%g and %g, without %g and %g", given.ScaleU, given.AxesU, plain.ScaleU, plain.AxesU)
	}
}

func BenchmarkIdentify(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 2))
	s := scene{frame: frameOf(b, A4, 168, 252), width: 2000, height: 1500, focal: 1550, distance: 400, tilt: 30}
	frame, _ := s.spotsOf(nil, func() float64 { return 0 })
	var plate, dirt []vision.Spot
	for i := range 1500 {
		plate = append(plate, vision.Spot{Centre: r2.Vec{X: 20 * float64(i%40), Y: 20 * float64(i/40)}, Area: 60 + 30*float64(random.IntN(2)), Ratio: 1})
		dirt = append(dirt, vision.Spot{Centre: r2.Vec{X: 2000 * random.Float64(), Y: 1500 * random.Float64()}, Area: 20 + 180*random.Float64(), Ratio: 1})
	}
	for name, spots := range map[string][]vision.Spot{"frame": frame, "plate": plate, "dirt": dirt, "frame in dirt": append(frame, dirt[:300]...)} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				identify(spots)
			}
		})
	}
}
