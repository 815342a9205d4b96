package pattern

import (
	"bytes"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// keyed is the gearbox's drive end: six holes on 96 mm, one gap wider than
// the others, two with chamfers, a bore a little off and a rim.
func keyed() ([]Ring, Choice) {
	var rings []Ring
	c := Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Circle: true}
	for i, deg := range []float64{80, 140, 200, 260, 320, 25} {
		c.Holes = append(c.Holes, i)
		rings = append(rings, ring(i, r2.Add(r2.Vec{X: 105, Y: 150}, polar(48, deg)), 8.5))
	}
	c.Outer[1] = len(rings)
	rings = append(rings, ring(6, rings[1].Centre, 12))
	c.Bore = len(rings)
	rings = append(rings, ring(7, r2.Vec{X: 105.3, Y: 149.6}, 52))
	c.Rim = len(rings)
	rings = append(rings, ring(8, r2.Vec{X: 105.1, Y: 150}, 120))
	return rings, c
}

func polar(radius, deg float64) r2.Vec {
	return r2.Scale(radius, r2.Vec{X: math.Cos(deg * degree), Y: math.Sin(deg * degree)})
}

// ring is one as a scanner gives it: its own error, and three shared ones
// (scale, difference of the axes, shear).
func ring(id int, c r2.Vec, d float64) Ring {
	const scale, axes, shear = 0.003, 0.001, 0.0005
	return Ring{
		ID: id, Centre: c, Diameter: d,
		CentreCov:      [2][2]float64{{1e-4, 2e-5}, {2e-5, 2e-4}},
		DiameterU:      0.015,
		Shared:         []r2.Vec{r2.Scale(scale, c), {X: axes * c.X, Y: -axes * c.Y}, {X: shear * c.Y, Y: shear * c.X}},
		SharedDiameter: []float64{scale * d, 0, 0},
		CentrePx:       r2.Vec{X: 10 * c.X, Y: 3000 - 10*c.Y},
		RimSeen:        0.9,
	}
}

func TestKeyedPattern(t *testing.T) {
	rings, choice := keyed()
	r, err := New(rings, choice, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	back, err := ReadJSON(&b)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r, back) {
		t.Error("differs after reading back")
	}
}
