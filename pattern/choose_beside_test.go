package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// What lies beside the holes of a face, and could be taken for them or for
// nothing.

// Another face in the scan has holes of the same drill: they are its own. A hole
// beside the face's rim that no other rim goes round is reported.
func TestChooseOneFaceOfTwo(t *testing.T) {
	for _, rimmed := range []bool{true, false} {
		f := rub(61)
		f.holes(96, 9, 0, 60, 120, 187, 240, 300)
		f.add("rim", middle, 120).Contrast = -30
		beside := r2.Add(middle, r2.Vec{X: 130})
		var others []string
		for i := range 3 {
			name := fmt.Sprintf("other %d", i)
			f.add(name, r2.Add(beside, polar(28+float64(i), 50*float64(i*i))), 9)
			others = append(others, name)
		}
		if rimmed {
			f.add("other rim", beside, 80).Contrast = -30
			others = nil
		}
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6, others...)
		if warned(c, "another face") != rimmed {
			t.Errorf("with a rim of its own: %v, warnings %q", rimmed, c.Warnings)
		}
	}
}

// Ragged marks are holes where five of them on one circle are stronger by far than
// all else that is of their size: holes out of focus, or seen through from a slant.
func TestRaggedHolesThatStandApart(t *testing.T) {
	for _, c := range []struct {
		name  string
		holes int
		other float64 // score of the strongest mark beside them
		size  float64 // mm, and its size
		want  bool
	}{
		{"five alone", 5, 10, 8, true},
		{"another as strong", 5, 18, 8, false},
		{"a large one as strong", 5, 18, 60, true},
		{"four alone", 4, 10, 8, false},
		{"pieces of rim", 6, 10, 8, false},
	} {
		f := rub(64)
		for i := range c.holes {
			r := f.add("hole", r2.Add(middle, polar(40, 360*float64(i)/float64(c.holes))), 9)
			if r.Scatter, r.RimSeen = 0.35, 0.85; c.name == "pieces of rim" {
				r.RimSeen = 0.65
			}
		}
		other := f.add("other", r2.Add(middle, r2.Vec{X: 62, Y: 30}), c.size)
		other.Score, other.Scatter, other.RimSeen = c.other, 0.04*c.size, 0.6
		got, err := Choose(f.rings, ChooseOptions{})
		if circle := err == nil && got.Circle && len(got.Holes) == c.holes; circle != c.want {
			t.Errorf("%s: a circle of %d: %v", c.name, c.holes, circle)
		}
	}
}

// A hole that is faint in its counterbore is a member of its circle: the
// counterbore, which is the clearer, is none of another size. A chamfer's edge gives
// way to no hole, and a ring within a larger hole that is hardly seen is none.
func TestSupportFaintHoleInCounterbore(t *testing.T) {
	for _, c := range []struct {
		name   string
		outer  float64 // mm
		change func(*Ring)
		inner  bool
	}{
		{"counterbore", 9.3, func(*Ring) {}, true},
		{"chamfer", 6.1, func(*Ring) {}, false},
		{"hardly seen", 9.3, func(r *Ring) { r.RimSeen = 0.5 }, false},
		{"another size", 9.3, func(r *Ring) { r.Diameter = 5.8 }, false},
		{"beside", 9.3, func(r *Ring) { r.Centre.X += 0.6 }, false},
	} {
		f := rub(63)
		f.holes(100, 5.3, 0, 60, 120, 180, 240)
		at := r2.Add(middle, polar(50, 300))
		f.add("outer", at, c.outer)
		faint := f.add("inner", at, 5.3)
		faint.Score, faint.RimSeen = 6.5, 0.7
		c.change(faint)
		choosing := &chooser{rings: f.rings, out: Choice{Reasons: make([]string, len(f.rings))}}
		choosing.admit()
		s := choosing.support(circle.Circle{Centre: middle, Radius: 50}, 0)
		if inner := slices.Contains(s.members, 6); inner != c.inner || len(s.members) != 6 {
			t.Errorf("%s: members %v; the inner ring is one: %v", c.name, s.members, inner)
		}
	}
}

// The other face is told of though its holes are too large for holes of this one.
func TestChooseLargerFaceBeside(t *testing.T) {
	f := rub(74)
	f.holes(60, 7, 0, 60, 120, 180, 240, 300)
	f.add("rim", middle, 80).Contrast = -30
	beside := r2.Add(middle, r2.Vec{X: 110})
	f.add("other", r2.Add(beside, r2.Vec{Y: 40}), 16)
	if c := f.choose(t, ChooseOptions{}); warned(c, "another face") {
		t.Errorf("warnings %q", c.Warnings)
	}
	f.add("other rim", beside, 124).Contrast = -30
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 6)
	if !warned(c, "another face") {
		t.Errorf("warnings %q", c.Warnings)
	}
}

