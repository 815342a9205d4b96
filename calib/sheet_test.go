package calib

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// sheetError is how far the plane puts points off, after the best shift and
// turn: only lengths count. It returns the largest relative error of the
// lengths between nine places on the inner two thirds of the sheet.
func sheetError(s sheetShot, p *Plane) float64 {
	var at []r2.Vec
	for i := -1; i <= 1; i++ {
		for j := -1; j <= 1; j++ {
			at = append(at, r2.Vec{X: float64(i) * s.sheet.X / 3, Y: float64(j) * s.sheet.Y / 3})
		}
	}
	worst := 0.0
	for i, a := range at {
		for _, b := range at[:i] {
			want := r2.Norm(r2.Sub(a, b))
			got := r2.Norm(r2.Sub(p.MM(s.toPx(a)), p.MM(s.toPx(b))))
			worst = max(worst, math.Abs(got-want)/want)
		}
	}
	return worst
}

// sheetCases are what a sheet is photographed on and how.
var sheetCases = []struct {
	name, size string
	change     func(*sheetShot)
}{
	{"plain", "a4", func(*sheetShot) {}},
	{"barrel", "a4", func(s *sheetShot) { s.k1 = -0.08 }},
	{"pincushion", "a4", func(s *sheetShot) { s.k1 = 0.06 }},
	{"tilted 40°", "a4", func(s *sheetShot) { s.tilt, s.away = 40, 520 }},
	{"square on", "a4", func(s *sheetShot) { s.tilt = 0 }},
	{"lying across", "a4", func(s *sheetShot) { s.sheet = r2.Vec{X: 297, Y: 210}; s.away = 380 }},
	{"turned 40°", "a4", func(s *sheetShot) { s.turn, s.away = 40, 520 }},
	{"wood", "a4", func(s *sheetShot) { s.grain, s.boards, s.turn = 18, true, 0 }},
	{"wood, tilted", "a4", func(s *sheetShot) { s.grain, s.boards, s.turn, s.tilt, s.away = 25, true, 12, 30, 480 }},
	{"shadow beside", "a4", func(s *sheetShot) { s.shadow, s.shadowMM, s.ground = 0.5, 4, 150 }},
	{"light bench", "a4", func(s *sheetShot) { s.ground, s.noise = 203, 2 }},
	{"white paper on grey, uneven light", "a4", func(s *sheetShot) { s.ground, s.falloff = 150, 0.5 }},
	{"dark card on a light bench", "card", func(s *sheetShot) {
		s.sheet, s.corner, s.paper, s.ground, s.away = r2.Vec{X: 85.6, Y: 53.98}, 3.18, 60, 190, 150
	}},
	{"small card on wood", "card", func(s *sheetShot) {
		s.sheet, s.corner, s.grain, s.boards, s.away = r2.Vec{X: 85.6, Y: 53.98}, 3.18, 15, true, 230
	}},
	{"card upright", "card", func(s *sheetShot) { s.sheet, s.corner, s.away = r2.Vec{X: 53.98, Y: 85.6}, 3.18, 160 }},
	{"thumb on a corner", "a4", func(s *sheetShot) { s.thumb = true }},
	{"corner cut off", "a4", func(s *sheetShot) { s.aim, s.turn, s.away = r2.Vec{X: -75, Y: 0}, 8, 400 }},
	{"fills the picture", "a4", func(s *sheetShot) { s.sheet, s.tilt, s.turn, s.away = r2.Vec{X: 297, Y: 210}, 3, 0.5, 275 }},
	{"a rubbing", "a4", func(s *sheetShot) { s.rubbing = true }},
	{"a printed border", "a4", func(s *sheetShot) { s.border = true }},
	{"a second sheet beneath", "a4", func(s *sheetShot) { s.beneath, s.away = true, 500 }},
	{"blurred", "a4", func(s *sheetShot) { s.blur = 3 }},
	{"noisy", "a4", func(s *sheetShot) { s.noise = 12 }},
	{"letter", "letter", func(s *sheetShot) { s.sheet = r2.Vec{X: 215.9, Y: 279.4} }},
	{"own size", "120±0.1x80±0.1", func(s *sheetShot) { s.sheet, s.away = r2.Vec{X: 120, Y: 80}, 180 }},
}

