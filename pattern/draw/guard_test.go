package draw

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"boltrose/pattern"
	"boltrose/pattern/thread"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// press is the face of a cider press's gearbox: six holes, one of them seven
// degrees off, and a bore a little off the pitch circle's centre.
func press() *pattern.Reading {
	r := &pattern.Reading{
		Source:      pattern.Source{File: "press.png"},
		PitchCircle: &pattern.PitchCircle{Diameter: 96},
		Bore:        &pattern.Feature{X: 0.3, Y: -0.2, XU95: 0.05, YU95: 0.04, Diameter: 51.5, DiameterU95: 0.5},
		Rim:         &pattern.Feature{Diameter: 119},
	}
	for i, deg := range []float64{90, 150, 210, 277, 330, 30} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		r.Holes = append(r.Holes, pattern.Hole{ID: i + 1, X: 48 * cos, Y: 48 * sin, XU95: 0.1, YU95: 0.1, Diameter: 8.9})
	}
	return r
}

// m8 are n bolts M8 in holes of ISO 273 medium.
func m8(n int) []GuardBolt {
	b := make([]GuardBolt, n)
	for i := range b {
		b[i] = GuardBolt{Bolt: 8, Hole: 9, Head: thread.HeadOf("M8", 8)}
	}
	return b
}

func usual() GuardSizes {
	return GuardSizes{Shaft: 35, Projects: 40, RunRadius: UsualRunning, RunLength: UsualRunning, Wall: UsualWall, Thickness: UsualWall, VentWidth: UsualVent}
}

func mm(v float64) *float64 { return &v }

