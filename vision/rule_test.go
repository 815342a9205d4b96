package vision

import (
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// ruleScan is a scan of a steel rule for tests.
type ruleScan struct {
	w, h         int
	pitch        float64 // px
	turn         float64 // degrees
	upright      bool    // lies along y
	width        float64 // px, of the lines
	short        float64 // px, length of the shortest lines
	dark, steel  float64
	noise        float64
	figures      bool
	missing      int // every so many lines one is worn away
	wander       float64
	twoGrads     bool // another graduation along the other edge
	brushed      float64
	seed         uint64
	ends, offset float64
}

func steelRule(seed uint64) ruleScan {
	return ruleScan{w: 1500, h: 420, pitch: 11.83, turn: 1.3, width: 1.9, short: 32, dark: 60, steel: 170, noise: 4, figures: true, seed: seed, ends: 60}
}

// frame returns the unit vectors along and across the rule and its corner.
func (r ruleScan) frame() (along, across, at r2.Vec) {
	sin, cos := math.Sincos(r.turn * math.Pi / 180)
	along, across = r2.Vec{X: cos, Y: sin}, r2.Vec{X: -sin, Y: cos}
	at = r2.Vec{X: 30, Y: 120}
	if r.upright {
		along, across = r2.Vec{X: -sin, Y: cos}, r2.Vec{X: cos, Y: sin}
		at = r2.Vec{X: 120, Y: 30}
	}
	return along, across, at
}

func (r ruleScan) render() *Picture {
	rng := rand.New(rand.NewPCG(r.seed, 1))
	w, h := r.w, r.h
	if r.upright {
		w, h = h, w
	}
	along, across, at := r.frame()
	g := image.NewGray(image.Rect(0, 0, w, h))
	edge := func(x float64) float64 { return min(max(x+0.5, 0), 1) }
	line := func(u, pitch float64) (n, in float64) {
		n = math.Round(u / pitch)
		d := math.Abs(u - n*pitch - r.wander*math.Sin(n/17))
		return n, edge(r.width/2 - d)
	}
	for y := range h {
		streak := r.brushed * rng.NormFloat64()
		for x := range w {
			p := r2.Sub(r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}, at)
			u, v := r2.Dot(p, along)-r.offset, r2.Dot(p, across)
			grey := 235.0 // the lid
			if v > 0 && v < 150 && u > -r.ends && u < float64(r.w)-120 {
				grey = r.steel + streak
				n, in := line(u, r.pitch)
				long := r.short
				switch k := int(math.Abs(n)); {
				case k%10 == 0:
					long *= 1.9
				case k%5 == 0:
					long *= 1.4
				}
				if n < 0 || r.missing > 0 && int(n)%r.missing == r.missing-1 {
					in = 0
				}
				if v < long {
					grey += in * (r.dark - grey)
				}
				if r.twoGrads {
					if _, in := line(u, r.pitch*25.4/16/1.07); v > 150-r.short {
						grey += in * (r.dark - grey)
					}
				}
				if f := math.Mod(u, 10*r.pitch); r.figures && v > 62 && v < 95 && f > 6 && f < 30 && int(f+v)%9 < 4 {
					grey = r.dark
				}
			}
			g.Pix[y*g.Stride+x] = uint8(math.Round(min(max(grey+r.noise*rng.NormFloat64(), 0), 255)))
		}
	}
	return &Picture{Grey: g}
}

func TestFindGraduations(t *testing.T) {
	for name, change := range map[string]func(*ruleScan){
		"plain":              func(*ruleScan) {},
		"straight":           func(r *ruleScan) { r.turn = 0 },
		"turned back":        func(r *ruleScan) { r.turn = -2.2 },
		"turned 5°":          func(r *ruleScan) { r.turn = 5; r.h = 620 },
		"upright":            func(r *ruleScan) { r.upright = true },
		"half millimetres":   func(r *ruleScan) { r.pitch, r.width = 5.93, 1.6 },
		"bright lines":       func(r *ruleScan) { r.dark, r.steel = 230, 90 },
		"worn lines":         func(r *ruleScan) { r.missing = 7 },
		"noisy":              func(r *ruleScan) { r.noise = 14 },
		"brushed steel":      func(r *ruleScan) { r.brushed = 12 },
		"two graduations":    func(r *ruleScan) { r.twoGrads = true },
		"coarse, 600 dpi":    func(r *ruleScan) { r.pitch, r.width, r.short = 23.66, 4, 60 },
		"faint":              func(r *ruleScan) { r.dark = 140 },
		"scanner 2 % off":    func(r *ruleScan) { r.pitch *= 1.02 },
		"an uneven carriage": func(r *ruleScan) { r.wander = 0.6 },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := steelRule(3)
			change(&r)
			nominal := math.Round(r.pitch*100) / 100 * 0.997
			if name == "scanner 2 % off" {
				nominal = 11.83
			}
			g, err := FindGraduations(r.render(), nominal, nominal)
			if err != nil {
				t.Fatal(err)
			}
			along, _, _ := r.frame()
			turn := math.Asin(r2.Cross(along, g.Along)) * 180 / math.Pi
			t.Logf("pitch %.5f ± %.5f px (true %.5f, off %.2g), %d lines, scatter %.3f px, turned %.4f°", g.Pitch, 2*g.UPitch, r.pitch, g.Pitch/r.pitch-1, g.Lines, g.Scatter, turn)
			if off := math.Abs(g.Pitch/r.pitch - 1); off > 1e-4 && off*r.pitch > 3*g.UPitch || off > 4e-4 && r.wander == 0 {
				t.Errorf("the pitch is off by %.3f %%", 100*off)
			}
			if math.Abs(turn) > 0.15 {
				t.Errorf("the rule lies %.3f° off", turn)
			}
		})
	}
}

func TestNoGraduations(t *testing.T) {
	r := steelRule(1)
	r.dark = r.steel
	r.figures = false
	wrong := steelRule(2)
	for name, c := range map[string]struct {
		pic    *Picture
		period float64
	}{
		"no lines":       {r.render(), 11.83},
		"another pitch":  {wrong.render(), 9.2},
		"too fine":       {wrong.render(), 2},
		"not a number":   {wrong.render(), math.NaN()},
		"infinite":       {wrong.render(), math.Inf(1)},
		"longer than it": {wrong.render(), 900},
		"tiny picture":   {&Picture{Grey: image.NewGray(image.Rect(0, 0, 5, 4))}, 10},
		"empty picture":  {&Picture{Grey: image.NewGray(image.Rectangle{})}, 10},
	} {
		if g, err := FindGraduations(c.pic, c.period, c.period); !errors.Is(err, ErrNoRule) {
			t.Errorf("%s: %+v, %v", name, g, err)
		}
	}
}
