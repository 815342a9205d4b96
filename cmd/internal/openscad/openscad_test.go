package openscad

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/pattern/thread"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func need(t *testing.T) {
	t.Helper()
	if Installed() {
		return
	}
	if os.Getenv("BOLTROSE_TESTFILES") != "" {
		t.Fatal("openscad is not installed")
	}
	t.Skip("openscad is not installed")
}

// meshOf makes a mesh with 32 sides to a full circle: the 96 of a file take ten
// times as long.
func meshOf(t *testing.T, g *draw.Guard, settings ...string) mesh {
	t.Helper()
	var b bytes.Buffer
	if err := STL(&b, g.WriteSCAD, time.Minute, append([]string{"$fn=32"}, settings...)...); err != nil {
		t.Fatal(err)
	}
	return readSTL(t, &b)
}

// The meshes are closed and of one piece, have the holes where the reading has
// them and as wide as said, the shaft's room, the wall and the volume.
func TestGuardMesh(t *testing.T) {
	need(t)
	small, two := 2.0, r2.Vec{X: 4, Y: -3}
	for name, c := range map[string]struct {
		radius float64
		deg    []float64
		bolt   string
		sizes  draw.GuardSizes
	}{
		// Handed: its mirror image does not fit.
		"six holes, slots": {48, []float64{90, 150, 210, 277, 330, 30}, "M8", draw.GuardSizes{Shaft: 35, Projects: 40, RunRadius: 5, RunLength: 5, Wall: 5, Thickness: 5, Vents: 6, VentWidth: 4}},
		"low, off centre":  {40, []float64{80, 200, 310}, "M6", draw.GuardSizes{Shaft: 25, Projects: 2, RunRadius: 3, RunLength: 4, Wall: 4, Thickness: 6, Foot: &small, At: &two, Allowance: 0.3}},
	} {
		t.Run(name, func(t *testing.T) {
			r := &pattern.Reading{PitchCircle: &pattern.PitchCircle{}}
			size, err := thread.ClearanceOf(c.bolt)
			if err != nil {
				t.Fatal(err)
			}
			var bolts []draw.GuardBolt
			for i, deg := range c.deg {
				sin, cos := math.Sincos(deg * math.Pi / 180)
				r.Holes = append(r.Holes, pattern.Hole{ID: i + 1, X: c.radius * cos, Y: c.radius * sin})
				bolts = append(bolts, draw.GuardBolt{Bolt: size.Diameter, Hole: size.Holes[thread.Normal], Head: thread.HeadOf(size.Size, size.Diameter)})
			}
			g, err := draw.NewGuard(r, bolts, c.sizes)
			if err != nil {
				t.Fatal(err)
			}
			m := meshOf(t, g)
			if m.leaks() != 0 || m.bodies() != 1 {
				t.Errorf("%d leaks, %d bodies", m.leaks(), m.bodies())
			}
			if v, want := m.volume(), sliced(g, math.Sin(2*math.Pi/32)*32/2/math.Pi, math.Tan(math.Pi/32)*32/math.Pi); math.Abs(v/want-1) > 0.001 {
				t.Errorf("a volume of %.0f mm³, in slices %.0f", v, want)
			} else {
				t.Logf("volume %.0f mm³, in slices %.0f (%+.3f %%); %d triangles", v, want, 100*(v/want-1), len(m))
			}
			if v, want := g.Volume(), sliced(g, 1, 1); math.Abs(v/want-1) > 1e-4 {
				t.Errorf("a volume of %.1f mm³ by formula, in slices %.1f", v, want)
			}

			up := r3.Vec{Z: 1}
			s := c.sizes
			for i, h := range r.Holes {
				// Through the hole the way is free; half a millimetre past its wall
				// is the flange's thickness of material. A little off the polygons'
				// corners and the triangles' edges.
				for k := range 8 {
					sin, cos := math.Sincos(0.1 + float64(k)*math.Pi/4)
					at := func(radius float64) r3.Vec {
						return r3.Vec{X: h.X + radius*cos, Y: h.Y + radius*sin, Z: -10}
					}
					half := (bolts[i].Hole + s.Allowance) / 2
					if n := len(m.hits(at(half-0.01), up)); n != 0 {
						t.Errorf("hole %d is closed %d times at %g mm from its centre", h.ID, n, half-0.01)
					}
					hits := m.hits(at(half+0.5), up)
					if len(hits) != 2 || math.Abs(math.Abs(hits[1]-hits[0])-s.Thickness) > 1e-4 {
						t.Errorf("beside hole %d the flange is met at %v", h.ID, hits)
					}
				}
			}
			// From the shaft's skin outwards: the running clearance, then the wall;
			// from its end upwards too.
			axis := g.ShaftAt
			for k := range 12 {
				sin, cos := math.Sincos(0.2 + float64(k)*math.Pi/6) // clear of the slots
				out := r3.Vec{X: cos, Y: sin}
				skin := r3.Vec{X: axis.X + s.Shaft/2*cos, Y: axis.Y + s.Shaft/2*sin, Z: s.Projects / 2}
				if d := m.first(skin, out); d < s.RunRadius-1e-4 || d > s.RunRadius+0.15 {
					t.Errorf("the cap is %g mm from the shaft's side", d)
				}
				end := r3.Vec{X: axis.X + 1 + cos, Y: axis.Y + sin, Z: s.Projects}
				hits := m.hits(end, up)
				if len(hits) != 2 || math.Abs(math.Min(hits[0], hits[1])-s.RunLength) > 1e-4 || math.Abs(math.Abs(hits[0]-hits[1])-s.Wall) > 1e-4 {
					t.Errorf("above the shaft's end the cap is met at %v", hits)
				}
			}
			if s.Vents > 0 {
				// Along a slot's middle the way out is free; its sides are 4 mm apart.
				z := s.Projects / 2
				for k := range s.Vents {
					sin, cos := math.Sincos((float64(k) + 0.5) * 2 * math.Pi / float64(s.Vents))
					if d := m.first(r3.Vec{X: axis.X, Y: axis.Y, Z: z}, r3.Vec{X: cos, Y: sin}); !math.IsInf(d, 1) {
						t.Errorf("slot %d is closed after %g mm", k+1, d)
					}
					middle := r3.Vec{X: axis.X + 25*cos, Y: axis.Y + 25*sin, Z: z}
					width := m.first(middle, r3.Vec{X: -sin, Y: cos}) + m.first(middle, r3.Vec{X: sin, Y: -cos})
					if width > s.VentWidth+1e-3 || width < s.VentWidth-0.1 {
						t.Errorf("slot %d is %g mm wide", k+1, width)
					}
				}
			}
		})
	}
}