// What cannot work is refused with the reason and a number; with that number
// it works.
func TestGuardRefuses(t *testing.T) {
	type change func(*pattern.Reading, []GuardBolt, *GuardSizes)
	sizes := func(c func(*GuardSizes)) change {
		return func(_ *pattern.Reading, _ []GuardBolt, s *GuardSizes) { c(s) }
	}
	for _, c := range []struct {
		name string
		do   change
		want string // the error, in part
		fix  change // nil where nothing would do
	}{
		{"as usual", sizes(func(*GuardSizes) {}), "", nil},
		{"thin wall", sizes(func(s *GuardSizes) { s.Wall = 2 }), "wall of 2 mm is too thin: 3 mm would do", sizes(func(s *GuardSizes) { s.Wall = 3 })},
		{"thin flange", sizes(func(s *GuardSizes) { s.Thickness = 2.9 }), "flange 2.9 mm thick is too thin: 3 mm would do", sizes(func(s *GuardSizes) { s.Thickness = 3 })},
		// 0.5 of play and 0.05 of doubt, 1 to be left: 1.55.
		{"touches in radius", sizes(func(s *GuardSizes) { s.RunRadius = 1.5 }), "would touch the shaft: of 1.5 mm running clearance, 0.5 mm goes to the bolts' play and the doubt about the shaft's place of 0.05 mm, and 1 mm must be left: 1.6 mm would do",
			sizes(func(s *GuardSizes) { s.RunRadius = 1.6 })},
		{"touches at the end", sizes(func(s *GuardSizes) { s.RunLength = 1 }), "end would touch the shaft: 1 mm of running clearance past it are too little: 2 mm would do", sizes(func(s *GuardSizes) { s.RunLength = 2 })},
		{"sharp foot", sizes(func(s *GuardSizes) { s.Foot = mm(0.5) }), "0.5 mm leaves a sharp corner: 2 mm would do", sizes(func(s *GuardSizes) { s.Foot = mm(2) })},
		// 5 thick, foot and top 2 each: 9 high, less 5 of wall, less 1.
		{"low cap", sizes(func(s *GuardSizes) { s.Projects, s.RunLength = 1, 2 }), "too little to be rounded: a running clearance of 3 mm past", sizes(func(s *GuardSizes) { s.Projects, s.RunLength = 1, 3 })},
		// A socket for 13 mm is taken as 19.9 mm wide, its seat as 20.9; from the
		// shaft's centre hole 5, at 330°, is 47.64 mm away.
		{"cap meets heads", sizes(func(s *GuardSizes) { s.Shaft = 51 }), "cap meets the head of hole 5's bolt, or its socket: from the shaft's centre it is 47.64 mm, and 48 mm are needed (shaft 25.5, running clearance 5, wall 5, foot 2, half the seat 10.45): a running clearance of 4.6 mm would do",
			sizes(func(s *GuardSizes) { s.Shaft, s.RunRadius = 51, 4.6 })},
		{"cap meets heads, thinner wall", sizes(func(s *GuardSizes) { s.Shaft, s.RunRadius, s.Wall = 51, 1.6, 9 }), "a wall of 8 mm would do",
			sizes(func(s *GuardSizes) { s.Shaft, s.RunRadius, s.Wall = 51, 1.6, 8 })},
		// Without a bore 48 mm to every hole; 30 + 3 + 5 + 2 + 10.45 is 2.45 too much.
		{"cap meets heads, both", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) {
			r.Bore = nil
			s.Shaft, s.RunRadius = 60, 3
		}, "a running clearance of 2 mm with a wall of 3.4 mm would do", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) {
			r.Bore = nil
			s.Shaft, s.RunRadius, s.Wall = 60, 2, 3.4
		}},
		{"foot meets heads", sizes(func(s *GuardSizes) { s.Foot = mm(12) }), "a foot's radius of 9.6 mm would do", sizes(func(s *GuardSizes) { s.Foot = mm(9.6) })},
		{"shaft too large", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) { r.Bore = nil; s.Shaft = 80 }, "even the thinnest cap passes only a shaft of 61.1 mm", nil},
		{"shaft does not pass", sizes(func(s *GuardSizes) { s.Shaft = 53 }), "shaft of 53 mm does not pass through the bore of 51.5 ±0.5 mm that the reading has: 52 mm at most", nil},
		{"off to one side", sizes(func(s *GuardSizes) { s.At = &r2.Vec{Y: 16} }), "cap meets the head of hole 1's bolt", nil},
		{"small flange", sizes(func(s *GuardSizes) { s.Flange = mm(100) }), "flange of 100 mm is too small: hole", sizes(func(s *GuardSizes) { s.Flange = mm(123) })},
		// 48 + 1.5·9, twice.
		{"small flange says", sizes(func(s *GuardSizes) { s.Flange = mm(122.9) }), "hole 1 needs 123 mm", nil},
		// 48 + 29.9/2 + 2.5, twice: a wide socket.
		{"small flange for the seat", func(_ *pattern.Reading, b []GuardBolt, s *GuardSizes) { b[1].Head.Socket = 28.9; s.Flange = mm(130.8) }, "hole 2 needs 130.9 mm",
			func(_ *pattern.Reading, b []GuardBolt, s *GuardSizes) { b[1].Head.Socket = 28.9; s.Flange = mm(130.9) }},
		{"flange for the foot", func(_ *pattern.Reading, b []GuardBolt, s *GuardSizes) { s.Flange = mm(123); s.At = &r2.Vec{Y: 90} }, "the cap's foot needs", nil},
		{"flange for the bore", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) { r.Bore.Diameter = 130; s.Flange = mm(122) }, "resting on the face outside its bore needs 140.8 mm",
			func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) { r.Bore.Diameter = 130; s.Flange = mm(140.8) }},
		{"bolt too large", func(_ *pattern.Reading, b []GuardBolt, _ *GuardSizes) { b[2].Hole = 8 }, "hole 3, of 8 mm, does not let its bolt of 8 mm through: 8.6 mm would do",
			func(_ *pattern.Reading, b []GuardBolt, _ *GuardSizes) { b[2].Hole = 8.6 }},
		{"hole too large", func(_ *pattern.Reading, b []GuardBolt, s *GuardSizes) { b[0].Hole = 16 }, "lets its washer of 16 mm through: 8.8 mm would do",
			func(_ *pattern.Reading, b []GuardBolt, _ *GuardSizes) { b[0].Hole = 8.8 }},
		{"washers meet", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) {
			r.Holes[1].X, r.Holes[1].Y = r.Holes[0].X+15.5, r.Holes[0].Y
		}, "washers of holes 1 and 2 meet: the holes are 15.5 mm apart and 16 mm are needed; washers of 15.5 mm would do", nil},
		// (19.9 + 15.01)/2 = 17.46; a socket of 2·17 − 15.01 = 18.99.
		{"no socket between", func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) {
			r.Holes[1].X, r.Holes[1].Y = r.Holes[0].X+17, r.Holes[0].Y
		}, "no socket gets between the heads of holes 1 and 2: they are 17 mm apart and 17.5 mm are needed; a socket of 18.9 mm outer diameter would do",
			func(r *pattern.Reading, b []GuardBolt, s *GuardSizes) {
				r.Holes[1].X, r.Holes[1].Y = r.Holes[0].X+17, r.Holes[0].Y
				for i := range b {
					b[i].Head.Socket = 18.9
				}
			}},
		{"finger", sizes(func(s *GuardSizes) { s.Vents, s.VentWidth = 8, 6 }), "a finger gets into a slot 6 mm wide: 4 mm would do", sizes(func(s *GuardSizes) { s.Vents, s.VentWidth = 8, 4 })},
		{"slit", sizes(func(s *GuardSizes) { s.Vents, s.VentWidth = 8, 0.5 }), "1 mm would do", sizes(func(s *GuardSizes) { s.Vents, s.VentWidth = 8, 1 })},
		// 2π·22.5/(4+5) = 15.7.
		{"too many slots", sizes(func(s *GuardSizes) { s.Vents = 16 }), "16 slots leave too little of the cap's side: 15 slots would do", sizes(func(s *GuardSizes) { s.Vents = 15 })},
		{"no room for slots", sizes(func(s *GuardSizes) { s.Vents, s.Projects = 4, 15 }), "too low for slots", sizes(func(s *GuardSizes) { s.Projects = 15 })},
		{"nowhere", func(r *pattern.Reading, _ []GuardBolt, _ *GuardSizes) { r.Bore, r.PitchCircle = nil, nil }, "the shaft's place is not known: give it",
			func(r *pattern.Reading, _ []GuardBolt, s *GuardSizes) {
				r.Bore, r.PitchCircle, s.At = nil, nil, &r2.Vec{}
			}},
		{"no shaft", sizes(func(s *GuardSizes) { s.Shaft = 0 }), "a shaft's diameter cannot be 0", nil},
		{"NaN", sizes(func(s *GuardSizes) { s.Projects = math.NaN() }), "how far the shaft projects cannot be NaN", nil},
		{"Inf", sizes(func(s *GuardSizes) { s.Flange = mm(math.Inf(1)) }), "a flange's diameter cannot be +Inf", nil},
		{"far away", func(r *pattern.Reading, _ []GuardBolt, _ *GuardSizes) { r.Holes[3].X = 1e6 }, "no guard is so large", nil},
		{"two at once", sizes(func(s *GuardSizes) { s.Wall, s.RunLength = 1, 1 }), "3 mm would do; the cap's end", sizes(func(s *GuardSizes) { s.Wall, s.RunLength = 3, 2 })},
	} {
		t.Run(c.name, func(t *testing.T) {
			try := func(do change) error {
				r, b, s := press(), m8(6), usual()
				do(r, b, &s)
				_, err := NewGuard(r, b, s)
				return err
			}
			err := try(c.do)
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("got: %v\nwant: %s", err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), "\n") {
				t.Errorf("more than a line: %v", err)
			}
			if c.fix != nil {
				if err := try(c.fix); err != nil {
					t.Errorf("what would do does not: %v", err)
				}
			}
		})
	}
}