// A dowel's hole is small, and takes less lead: it is a hole where it is plainer
// than all that texture made of the other shade, which is none.
func TestChooseDowelBesideTexture(t *testing.T) {
	for _, plain := range []bool{true, false} {
		f := rub(62)
		f.holes(96, 9, 0, 60, 120, 187, 240, 300)
		r := f.add("dowel", r2.Add(middle, polar(31, 20)), 5)
		r.Contrast, r.Score = 20, 14
		r = f.add("texture", r2.Add(middle, polar(36, 220)), 6)
		r.Contrast, r.RimSeen, r.Score = -9, 0.62, 9
		var others []string
		if plain {
			others = []string{"dowel"}
		} else {
			r.RimSeen, r.Score = 0.95, 22
		}
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 6, others...)
	}
}

// Small holes between the large ones, each rubbed by half: one would be chance,
// three of one size in one place are not.
func TestChooseHalfRubbedAlternating(t *testing.T) {
	for _, c := range []struct {
		places []float64 // ° after a large hole
		sizes  []float64 // mm
		u      float64   // mm, of these sizes
		holes  bool
	}{
		{[]float64{45, 45, 45, 45}, []float64{5, 5.05, 4.95, 5}, 0.04, true},
		{[]float64{45, 45, 45}, []float64{5, 5.05, 4.95}, 0.04, true},
		{[]float64{45, 45}, []float64{5, 5.05}, 0.04, false},
		{[]float64{45, 20, 70, 33}, []float64{5, 5, 5, 5}, 0.04, false},
		{[]float64{45, 45, 45, 45}, []float64{5, 6, 4, 7}, 0.04, false},
		{[]float64{45, 45, 45, 45}, []float64{5, 5.2, 4.7, 5.3}, 0.1, true},
		{[]float64{45, 45, 45, 45}, []float64{5, 5.4, 4.6, 6}, 0.1, false},
	} {
		f := rub(63)
		f.holes(110, 11, 0, 90, 180, 270)
		var small []string
		for i, after := range c.places {
			name := fmt.Sprintf("small %d", i)
			r := f.add(name, r2.Add(middle, polar(55, 90*float64(i)+after)), c.sizes[i])
			r.RimSeen, r.Contrast, r.Score, r.Scatter, r.DiameterU = 0.5, 9, 7, 0.14, c.u
			small = append(small, name)
		}
		if !c.holes {
			small = nil
		}
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 4, small...)
	}
}

// A circle drawn beside the holes is as clear as they are, and of their size: but it
// is a line, with the same on both of its sides. Where the holes are lines as well,
// printed by the dirt on their rims, it is one of them.
func TestChooseNoDrawnCircle(t *testing.T) {
	for _, c := range []struct {
		holes, drawn float64 // grey levels of their steps
		others       []string
	}{{150, 0, nil}, {150, 20, nil}, {150, 120, []string{"drawn"}}, {10, 0, []string{"drawn"}}} {
		f := rub(69)
		f.holes(96, 9, 0, 60, 120, 180, 240, 300)
		f.add("drawn", r2.Add(middle, polar(26, 75)), 9)
		for i := range f.rings {
			f.rings[i].Step = c.holes
		}
		f.rings[6].Step = c.drawn
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 6, c.others...)
	}
}

// The bore shares a circle with any two holes: what the face's rim goes round evenly
// is none of them.
func TestChooseBoreIsNoHole(t *testing.T) {
	f := rub(70)
	f.holes(60, 11, 20, 200)
	f.add("bore", r2.Add(middle, r2.Vec{Y: 2}), 24)
	f.add("hole 2", r2.Add(middle, polar(30, 95)), 11).Contrast = -40
	rim := f.add("rim", r2.Add(middle, r2.Vec{Y: 2}), 100)
	rim.Contrast = -30
	c := f.choose(t, ChooseOptions{})
	if slices.Contains(f.namesOf(c.Holes), "bore") || c.Circle {
		t.Errorf("%v, pitch circle %v\n%s", f.namesOf(c.Holes), c.Circle, f.explain(c))
	}
}

// What the pencil left out beside a hole is a pale patch, that may look more like a
// ring than the hole does.
func TestChooseHalfRubbedBesidePatches(t *testing.T) {
	f := rub(68)
	f.holes(110, 11, 0, 90, 180, 270)
	for i := range 4 {
		at := r2.Add(middle, polar(55, 90*float64(i)+45))
		r := f.add(fmt.Sprintf("hole %d", 4+i), at, 5)
		r.RimSeen, r.Contrast, r.Score, r.Scatter = 0.5, 9, 7, 0.14
		r = f.add("patch", r2.Add(at, r2.Vec{X: 1.2, Y: -0.7}), 12+1.5*float64(i))
		r.RimSeen, r.Contrast, r.Score, r.Scatter = 0.6, 10, 9, 0.4
	}
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 8)
}

