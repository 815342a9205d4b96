package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// facePlate is six holes about a bore in a photograph from a slant.
func facePlate() []Ring {
	aside := r2.Vec{X: 0.3, Y: 0.1}
	var rings []Ring
	for i := range 6 {
		rings = append(rings, Ring{ID: i + 1, Centre: polar(50, 60*float64(i)), Diameter: 9, Aside: aside,
			CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}, RimSeen: 1, Contrast: -30, Score: 14, Scatter: 0.02, RadiusPx: 45})
	}
	return rings
}

// edge is a circle of the bore, so deep below the face.
func edge(id int, diameter, deep float64, either bool) Ring {
	aside := r2.Vec{X: 0.3, Y: 0.1}
	return Ring{ID: id, Centre: r2.Scale(deep, aside), Diameter: diameter, Aside: aside, Either: either,
		CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}, RimSeen: 0.95, Contrast: -20, Score: 14, Scatter: 0.03, RadiusPx: 5 * diameter}
}

// The bore is its mouth, though a deeper edge is the clearer; a narrow chamfer
// leaves the bore what it is and is its edge in the face.
func TestBoreMouth(t *testing.T) {
	beside := edge(8, 44, 0, true)
	beside.Centre = r2.Vec{X: -0.4, Y: 1.2}
	groove := edge(7, 26, 0, true)
	groove.RimSeen, groove.Contrast = 0.68, 4
	for _, c := range []struct {
		name        string
		edges       []Ring
		bore, mouth int // IDs; 0: none
	}{
		{"alone", []Ring{edge(7, 40, 0, false)}, 7, 0},
		{"a seat", []Ring{edge(7, 30, 8, false), edge(8, 44, 0, true)}, 8, 8},
		{"two seats", []Ring{edge(7, 30, 8, false), edge(8, 44, 0, true), edge(9, 38, 3, true)}, 8, 8},
		{"a chamfer", []Ring{edge(7, 42, 1, false), edge(8, 44, 0, true)}, 7, 8},
		{"beside the view", []Ring{edge(7, 40, 4, false), beside}, 7, 0},
		{"a groove of turning", []Ring{edge(7, 26, 0, false), edge(8, 38, 0, true)}, 7, 0},
		{"only a groove", []Ring{groove}, 0, 0},
		{"only a mouth of either shade", []Ring{edge(7, 44, 0, true)}, 7, 0},
	} {
		rings := append(facePlate(), c.edges...)
		got, err := Choose(rings, ChooseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		id := func(i int) int {
			if i < 0 {
				return 0
			}
			return rings[i].ID
		}
		if len(got.Holes) != 6 || id(got.Bore) != c.bore || id(got.Mouth) != c.mouth {
			t.Errorf("%s: %d holes, bore %d, mouth %d; want %d and %d", c.name, len(got.Holes), id(got.Bore), id(got.Mouth), c.bore, c.mouth)
		}
	}
}

// A bore's edge and its chamfer's that a scan shows as one ragged mark are told
// apart: the bore is the inner one, and where only the outer one is told the mark has
// its centre, and a diameter that may be as much smaller. What is no rounder than
// the mark, hardly seen, far off or of another size leaves the bore what it is.
func TestBoreOfTwoEdges(t *testing.T) {
	ragged := edge(7, 41, 0, false)
	ragged.Centre, ragged.Scatter = r2.Vec{X: 0.4}, 0.25
	inner, outer := edge(8, 40, 0, true), edge(9, 42, 0, true)
	with := func(r Ring, change func(*Ring)) Ring { change(&r); return r }
	for _, c := range []struct {
		name  string
		edges []Ring
		bore  int
		x     float64 // of its centre
		u     float64 // of its diameter, beside its own
	}{
		{"none told apart", []Ring{ragged}, 7, 0.4, 0},
		{"both told apart", []Ring{ragged, inner, outer}, 8, 0, 0},
		{"the outer one first", []Ring{ragged, outer, inner}, 8, 0, 0},
		{"only the outer one", []Ring{ragged, outer}, 7, 0, 0.5},
		{"the outer one hardly off", []Ring{ragged, with(outer, func(r *Ring) { r.Diameter = 41.2 })}, 7, 0, 0.2},
		{"no rounder", []Ring{ragged, with(inner, func(r *Ring) { r.Scatter = 0.2 })}, 7, 0.4, 0},
		{"half of the rim", []Ring{ragged, with(inner, func(r *Ring) { r.RimSeen = 0.6 })}, 7, 0.4, 0},
		{"too small", []Ring{ragged, with(inner, func(r *Ring) { r.Diameter = 35 })}, 7, 0.4, 0},
		{"beside", []Ring{ragged, with(inner, func(r *Ring) { r.Centre.X = 6 })}, 7, 0.4, 0},
		{"nothing much", []Ring{ragged, with(inner, func(r *Ring) { r.Score = 0.8 })}, 7, 0.4, 0},
	} {
		rings := append(facePlate(), c.edges...)
		for i := range rings {
			rings[i].Aside = r2.Vec{} // a scan
		}
		got, err := Choose(rings, ChooseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Holes) != 6 || got.Bore < 0 || rings[got.Bore].ID != c.bore {
			t.Errorf("%s: %d holes, bore %+v; want the one of ID %d", c.name, len(got.Holes), got.Bore, c.bore)
			continue
		}
		if bore := OnPaper(rings, got)[got.Bore]; bore.Centre.X != c.x || math.Abs(bore.DiameterU-c.u) > 1e-9 {
			t.Errorf("%s: bore at x %g with a diameter ±%g; want %g and ±%g", c.name, bore.Centre.X, bore.DiameterU, c.x, c.u)
		}
	}
}

// What the centres of a bore's two edges differ by is in the ± of where it is.
func TestBoreOfTwoEdgesApart(t *testing.T) {
	ragged, inner, outer := edge(7, 41, 0, false), edge(8, 40, 0, true), edge(9, 42, 0, true)
	ragged.Scatter = 0.25
	u95 := map[float64]float64{}
	for _, off := range []float64{0, 0.2} {
		outer.Centre.X = off
		rings := append(facePlate(), ragged, inner, outer)
		for i := range rings {
			rings[i].Aside = r2.Vec{}
		}
		c, err := Choose(rings, ChooseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := New(rings, c, Options{})
		if err != nil {
			t.Fatal(err)
		}
		u95[off] = r.Bore.XU95
	}
	// Half the difference is its standard uncertainty.
	if want := math.Hypot(u95[0], 0.2); math.Abs(u95[0.2]-want) > 1e-9 {
		t.Errorf("the bore's x is known to ±%g, want ±%g", u95[0.2], want)
	}
}

// What is next to nothing in strength, contrast and crispness at once is no bore.
func TestNoBoreOfNothing(t *testing.T) {
	faint := edge(7, 40, 0, false)
	faint.RimSeen, faint.Contrast, faint.Score, faint.Scatter = 0.8, -1, 3, 0.4
	got, err := Choose(append(facePlate(), faint), ChooseOptions{})
	if err != nil || got.Bore >= 0 {
		t.Errorf("bore %d, %v", got.Bore, err)
	}
}

// A shade within a hole is not the hole, and the hole not its chamfer.
func TestShadeWithinHole(t *testing.T) {
	rings := facePlate()
	shade := rings[2]
	shade.ID, shade.Diameter, shade.Contrast = 7, 6.5, -1.6
	rings[2].Scatter = 0.06
	rings = append(rings, shade)
	got, err := Choose(rings, ChooseOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range got.Holes {
		if rings[h].ID == 7 {
			t.Error("the shade is taken for the hole")
		}
	}
}