// anyGuard draws sizes, most of which can work.
func anyGuard(t *rapid.T) (*pattern.Reading, []GuardBolt, GuardSizes) {
	r := &pattern.Reading{PitchCircle: &pattern.PitchCircle{}}
	n := rapid.IntRange(2, 8).Draw(t, "holes")
	radius := rapid.Float64Range(30, 150).Draw(t, "radius")
	for i := range n {
		sin, cos := math.Sincos(2*math.Pi*float64(i)/float64(n) + rapid.Float64Range(-0.2, 0.2).Draw(t, "off"))
		r.Holes = append(r.Holes, pattern.Hole{ID: i + 1, X: radius * cos, Y: radius * sin, XU95: 0.1, YU95: 0.1})
	}
	if rapid.Bool().Draw(t, "bored") {
		r.Bore = &pattern.Feature{X: rapid.Float64Range(-2, 2).Draw(t, "x"), XU95: 0.1, Diameter: radius}
	}
	size := rapid.SampledFrom(thread.Clearances()[3:10]).Draw(t, "bolt")
	var bolts []GuardBolt
	for range n {
		bolts = append(bolts, GuardBolt{Bolt: size.Diameter, Hole: size.Holes[thread.Normal], Head: thread.HeadOf(size.Size, size.Diameter)})
	}
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	return r, bolts, GuardSizes{Shaft: f("shaft", 5, 1.4*radius), Projects: f("projects", 1, 200), RunRadius: f("radial", 1, 10), RunLength: f("length", 1.8, 10),
		Wall: f("wall", 2.8, 9), Thickness: f("thickness", 2.8, 10), Vents: rapid.IntRange(0, 10).Draw(t, "vents"), VentWidth: f("slot", 0.9, 4.2)}
}

