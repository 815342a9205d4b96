package pattern

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Faces as they are found on old machines, each with what could be taken for
// its holes.

// Pads stand round the holes of a casting, and are rubbed darker and clearer
// than the holes in them, a little aside.
func TestChooseHolesInBosses(t *testing.T) {
	f := rub(41)
	f.holes(96, 9, 10, 100, 190, 280)
	for i := range 4 {
		boss := f.add("boss", r2.Add(middle, r2.Add(polar(48, float64(10+90*i)), polar(1.2, float64(77*i)))), 20)
		boss.Contrast, boss.Score = -40, 60
	}
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 4)
	// The same dark discs with nothing in them are what there is.
	f = rub(41)
	for i := range 4 {
		f.add(fmt.Sprintf("hole %d", i), r2.Add(middle, polar(48, float64(10+90*i))), 20).Contrast = -40
	}
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 4)
}

// A pit is a clear round mark too, but no bolt's. Half as large a hole may be
// one: it is told.
func TestChooseLeavesPits(t *testing.T) {
	f := rub(42)
	f.holes(96, 9, 0, 60, 120, 187, 240, 300)
	f.add("pit", r2.Add(middle, polar(30, 20)), 2.2)
	f.add("pit", r2.Add(middle, polar(57, 150)), 3)
	f.add("grease hole", r2.Add(middle, polar(33, 210)), 5)
	f.add("rim", middle, 130).Contrast = -30
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 6, "grease hole")
	if len(c.OffCircle) != 1 {
		t.Errorf("off the circle: %v", f.namesOf(c.OffCircle))
	}
	// Who says how many there are wants no other.
	f.wantHoles(t, f.choose(t, ChooseOptions{Holes: 6}), 6)
}

// The holes of a second circle are holes although one is not quite as clear as
// the first circle's.
func TestChooseSecondCircle(t *testing.T) {
	f := rub(43)
	f.holes(128, 10, 10, 100, 190, 280)
	var inner []string
	for i := range 4 {
		name := fmt.Sprintf("inner %d", i)
		inner = append(inner, name)
		r := f.add(name, r2.Add(middle, polar(47, float64(55+90*i))), 6)
		r.Contrast = 31
		if i == 2 {
			r.Contrast, r.Scatter = 24, 0.06
		}
	}
	f.add("rim", middle, 153).Contrast = -30
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 4, inner...)
}

// A hole of another size that lies on the pitch circle is on it.
func TestChooseAnotherSizeOnTheCircle(t *testing.T) {
	f := rub(44)
	f.holes(110, 12, 0, 90, 180, 270)
	for i := range f.rings {
		f.rings[i].RimSeen = 0.75
	}
	r := f.add("small", r2.Add(middle, polar(55.1, 45)), 6)
	r.RimSeen, r.Score = 0.7, 13
	// What texture makes of the large size about it was there first.
	r = f.add("texture", r2.Add(middle, polar(55, 47)), 11.8)
	r.RimSeen, r.Score, r.Contrast, r.Scatter = 0.6, 7, 8, 0.4
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 4, "small")
	if len(c.OffCircle) > 0 {
		t.Errorf("off the circle: %v", f.namesOf(c.OffCircle))
	}
}

// Three holes of which one is three times as clear as the others, which are
// clear as well.
func TestChooseOneClearest(t *testing.T) {
	f := rub(45)
	f.holes(112, 7, 20, 164, 236)
	for i, contrast := range []float64{60, 24, 18} {
		f.rings[i].Contrast = contrast
	}
	f.rings[0].RimSeen, f.rings[0].Score = 1, 30
	f.add("rim", middle, 121).Contrast = -30
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 3)
}

// What texture closes to a circle on the pitch circle, of about the holes'
// size, is none; a crisp arc there is one, and so is a faint rim that is not
// ragged and of the very size.
func TestChooseFaintOnes(t *testing.T) {
	for _, c := range []struct {
		name                                     string
		diameter, seen, contrast, score, scatter float64
		hole                                     bool
	}{
		{"texture", 11.5, 0.62, 12, 7, 0.42, false},
		{"texture of the size", 12, 0.6, 10, 7, 0.35, false},
		{"a crisp arc", 12.1, 0.5, 8, 9, 0.1, true},
		{"faint", 12.02, 0.65, 9, 6, 0.2, true},
		{"ragged", 11.7, 0.9, 16, 11, 0.5, true},
	} {
		f := rub(46)
		f.holes(110, 12, 0, 60, 120, 180, 240)
		r := f.add("that", r2.Add(middle, polar(55, 300)), c.diameter)
		r.RimSeen, r.Contrast, r.Score, r.Scatter = c.seen, c.contrast, c.score, c.scatter
		var others []string
		if c.hole {
			others = []string{"that"}
		}
		t.Run(c.name, func(t *testing.T) { f.wantHoles(t, f.choose(t, ChooseOptions{}), 5, others...) })
	}
}

// A number of holes makes no hole of what is none.
func TestChooseNumberForcesNothing(t *testing.T) {
	f := rub(47)
	f.holes(110, 12, 0, 60, 120, 180, 240)
	r := f.add("texture", r2.Add(middle, polar(54.5, 300)), 8)
	r.RimSeen, r.Contrast, r.Score, r.Scatter = 0.55, 6, 6, 0.4
	if c, err := Choose(f.rings, ChooseOptions{Holes: 6}); !errors.Is(err, ErrNoPattern) || !strings.Contains(err.Error(), "5 can be trusted") {
		t.Errorf("%v, %v", f.namesOf(c.Holes), err)
	}
}

// Without a pitch circle, what goes round other marks is the part's edge.
func TestChooseFreeLeavesTheEdge(t *testing.T) {
	f := rub(48)
	f.add("hole 0", r2.Add(middle, r2.Vec{X: -30}), 12)
	f.add("hole 1", r2.Add(middle, r2.Vec{X: 25, Y: 9}), 7)
	f.add("rim", middle, 121).Score = 60
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 2)
	f.wantHoles(t, f.choose(t, ChooseOptions{Free: true}), 0, "rim")
}

// Where the weightiest circle does not stand a closer look, the next one may.
func TestChooseTheNextCircle(t *testing.T) {
	f := rub(49)
	f.holes(96, 9, 0, 120, 240)
	// Weak rings of the holes' size, many of them on one large circle.
	for i := range 24 {
		r := f.add("weak", r2.Add(middle, r2.Add(r2.Vec{X: 60}, polar(150, float64(15*i)))), 9.4)
		r.Score, r.Contrast = 3.5, 15
	}
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 3)
}
