package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// shot is a camera over a flat sheet, written down independently of the fit:
// it turns first about the vertical, then about the horizontal axis of the
// picture.
type shot struct {
	o                optics
	w, h             int
	tilt, turn, roll float64 // radian
	away             float64 // mm, from the camera to where its axis meets the sheet
	aim              r2.Vec  // mm, where that is
	ratio            float64 // by how much x is seen larger than y
}

func phone() shot {
	return shot{o: optics{fx: 3000, fy: 3000, cx: 2000, cy: 1500}, w: 4000, h: 3000, tilt: 0.4, turn: 0.3, roll: 0.2, away: 400}
}

// px is where a point z mm above the sheet is seen.
func (s shot) px(mm r2.Vec, z float64) r2.Vec {
	x, y := (1+s.ratio/2)*(mm.X-s.aim.X), (1-s.ratio/2)*(mm.Y-s.aim.Y)
	// Camera axes over an upright sheet: right is x, down is −y, ahead is −z.
	cx, cy, cz := x, -y, -z
	sin, cos := math.Sincos(s.roll)
	cx, cy = cos*cx-sin*cy, sin*cx+cos*cy
	sin, cos = math.Sincos(s.turn)
	cx, cz = cos*cx+sin*cz, -sin*cx+cos*cz
	sin, cos = math.Sincos(s.tilt)
	cy, cz = cos*cy-sin*cz, sin*cy+cos*cz
	cz += s.away
	return s.o.px(r2.Vec{X: cx / cz, Y: cy / cz})
}

// border is the points of a frame of dots.
func border(w, h, pitch float64) []r2.Vec {
	var out []r2.Vec
	for x := -w / 2; x <= w/2+1e-9; x += pitch {
		out = append(out, r2.Vec{X: x, Y: -h / 2}, r2.Vec{X: x, Y: h / 2})
	}
	for y := -h/2 + pitch; y <= h/2-pitch+1e-9; y += pitch {
		out = append(out, r2.Vec{X: -w / 2, Y: y}, r2.Vec{X: w / 2, Y: y})
	}
	return out
}

func (s shot) set(points []r2.Vec) ControlSet {
	set := ControlSet{WidthPx: s.w, HighPx: s.h}
	for i, p := range points {
		set.Controls = append(set.Controls, Control{Name: fmt.Sprintf("dot %d", i+1), Px: s.px(p, 0), MM: p, SigmaPx: 0.05})
	}
	return set
}

func mustControls(t rapid.TB, set ControlSet) (*Plane, ControlFit) {
	t.Helper()
	p, fit, err := FromControls("test", set)
	if err != nil {
		t.Fatal(err)
	}
	return p, fit
}

// What a picture is measured exactly from is found exactly, at any tilt and
// with any lens that the points can show.
func TestControlsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := phone()
		s.tilt = rapid.Float64Range(-0.7, 0.7).Draw(t, "tilt")
		s.turn = rapid.Float64Range(-0.5, 0.5).Draw(t, "turn")
		s.roll = rapid.Float64Range(-3.2, 3.2).Draw(t, "roll")
		s.away = rapid.Float64Range(350, 900).Draw(t, "away")
		points := border(180, 240, 30)
		bends := rapid.IntRange(0, 2).Draw(t, "lens")
		if bends > 0 {
			s.o.k1 = rapid.SampledFrom([]float64{-0.1, -0.02, 0.05}).Draw(t, "k1")
		}
		if bends > 1 {
			s.o.k2 = rapid.SampledFrom([]float64{-0.03, 0.02}).Draw(t, "k2")
		}
		p, fit := mustControls(t, s.set(points))
		for _, at := range []r2.Vec{{}, {X: 40, Y: -70}, {X: -60, Y: 20}} {
			if off := r2.Norm(r2.Sub(p.MM(s.px(at, 0)), at)); off > 1e-5 {
				t.Fatalf("%v is off by %g mm", at, off)
			}
		}
		if len(fit.Outliers) > 0 || fit.NotFlat || fit.RMSPx > 1e-6 {
			t.Fatalf("%v left out, not flat %v, rms %g px", fit.Outliers, fit.NotFlat, fit.RMSPx)
		}
	})
}