// Every sheet is found, and lengths on it are right to 0.15 % (most to
// 0.03 %) when the sheet has its nominal size, within what its tolerance
// allows; a tilt is told to 2°.
func TestSheetInPictures(t *testing.T) {
	for _, c := range sheetCases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := ordinarySheet(1)
			c.change(&s)
			size, err := ParseSheet(c.size)
			if err != nil {
				t.Fatal(err)
			}
			// The rendered card is as thin as a line.
			plane, fit, err := Sheet(s.render(), SheetSet{Size: size, AboveMM: -size.Thickness})
			if err != nil {
				t.Fatal(err)
			}
			off := sheetError(s, plane)
			t.Logf("rms %.3f px, k1 %.4f ± %.4f, tilt %.1f°, relative uncertainty %.4f, error %.5f, bows %.2f mm, score %.2f", fit.RMSPx, fit.K1, fit.UK1, fit.TiltDeg, plane.URel, off, fit.BowMM, fit.Quad.Score)
			if off > 0.0015 {
				t.Errorf("lengths are off by %.3f %%", 100*off)
			}
			if math.Abs(fit.TiltDeg-s.tilt) > 2 {
				t.Errorf("tilt %.1f°, rendered %.1f°", fit.TiltDeg, s.tilt)
			}
			if want := s.sheet.X > s.sheet.Y; want != (fit.Size.Width > fit.Size.Height) && s.turn < 30 {
				t.Errorf("it lies %g × %g mm", fit.Size.Width, fit.Size.Height)
			}
			for _, v := range []float64{plane.URel, fit.RMSPx, fit.FocalPx} {
				if math.IsNaN(v) || v <= 0 {
					t.Errorf("not a figure: %g", v)
				}
			}
			// Up on the picture is up on the face.
			middle := s.toPx(r2.Vec{})
			if up := r2.Sub(plane.MM(r2.Vec{X: middle.X, Y: middle.Y - 20}), plane.MM(middle)); s.turn < 40 && up.Y < 0.7*r2.Norm(up) {
				t.Errorf("up is %v", up)
			}
		})
	}
}

// What cannot give a scale is refused, and what is wrong is said.
func TestSheetRefuses(t *testing.T) {
	for _, c := range []struct {
		name, size, want string
		change           func(*sheetShot)
	}{
		{"no sheet", "a4", "no sheet or card", func(s *sheetShot) { s.paper = s.ground }},
		{"only wood", "a4", "no s", func(s *sheetShot) { s.sheet = r2.Vec{X: 1, Y: 1}; s.grain, s.boards = 18, true }},
		{"half of it", "a4", "all of it in the picture", func(s *sheetShot) { s.aim = r2.Vec{X: -170, Y: 0} }},
		{"another shape", "card", "and the ID-1 card has 1 : 1.59", func(s *sheetShot) {}},
		{"nearly square", "200x204", "nearly square", func(s *sheetShot) { s.sheet = r2.Vec{X: 200, Y: 204} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := ordinarySheet(2)
			c.change(&s)
			size, err := ParseSheet(c.size)
			if err != nil {
				t.Fatal(err)
			}
			_, fit, err := Sheet(s.render(), SheetSet{Size: size})
			if !errors.Is(err, ErrSheet) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, %+v", err, fit)
			}
		})
	}
}

// A sheet whose long edges bend outwards is reported.
func TestCurledSheetIsTold(t *testing.T) {
	s := ordinarySheet(3)
	s.curl = 1.5
	size, _ := ParseSheet("a4")
	_, fit, err := Sheet(s.render(), SheetSet{Size: size})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(fit.Warnings, func(w string) bool { return strings.Contains(w, "not flat") }) {
		t.Errorf("bows %.2f mm, k1 %.3f, %q", fit.BowMM, fit.K1, fit.Warnings)
	}
}

// seenQuad is the outline of a sheet of true size as a finder would measure it,
// with edge points off by noise px that wander along the edge.
func seenQuad(s sheetShot, noise float64, rng *rand.Rand) vision.Quad {
	corners := SheetSize{Width: s.sheet.X, Height: s.sheet.Y}.corners()
	var q vision.Quad
	for i := range 4 {
		a, b := corners[i], corners[(i+1)%4]
		q.Corner[i] = s.toPx(a)
		out := r2.Unit(r2.Sub(s.toPx(b), s.toPx(a)))
		out = r2.Vec{X: out.Y, Y: -out.X}
		drift := 0.0
		for k := range 40 {
			drift = 0.6*drift + math.Sqrt(1-0.36)*noise*rng.NormFloat64()
			t := 0.08 + 0.84*(float64(k)+0.5)/40
			p := s.toPx(r2.Add(a, r2.Scale(t, r2.Sub(b, a))))
			q.Sides[i].Edge = append(q.Sides[i].Edge, r2.Add(p, r2.Scale(drift, out)))
			q.Sides[i].Weight = append(q.Sides[i].Weight, 1)
		}
	}
	return q
}

// cardAskew is a card, a camera that looks at it from a slant, and how it sees
// outlines of so many mm by so many.
func cardAskew(t *testing.T, seed uint64) (card SheetSize, cam optics, seen func(w, h float64) vision.Quad) {
	t.Helper()
	s := ordinarySheet(0)
	s.tilt, s.away = 13, 300
	card, err := ParseSheet("card")
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(5, seed))
	return card, s.optics(), func(w, h float64) vision.Quad {
		s.sheet = r2.Vec{X: w, Y: h}
		return seenQuad(s, 0.1, rng)
	}
}