// sliced is a guard's volume, added up in slices. solid and hollow are the
// areas, as shares of a circle's, of the polygons that stand for it: those in
// it, and those round it.
func sliced(g *draw.Guard, solid, hollow float64) float64 {
	inside := g.Shaft/2 + g.RunRadius
	outside, depth := inside+g.Wall, g.Projects+g.RunLength
	height := depth + g.Wall
	inner := math.Min(g.RunRadius, g.RunLength)
	outer := math.Min(inner+g.Wall, height-g.Thickness-*g.Foot)
	edge := math.Min(g.Thickness/2, 3)
	// rounded is how much less than full a radius is, so far below a rounded end.
	rounded := func(below, by float64) float64 {
		if below >= by {
			return 0
		}
		return by - math.Sqrt(by*by-(by-below)*(by-below))
	}
	const steps = 100_000
	dz, v := height/steps, 0.0
	for i := range steps {
		z := (float64(i) + 0.5) * dz
		radius := *g.Flange/2 - rounded(g.Thickness-z, edge)
		if z > g.Thickness {
			radius = outside - rounded(height-z, outer) + rounded(z-g.Thickness, *g.Foot)
		}
		v += solid * math.Pi * radius * radius * dz
		if z < depth {
			radius = inside - rounded(depth-z, inner)
			v -= hollow * math.Pi * radius * radius * dz
		}
	}
	for _, b := range g.Bolts {
		v -= hollow * math.Pi / 4 * math.Pow(b.Hole+g.Allowance, 2) * g.Thickness
	}
	if w := g.VentWidth; g.Vents > 0 {
		from := g.Thickness + *g.Foot + g.Wall/2
		to := math.Min(depth-inner, height-outer) - g.Wall/2
		v -= float64(g.Vents) * ((to-from-w)*w + math.Pi/4*w*w) * g.Wall // nearly: the wall is curved
	}
	return v
}

// In the file too, sizes that cannot work are refused; each with openscad's
// own message.
func TestFileRefuses(t *testing.T) {
	need(t)
	r := &pattern.Reading{PitchCircle: &pattern.PitchCircle{}, Holes: []pattern.Hole{{ID: 1, Y: 40}, {ID: 2, Y: -40}}}
	b := draw.GuardBolt{Bolt: 8, Hole: 9, Head: thread.HeadOf("M8", 8)}
	g, err := draw.NewGuard(r, []draw.GuardBolt{b, b}, draw.GuardSizes{Shaft: 30, Projects: 30, RunRadius: 4, RunLength: 4, Wall: 4, Thickness: 4, VentWidth: 4})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ setting, want string }{
		{"wall=2", "the wall is too thin"},
		{"running_radius=1", "would touch the shaft"},
		{"shaft_diameter=45", "meets a bolt's head"},
		{"flange_diameter=80", "too small for the holes"},
		{"vents=4;vent_width=6", "a finger gets into the slots"},
	} {
		err := STL(io.Discard, g.WriteSCAD, time.Minute, append([]string{"$fn=8"}, strings.Split(c.setting, ";")...)...)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", c.setting, err)
		}
	}
}

// What goes wrong is told in one line.
func TestErrors(t *testing.T) {
	need(t)
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	for _, c := range []struct {
		scad  string
		limit time.Duration
		want  string
	}{
		{"cube(", time.Minute, "ERROR: Parser error"},
		{"cube(nothing);", time.Minute, "WARNING: Ignoring unknown variable"},
		{"function f(n) = n < 1 ? 1 : f(n-1) + f(n-2); cube(f(60));", 200 * time.Millisecond, "not done after 200ms"},
	} {
		err := STL(io.Discard, text(c.scad), c.limit)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", c.scad, err)
		}
	}
	broken := errors.New("broken")
	if err := STL(io.Discard, func(io.Writer) error { return broken }, time.Minute); !errors.Is(err, broken) {
		t.Error(err)
	}
}

func TestMissing(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	if err := STL(io.Discard, nil, time.Minute); !errors.Is(err, ErrMissing) {
		t.Error(err)
	}
}