// Four corners are enough where the lens is ideal, and three or a straight
// line are not.
func TestControlsFourCorners(t *testing.T) {
	s := phone()
	p, fit := mustControls(t, s.set([]r2.Vec{{X: -90, Y: -120}, {X: 90, Y: -120}, {X: 90, Y: 120}, {X: -90, Y: 120}}))
	for _, at := range []r2.Vec{{}, {X: 40, Y: -70}, {X: -60, Y: 20}} {
		if off := r2.Norm(r2.Sub(p.MM(s.px(at, 0)), at)); off > 1e-6 {
			t.Errorf("%v is off by %g mm", at, off)
		}
	}
	if fit.LensFitted != 0 || math.Abs(fit.K1) > 1e-9 || !(p.URel > 1e-5) {
		t.Errorf("of four points: %+v, scale to %g", fit, p.URel)
	}
}

func TestControlsRefuse(t *testing.T) {
	s := phone()
	corners := []r2.Vec{{X: -90, Y: -120}, {X: 90, Y: -120}, {X: 90, Y: 120}, {X: -90, Y: 120}}
	for _, c := range []struct {
		what, want string
		spoil      func(*ControlSet)
	}{
		{"three", "four known points", func(c *ControlSet) { c.Controls = c.Controls[:3] }},
		{"none", "four known points", func(c *ControlSet) { c.Controls = nil }},
		{"one on a scan", "two known points", func(c *ControlSet) { c.Scan, c.Controls = true, c.Controls[:1] }},
		{"no size", "no size", func(c *ControlSet) { c.WidthPx = 0 }},
		{"one twice", "dot 1 and dot 3 are at the same place", func(c *ControlSet) { c.Controls[2].MM = c.Controls[0].MM }},
		{"all at one place", "at one place in px", func(c *ControlSet) {
			for i := range c.Controls {
				c.Controls[i].Px = r2.Vec{X: 5, Y: 5}
			}
		}},
		{"a line", "on one line in mm", func(c *ControlSet) {
			for i := range c.Controls {
				c.Controls[i].MM = r2.Vec{X: float64(i), Y: 2 * float64(i)}
			}
		}},
		{"three on a line", "all but dot 4", func(c *ControlSet) { c.Controls[1].MM, c.Controls[1].Px = r2.Vec{}, s.px(r2.Vec{}, 0) }},
		{"two exchanged", "exchanged", func(c *ControlSet) {
			c.Controls[0].MM, c.Controls[1].MM = c.Controls[1].MM, c.Controls[0].MM
		}},
		{"mirrored", "the other way", func(c *ControlSet) {
			for i := range c.Controls {
				c.Controls[i].MM.Y *= -1
			}
		}},
		{"a mirrored scan", "the other way", func(c *ControlSet) {
			c.Scan = true
			for i := range c.Controls {
				c.Controls[i].MM.Y *= -1
			}
		}},
		{"not a number", "not all of these are numbers", func(c *ControlSet) { c.Controls[1].Px.X = math.NaN() }},
		{"infinite", "not all of these are numbers", func(c *ControlSet) { c.Controls[1].MM.Y = math.Inf(-1) }},
		{"negative uncertainty", "not all of these are numbers", func(c *ControlSet) { c.Controls[1].SigmaPx = -1 }},
		{"negative scale", "from 0 up", func(c *ControlSet) { c.ScaleU = -1 }},
		{"height", "height", func(c *ControlSet) { c.AboveMM = math.NaN() }},
		{"too coarse", "leave the scale open", func(c *ControlSet) {
			for i := range c.Controls {
				c.Controls[i].SigmaPx = 900
			}
		}},
	} {
		set := s.set(corners)
		c.spoil(&set)
		_, _, err := FromControls("known points", set)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "known points: ") {
			t.Errorf("%s: %v", c.what, err)
		}
	}
}