// The ends of a slot beside the holes are none. Where one of several holes shows
// twice, it is told.
func TestChooseSlots(t *testing.T) {
	f := rub(64)
	f.holes(96, 9, 0, 60, 120, 187, 240, 300)
	for i := range 2 {
		r := f.add("slot", r2.Add(middle, r2.Vec{X: 20 + 5*float64(i), Y: 3}), 9)
		r.RimSeen = 0.7
	}
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 6)
	if warned(c, "twice") {
		t.Errorf("warnings %q", c.Warnings)
	}

	f = rub(64)
	f.holes(96, 9, 0, 60, 120, 187, 240, 300)
	f.add("copy", r2.Add(f.rings[2].Centre, r2.Vec{X: 1.8}), 9).Score *= 0.7
	c = f.choose(t, ChooseOptions{})
	if !warned(c, "one hole shows twice, 1.8 mm apart") {
		t.Errorf("warnings %q", c.Warnings)
	}
	// It may be where its copy is: across, its ± reaches there, along it does not.
	r := mustNew(t, f.rings, c, Options{})
	for _, h := range r.Holes {
		twice := math.Abs(h.X-f.rings[2].Centre.X+middle.X) < 0.5 && math.Abs(h.Y-f.rings[2].Centre.Y+middle.Y) < 0.5
		if twice != (h.XU95 > 1.5) || h.YU95 > 0.6 {
			t.Errorf("hole %d, shown twice: %v, is known to ±%.2f, ±%.2f mm", h.ID, twice, h.XU95, h.YU95)
		}
	}
}

// Where no circle is found, the face's edge goes round what is faint too, and
// what is in its middle is the bore.
func TestChooseFreeFace(t *testing.T) {
	f := rub(65)
	f.add("rim", middle, 125).Contrast = -14
	for i := range 3 {
		r := f.add("faint", r2.Add(middle, polar(30+5*float64(i), 70*float64(i))), 7+2*float64(i))
		r.RimSeen, r.Scatter, r.Score = 0.7, 0.3, 9
	}
	if c, err := Choose(f.rings, ChooseOptions{}); !errors.Is(err, ErrNoPattern) {
		t.Errorf("%v, %v\n%s", f.namesOf(c.Holes), err, f.explain(c))
	}

	f = rub(66)
	f.add("rim", middle, 125).Contrast = -14
	f.add("bore", r2.Add(middle, r2.Vec{X: 0.3}), 40)
	f.add("hole 0", r2.Add(middle, polar(45, 20)), 9)
	f.add("hole 1", r2.Add(middle, polar(45, 200)), 9)
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 2)
	if f.nameOf(c.Bore) != "bore" || f.nameOf(c.Rim) != "rim" {
		t.Errorf("bore %s, rim %s", f.nameOf(c.Bore), f.nameOf(c.Rim))
	}
}

// From a slant, holes are put on the edge that all of them show, so that none is
// seen aside of the others. A scan sees none aside, and takes the clearest.
func TestChooseSameEdges(t *testing.T) {
	for _, c := range []struct {
		slant, ragged float64 // ragged: scatter of the mouths, mm
		added         []int
		bottoms       int
	}{
		{0.4, 0.05, nil, 0},
		{0, 0.05, nil, 2},
		{0.4, 0.13, nil, 6},      // a mixture of two edges is none to be put on
		{0.4, 0.05, []int{4}, 6}, // what the person added stays, and the others join it
	} {
		slant := c.slant
		f := rub(67)
		aside := r2.Vec{X: slant}
		for i := range 6 {
			at := r2.Add(middle, polar(48, 60*float64(i)))
			f.add("mouth", at, 10).Aside = aside
			f.add("bottom", r2.Add(at, r2.Scale(0.4, aside)), 9.2).Aside = aside
			clear, other := &f.rings[2*i], &f.rings[2*i+1]
			if i == 1 || i == 4 {
				clear, other = other, clear
			}
			clear.Score, other.Score, other.Contrast = 30, 12, 18
			f.rings[2*i].Scatter = c.ragged
		}
		choice := f.choose(t, ChooseOptions{Added: c.added})
		got := f.namesOf(choice.Holes)
		if n, _ := slices.BinarySearch(got, "mouth"); n != c.bottoms || len(got) != 6 {
			t.Errorf("%+v: %v\n%s", c, got, f.explain(choice))
		}
	}
}

// In a rubbing an edge that two of six holes show aside of the others', or as
// something within them, is not where those holes are.
func TestChooseSameEdgesOfScan(t *testing.T) {
	for _, within := range []struct{ diameter, aside float64 }{{9.2, 0.3}, {8, 0}} {
		f := rub(68)
		for i := range 6 {
			at := r2.Add(middle, polar(48, 60*float64(i)))
			f.add(fmt.Sprintf("hole %d", i), at, 10)
			if i == 1 || i == 4 {
				f.add("within", r2.Add(at, r2.Vec{X: within.aside}), within.diameter).Score = 30
				f.rings[len(f.rings)-2].Score = 12
			}
		}
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 6)
	}
}