// A card on a plate of nearly its shape: the camera, whose focal length is
// known, tells which of the two outlines is the card. Of a border printed on a
// sheet and the sheet's own edge, both of the sheet's shape, it is the edge.
func TestSheetNested(t *testing.T) {
	card, cam, seen := cardAskew(t, 5)
	outline := func(w, h, score float64) vision.Quad {
		q := seen(w, h)
		q.Score = score
		return q
	}
	inner := outline(card.Width, card.Height, 0.9)
	for _, c := range []struct {
		what  string
		outer vision.Quad
		same  bool // as the card's shape
	}{
		{"a plate", outline(180, 180/1.5, 0.85), false},
		{"the card's own edge round a border", outline(1.1*card.Width, 1.1*card.Height, 0.85), true},
	} {
		got, _, err := chooseQuad([]vision.Quad{inner, c.outer}, card, cam, exifFocalU)
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		if outer := got.quad.Corner == c.outer.Corner; outer != c.same {
			t.Errorf("%s: the outer one is taken: %v", c.what, outer)
		}
	}
}

// Where the clearest outline has no card's shape, as what a stripe leaves of one has
// not, the card is the likeliest of its rivals that has; where it has, they are not
// asked.
func TestSheetRival(t *testing.T) {
	card, cam, seen := cardAskew(t, 6)
	outline := func(w, h float64, rivals ...vision.Quad) vision.Quad {
		q := seen(w, h)
		q.Score, q.Rivals = 0.8, rivals
		return q
	}
	rivals := []vision.Quad{outline(card.Width, 45), outline(card.Width, card.Height), outline(1.1*card.Width, 1.1*card.Height)}
	for _, c := range []struct {
		what string
		seen vision.Quad
		want int // of the rivals; -1: the outline itself
	}{
		{"without the stripe", outline(card.Width, 36, rivals...), 1},
		{"the card itself", outline(1.01*card.Width, 1.01*card.Height, rivals...), -1},
	} {
		want := c.seen
		if c.want >= 0 {
			want = rivals[c.want]
		}
		if got, _, err := chooseQuad([]vision.Quad{c.seen}, card, cam, exifFocalU); err != nil || got.quad.Corner != want.Corner {
			t.Errorf("%s: another outline is taken, %v", c.what, err)
		}
	}
	if _, _, err := chooseQuad([]vision.Quad{outline(card.Width, 36, rivals[0])}, card, cam, exifFocalU); !errors.Is(err, ErrSheet) {
		t.Errorf("no outline has a card's shape: %v", err)
	}
}

// Where the camera stood is known, and so how what lies below the face is seen
// aside.
func TestSheetAside(t *testing.T) {
	s := ordinarySheet(0)
	for _, above := range []float64{0, 40} {
		size := SheetSize{Name: "sheet", Width: 210, Height: 297, UWidth: 1e-4, UHeight: 1e-4, USquare: 1e-6}
		set := SheetSet{Size: size, AboveMM: above, FocalPx: s.optics().fx}
		plane, _, err := sheetOf([]vision.Quad{seenQuad(s, 0.01, rand.New(rand.NewPCG(8, 8)))}, s.w, s.h, set)
		if err != nil {
			t.Fatal(err)
		}
		sin, cos := math.Sincos(s.tilt * math.Pi / 180)
		y, x := math.Sincos(s.toward * math.Pi / 180)
		at := s.toPx(r2.Vec{X: 50, Y: -60})
		want := r2.Scale(1/(s.away*cos+above), r2.Sub(r2.Vec{X: s.away * sin * x, Y: s.away * sin * y}, plane.MM(at)))
		if got := plane.Aside(at); r2.Norm(r2.Sub(got, want)) > 0.01 {
			t.Errorf("%g mm above the face: %.4f, want %.4f", above, got, want)
		}
	}
}

