package openscad

import (
	"bytes"
	"math"
	"testing"
	"time"

	"boltrose/pattern"
	"boltrose/pattern/draw"

	"gonum.org/v1/gonum/spatial/r3"
)

// The plate of a drawing compiles without a warning and is one closed body
// with the drawing's holes, as wide as said; its parameters work.
func TestPlateMesh(t *testing.T) {
	need(t)
	r := &pattern.Reading{PitchCircle: &pattern.PitchCircle{Diameter: 96}, Bore: &pattern.Feature{X: 0.3, Diameter: 51.5}}
	for i, deg := range []float64{90, 150, 210, 277, 330, 30} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		r.Holes = append(r.Holes, pattern.Hole{ID: i + 1, X: 48 * cos, Y: 48 * sin, Diameter: 8 + 0.1*float64(i)})
	}
	rimmed := *r
	rimmed.Rim, rimmed.Bore = &pattern.Feature{Y: -0.2, Diameter: 119}, nil
	for name, c := range map[string]struct {
		reading  *pattern.Reading
		opts     draw.Options
		settings []string
		larger   float64 // the holes, by the settings
		thick    float64
	}{
		"as measured, mirrored": {r, draw.Options{Mirror: true}, nil, 0, 5},
		"chosen, rim":           {&rimmed, draw.Options{Clearance: []float64{9}, Size: "M8", Allowance: 0.2}, nil, 0, 5},
		"each":                  {&rimmed, draw.Options{Clearance: []float64{9, 9, 9, 9, 9, 6.6}}, nil, 0, 5},
		"parameters":            {r, draw.Options{Clearance: []float64{9}}, []string{"allowance=0.5", "wall=8", "thickness=3", "bore=0"}, 0.5, 3},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := draw.New(c.reading, c.opts)
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			if err := STL(&b, d.WriteSCAD, time.Minute, c.settings...); err != nil {
				t.Fatal(err)
			}
			m := readSTL(t, &b)
			if m.leaks() != 0 || m.bodies() != 1 {
				t.Errorf("%d leaks, %d bodies", m.leaks(), m.bodies())
			}
			for i, h := range d.Holes {
				for k := range 8 {
					sin, cos := math.Sincos(0.1 + float64(k)*math.Pi/4)
					at := func(radius float64) r3.Vec {
						return r3.Vec{X: h.Centre.X + radius*cos, Y: h.Centre.Y + radius*sin, Z: -10}
					}
					radius := (h.Diameter + c.larger) / 2
					if n := len(m.hits(at(radius-0.001), r3.Vec{Z: 1})); n != 0 {
						t.Errorf("hole %d is closed at %g mm from its centre", i+1, radius-0.001)
					}
					if hits := m.hits(at(radius+0.1), r3.Vec{Z: 1}); len(hits) != 2 || math.Abs(math.Abs(hits[0]-hits[1])-c.thick) > 1e-4 {
						t.Errorf("beside hole %d the plate is met at %v", i+1, hits)
					}
				}
			}
		})
	}
}