// Drawing the errors that a set states gives the spread that the plane states
// of a length (JCGM 101).
func TestControlsAgainstMonteCarlo(t *testing.T) {
	const draws = 120
	corners := []r2.Vec{{X: -90, Y: -120}, {X: 90, Y: -120}, {X: 90, Y: 120}, {X: -90, Y: 120}}
	six := append([]r2.Vec{{X: 0, Y: -130}, {X: 5, Y: 118}}, corners...)
	for _, c := range []struct {
		name   string
		points []r2.Vec
		px, mm float64
		scan   bool
		k1     float64
		scaleU float64
		above  float64
		aboveU float64
	}{
		{name: "four corners", points: corners, px: 0.5},
		{name: "four corners, sheet", points: corners, px: 0.1, mm: 0.3},
		{name: "six", points: six, px: 0.5},
		{name: "frame", points: border(180, 240, 30), px: 0.1, mm: 0.02},
		{name: "frame and lens", points: border(180, 240, 30), px: 0.1, k1: -0.05},
		{name: "frame, printed", points: border(180, 240, 30), px: 0.1, scaleU: 0.001},
		{name: "frame above", points: border(180, 240, 30), px: 0.1, above: 5, aboveU: 1},
		{name: "two on a scan", points: corners[:2], px: 0.5, scan: true},
		{name: "four on a scan", points: corners, px: 0.5, mm: 0.1, scan: true},
	} {
		random := rand.New(rand.NewPCG(7, 7))
		s := phone()
		s.o.k1 = c.k1
		if c.scan {
			s.tilt, s.turn, s.roll = 0, 0, 0 // the axes that differ are the scanner's
		}
		a, b := r2.Vec{X: -35, Y: -20}, r2.Vec{X: 30, Y: 40}
		var real, stated, within float64
		for range draws {
			set := s.set(c.points)
			set.Scan, set.ScaleU = c.scan, c.scaleU
			set.AboveMM, set.AboveU = c.above, c.aboveU
			grow := 1 + c.scaleU*random.NormFloat64()
			switch {
			case c.scan: // what is supposed of a scanner and of a lens
				s.ratio = DefaultScaleU * math.Sqrt2 * random.NormFloat64()
			case len(c.points) < leastK1:
				s.o.k1 = DefaultLensU * random.NormFloat64()
			}
			lower := c.above + c.aboveU*random.NormFloat64()
			for i := range set.Controls {
				k := &set.Controls[i]
				at := r2.Scale(grow, r2.Add(k.MM, r2.Vec{X: c.mm * random.NormFloat64(), Y: c.mm * random.NormFloat64()}))
				k.Px = r2.Add(s.px(at, 0), r2.Vec{X: c.px * random.NormFloat64(), Y: c.px * random.NormFloat64()})
				k.SigmaPx, k.SigmaMM = c.px, c.mm
			}
			p, _ := mustControls(t, set)
			pa, pb := s.px(a, -lower), s.px(b, -lower)
			along := r2.Unit(r2.Sub(p.MM(pb), p.MM(pa)))
			d := r2.Norm(r2.Sub(p.MM(pb), p.MM(pa))) - r2.Norm(r2.Sub(b, a))
			v := 0.0
			sa, sb := p.Shared(pa), p.Shared(pb)
			for k := range sa {
				x := r2.Dot(along, r2.Sub(sb[k], sa[k]))
				v += x * x
			}
			real += d * d / draws
			stated += v / draws
			if d*d <= 4*v {
				within += 1.0 / draws
			}
		}
		ratio := math.Sqrt(real / stated)
		t.Logf("%-20s spreads by %.4f mm, stated %.4f (%.2f); %.1f %% within ±2 u", c.name, math.Sqrt(real), math.Sqrt(stated), ratio, 100*within)
		if ratio < 0.65 || ratio > 1.25 || within < 0.9 {
			t.Errorf("%s: spreads by %.4f mm, stated %.4f; %.1f %% within ±2 u", c.name, math.Sqrt(real), math.Sqrt(stated), 100*within)
		}
	}
}