// Sheets cut as well as is said, seen by cameras of any kind from anywhere:
// how often lengths lie within their stated ±. Where the sheet's own size is
// exact the edges' noise decides.
func TestSheetCoverage(t *testing.T) {
	for _, c := range []struct {
		name  string
		pm    float64 // mm, k = 2
		noise float64 // px
	}{{"the cut decides", 0.8, 0.1}, {"the edges decide", 0.0001, 1.5}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(4, 7))
			within, of, known := 0, 0, 0
			for range 60 {
				s := ordinarySheet(0)
				s.tilt, s.toward, s.turn = 35*rng.Float64(), 360*rng.Float64(), 30*rng.NormFloat64()
				s.k1 = 0.01 * rng.NormFloat64()
				s.focal *= math.Exp(0.15 * rng.NormFloat64())
				s.away *= 1.15 * s.focal / 0.6
				size := SheetSize{Name: "sheet", Width: 210, Height: 297, UWidth: c.pm / 2, UHeight: c.pm / 2, USquare: 1e-6}
				s.sheet = r2.Vec{X: 210 + c.pm/2*rng.NormFloat64(), Y: 297 + c.pm/2*rng.NormFloat64()}
				plane, fit, err := sheetOf([]vision.Quad{seenQuad(s, c.noise, rng)}, s.w, s.h, SheetSet{Size: size})
				if err != nil {
					t.Fatalf("tilt %.0f° towards %.0f°, turn %.0f°: %v", s.tilt, s.toward, s.turn, err)
				}
				if math.Abs(fit.K1-s.k1*math.Pow(fit.FocalPx/s.optics().fx, 2)) <= 2*fit.UK1 {
					known++
				}
				for _, pair := range [][2]r2.Vec{{{X: -60}, {X: 60}}, {{Y: -80}, {Y: 80}}, {{X: -60, Y: -60}, {X: 50, Y: 80}}} {
					a, b := s.toPx(pair[0]), s.toPx(pair[1])
					length := r2.Sub(plane.MM(b), plane.MM(a))
					sa, sb := plane.Shared(a), plane.Shared(b)
					v := 0.0
					for i := range sa {
						d := r2.Dot(r2.Unit(length), r2.Sub(sb[i], sa[i]))
						v += d * d
					}
					of++
					if math.Abs(r2.Norm(length)-r2.Norm(r2.Sub(pair[1], pair[0]))) <= 2*math.Sqrt(v) {
						within++
					}
				}
			}
			t.Logf("%d of %d lengths within ±; k1 within its ± in %d of 60", within, of, known)
			if share := float64(within) / float64(of); share < 0.90 || share > 0.995 {
				t.Errorf("%.1f %% of the lengths lie within ±", 100*share)
			}
		})
	}
}

// Sizes of the standards, from memory: ISO 216 (A4, its limits of ±2 mm up to
// 600 mm and ±1.5 mm up to 150 mm), ISO/IEC 7810 (ID-1).
func TestParseSheet(t *testing.T) {
	for _, c := range []struct {
		in               string
		w, h, uw, uh, th float64
	}{
		{"a4", 210, 297, 2 / math.Sqrt(3), 2 / math.Sqrt(3), 0},
		{" A4 ", 210, 297, 2 / math.Sqrt(3), 2 / math.Sqrt(3), 0},
		{"a3", 297, 420, 2 / math.Sqrt(3), 2 / math.Sqrt(3), 0},
		{"a5", 148, 210, 1.5 / math.Sqrt(3), 2 / math.Sqrt(3), 0},
		{"letter", 215.9, 279.4, 1.5875 / math.Sqrt(3), 1.5875 / math.Sqrt(3), 0},
		{"card", 85.60, 53.98, 0.125 / math.Sqrt(3), 0.06 / math.Sqrt(3), 0.76},
		{"210x297", 210, 297, 0.25, 0.25, 0},
		{"210×297mm", 210, 297, 0.25, 0.25, 0},
		{"210±0.3x297±0.4", 210, 297, 0.15, 0.2, 0},
		{"210+-0.3x297+/-0.4", 210, 297, 0.15, 0.2, 0},
		{"120 x 80.5 ± 0.1", 120, 80.5, 0.25, 0.05, 0},
	} {
		s, err := ParseSheet(c.in)
		if err != nil {
			t.Errorf("%s: %v", c.in, err)
			continue
		}
		for k, v := range [][2]float64{{s.Width, c.w}, {s.Height, c.h}, {s.UWidth, c.uw}, {s.UHeight, c.uh}, {s.Thickness, c.th}} {
			if math.Abs(v[0]-v[1]) > 1e-9 {
				t.Errorf("%s: value %d is %g, want %g", c.in, k, v[0], v[1])
			}
		}
	}
	for _, in := range []string{"", "a", "a44", "210", "210x", "x297", "0x0", "-210x297", "NaNxNaN", "1e999x3", "Infx2", "210x297x3", "210±-1x297", "210±40x297", "1000x20", "210±x297", "3x3"} {
		if s, err := ParseSheet(in); err == nil {
			t.Errorf("%q was taken for %+v", in, s)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: more than a line", in)
		}
	}
}

func FuzzParseSheet(f *testing.F) {
	for _, s := range []string{"a4", "card", "210x297", "210±0.3x297+-0.3", "1e3x1e3", "±x±"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		s, err := ParseSheet(in)
		if err != nil {
			return
		}
		for _, v := range []float64{s.Width, s.Height, s.UWidth, s.UHeight, s.USquare} {
			if !(v >= 0) || math.IsInf(v, 0) {
				t.Errorf("%q became %+v", in, s)
			}
		}
	})
}