// A guard that is made has what it promises, measured by sampling points and
// not by the code's own sums: the shaft is nowhere nearer than it says, no
// seat is cut, no corner is sharp.
func TestGuardKeepsItsPromises(t *testing.T) {
	made := 0
	rapid.Check(t, func(t *rapid.T) {
		g, err := NewGuard(anyGuard(t))
		if err != nil {
			return
		}
		made++
		// The inside of the cap in a plane through its axis.
		ri, depth, f := g.Shaft/2+g.RunRadius, g.Projects+g.RunLength, g.inner()
		for k := range 91 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 180)
			x, z := ri-f+f*cos, depth-f+f*sin
			off := math.Hypot(math.Max(x-g.Shaft/2, 0), math.Max(z-g.Projects, 0))
			if off < math.Min(g.RunRadius, g.RunLength)-1e-9 {
				t.Fatalf("the shaft's edge is %g mm from the cap at %d°", off, k)
			}
		}
		if g.Left() < leastLeft-1e-9 || *g.Foot < leastFoot-1e-9 || g.outer() < leastFoot-1e-9 || g.inner() < 1 || g.edge() < 1.5-1e-9 {
			t.Fatalf("left %g, foot %g, outer %g, inner %g, edge %g", g.Left(), *g.Foot, g.outer(), g.inner(), g.edge())
		}
		for _, b := range g.Bolts {
			for k := range 36 {
				sin, cos := math.Sincos(float64(k) * math.Pi / 18)
				rim := r2.Add(b.At, r2.Scale(math.Max(b.Head.Socket, b.Head.Washer)/2, r2.Vec{X: cos, Y: sin}))
				if d := r2.Norm(r2.Sub(rim, g.ShaftAt)); d < g.Shaft/2+g.RunRadius+g.Wall+*g.Foot {
					t.Fatalf("hole %d's socket meets the foot", b.ID)
				}
				if r2.Norm(rim) > *g.Flange/2-g.edge() {
					t.Fatalf("hole %d's washer hangs over the flange's rim", b.ID)
				}
			}
		}
		if v := g.Volume(); !(v > 0 && v < math.Pi/4**g.Flange**g.Flange*g.height()) {
			t.Fatalf("a volume of %g mm³", v)
		}
		if g.Vents > 0 && (g.VentWidth > 4 || float64(g.Vents)*(g.VentWidth+g.Wall) > 2*math.Pi*g.inside()) {
			t.Fatalf("%d slots of %g mm", g.Vents, g.VentWidth)
		}
	})
	if made == 0 {
		t.Error("no guard was made")
	}
	t.Log(made, "made")
}

// A number that would do does.
func TestGuardAdviceWorks(t *testing.T) {
	would := regexp.MustCompile(`(running clearance|wall|foot's radius) of ([0-9.]+) mm`)
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		r, b, s := anyGuard(t)
		if _, err := NewGuard(r, b, s); err != nil {
			text := err.Error()
			if strings.Contains(text, ";") || !strings.Contains(text, "meets") || !strings.HasSuffix(text, "would do") {
				return
			}
			for _, m := range would.FindAllStringSubmatch(text[strings.LastIndex(text, ":"):], -1) {
				v, _ := strconv.ParseFloat(m[2], 64)
				switch m[1] {
				case "running clearance":
					s.RunRadius = v
				case "wall":
					s.Wall = v
				default:
					s.Foot = &v
				}
			}
			tried++
			if _, again := NewGuard(r, b, s); again != nil && strings.Contains(again.Error(), "meets") {
				t.Fatalf("%v\nand then: %v", err, again)
			}
		}
	})
	t.Log(tried, "tried")
}

// The file says the sizes and the cautions, whatever the reading's name is.
func TestGuardSCADText(t *testing.T) {
	r := press()
	r.Source.File = "a\nb*/; cube(9);\x1b[31m.png"
	r.Holes[0].XU95 = 0.8
	s := usual()
	s.Vents = 6
	g, err := NewGuard(r, m8(6), s)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := g.WriteSCAD(&b); err != nil {
		t.Fatal(err)
	}
	// Comments are wrapped: their words are looked for.
	words := strings.Join(strings.Fields(strings.ReplaceAll(b.String(), "\n//", " ")), " ")
	for _, want := range []string{"shaft_diameter = 35;", "[0, 48, 9, ", "lock it out", "creeps with heat", "brittle when cold", "no substitute where a rated guard is required",
		"project no more than half the shaft's diameter", "WAC 296-806-30030; 29 CFR 1910.219(c)(4)", "more than half its diameter", "Local codes and licensed practice decide",
		"known to ±0.8 mm only", "2 mm over the face's rim", "4.45 mm in radius are left at worst", "the bore's centre", "washers of 16 mm and a socket of 19.9 mm"} {
		if !strings.Contains(words, want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "\ncube") || strings.Contains(b.String(), "\x1b") || strings.Contains(b.String(), "%!") {
		t.Error(b.String())
	}
}

// A file that cannot be written is told.
func TestGuardSCADError(t *testing.T) {
	g, err := NewGuard(press(), m8(6), usual())
	if err != nil {
		t.Fatal(err)
	}
	if err := g.WriteSCAD(fullDisk{}); err == nil {
		t.Error("no error")
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, fmt.Errorf("disk full: %w", io.ErrShortWrite) }
