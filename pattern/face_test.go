package pattern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// slantedHoles are holes with chamfers on a circle of 80 mm as a camera 400 mm
// away sees them from a slant: the rim of each hole deep below the face, where
// the line of sight meets the face.
func slantedHoles(n int, deep float64, withOuter func(int) bool) (rings []Ring, choice Choice, want []r2.Vec) {
	camera, away := r2.Vec{X: 250, Y: -90}, 400.0
	choice = Choice{Outer: map[int]int{}, Bore: -1, Rim: -1, Mouth: -1, Circle: true}
	for i := range n {
		at := polar(40, 360*float64(i)/float64(n)+10)
		want = append(want, at)
		k := away / (away + deep)
		seen := r2.Add(camera, r2.Scale(k, r2.Sub(at, camera)))
		aside := r2.Scale(1/away, r2.Sub(camera, seen))
		rings = append(rings, Ring{ID: i + 1, Centre: seen, Diameter: 8, CentreCov: [2][2]float64{{1e-4, 0}, {0, 1e-4}}, Aside: aside})
		choice.Holes = append(choice.Holes, i)
	}
	for i := range n {
		if withOuter(i) {
			choice.Outer[i] = len(rings)
			rings = append(rings, Ring{ID: len(rings) + 1, Centre: want[i], Diameter: 10, CentreCov: [2][2]float64{{4e-4, 0}, {0, 4e-4}}})
		}
	}
	return rings, choice, want
}

// Where most holes show the edge of their chamfer, all of them are put where
// they are in the face, those without it too.
func TestOnFace(t *testing.T) {
	rings, choice, want := slantedHoles(6, 0.8, func(i int) bool { return i != 1 && i != 4 })
	if off := r2.Norm(r2.Sub(rings[1].Centre, want[1])); off < 0.4 {
		t.Fatalf("seen only %.2f mm aside: this shows nothing", off)
	}
	got := OnFace(rings, choice)
	for i, w := range want {
		if off := r2.Norm(r2.Sub(got[i].Centre, w)); off > 1e-9 {
			t.Errorf("hole %d is %g mm off", i+1, off)
		}
		if got[i].CentreCov[0][0] > 1.0001e-4 {
			t.Errorf("hole %d has a variance of %g mm², the edges agree", i+1, got[i].CentreCov[0][0])
		}
	}
	for i := range rings[6:] {
		if got[6+i].Centre != rings[6+i].Centre {
			t.Error("a chamfer was moved")
		}
	}
}

// Two pairs are too few to speak for others, which lie as deep: to move these
// two alone would tear the pattern.
func TestOnFaceOfFew(t *testing.T) {
	rings, choice, _ := slantedHoles(6, 0.8, func(i int) bool { return i < 2 })
	got := OnFace(rings, choice)
	for i, r := range rings[:6] {
		if got[i].Centre != r.Centre {
			t.Errorf("hole %d is moved to %v", i+1, got[i].Centre)
		}
	}
	// Where there are but these two they are.
	rings, choice, want := slantedHoles(2, 0.8, func(int) bool { return true })
	got = OnFace(rings, choice)
	for i := range want {
		if got[i].Centre != want[i] || got[i].CentreCov != rings[choice.Outer[i]].CentreCov {
			t.Errorf("hole %d is at %v with %v", i+1, got[i].Centre, got[i].CentreCov)
		}
	}
}

// What lies beside a hole across the view is not its own edge in the face: a
// washer's print.
func TestOnFaceWasher(t *testing.T) {
	rings, choice, _ := slantedHoles(1, 0.3, func(i int) bool { return true })
	o := &rings[choice.Outer[0]]
	a := rings[0].Aside
	o.Centre = r2.Add(o.Centre, r2.Scale(0.6, r2.Unit(r2.Vec{X: -a.Y, Y: a.X})))
	if got := OnFace(rings, choice); got[0].Centre != rings[0].Centre {
		t.Errorf("the hole is put at its washer's centre, %v", got[0].Centre)
	}
}

// An outer edge that is half the hole's own is no edge in the face.
func TestOnFaceMixed(t *testing.T) {
	rings, choice, _ := slantedHoles(2, 0.8, func(int) bool { return true })
	for h, o := range choice.Outer {
		rings[h].Scatter, rings[o].Scatter = 0.01, 0.13
	}
	for i, r := range OnFace(rings, choice)[:2] {
		if r.Centre != rings[i].Centre {
			t.Errorf("hole %d is moved to %v", i+1, r.Centre)
		}
	}
}

// How deep the edges of a plain hole and of the bore lie is known as far as a
// chamfer would be seen, and counts along the view only; for the bore the holes'
// count too, which lie as deep as one another.
func TestOnFaceDepth(t *testing.T) {
	rings, choice, _ := slantedHoles(3, 0, func(int) bool { return false })
	for i := range rings {
		rings[i].RadiusPx = 40 // 0.1 mm/px
	}
	bore, mouth := rings[0], rings[0]
	bore.Diameter, bore.RadiusPx = 30, 150
	mouth.Diameter, mouth.RadiusPx = 32, 160
	mouth.Centre = r2.Add(mouth.Centre, r2.Vec{X: 0.3})
	rings = append(rings, bore, mouth)
	unseen := 3 * 0.1 / math.Sqrt(3)
	for _, told := range []bool{false, true} {
		choice.Bore, choice.Mouth = 3, -1
		want := bore.Centre
		if told {
			choice.Mouth, want = 4, mouth.Centre
		}
		got := OnFace(rings, choice)
		if got[3].Centre != want {
			t.Errorf("the bore is put at %v, want %v", got[3].Centre, want)
		}
		for i, u := range []float64{0.03, 0.03, 0.03, math.Sqrt(0.03*0.03 + 2*unseen*unseen)} {
			a := rings[i].Aside
			along, across := r2.Unit(a), r2.Unit(r2.Vec{X: -a.Y, Y: a.X})
			in := func(d r2.Vec) float64 {
				c := got[i].CentreCov
				return d.X*(c[0][0]*d.X+c[0][1]*d.Y) + d.Y*(c[1][0]*d.X+c[1][1]*d.Y)
			}
			if want := 1e-4 + u*u*r2.Norm2(a); math.Abs(in(along)-want) > 1e-9 || math.Abs(in(across)-1e-4) > 1e-9 {
				t.Errorf("ring %d: variances %g along the view and %g across, want %g and 1e-4", i, in(along), in(across), want)
			}
		}
	}
	// Where the holes' depth is known by their chamfers the bore's alone counts.
	rings, choice, _ = slantedHoles(3, 0, func(int) bool { return true })
	rings = append(rings, bore)
	choice.Bore = len(rings) - 1
	got := OnFace(rings, choice)[choice.Bore].CentreCov
	if want := 2e-4 + (0.03*0.03+unseen*unseen)*r2.Norm2(bore.Aside); math.Abs(got[0][0]+got[1][1]-want) > 1e-9 {
		t.Errorf("the bore's variance is %g, want %g", got[0][0]+got[1][1], want)
	}
}

// Holes of another size are of another make.
func TestOnFaceBySize(t *testing.T) {
	rings, choice, want := slantedHoles(8, 0.8, func(i int) bool { return i%2 == 0 })
	for i := range want {
		if i%2 == 1 {
			rings[i].Diameter = 6
			rings[i].Centre = want[i]
		}
	}
	for i, r := range OnFace(rings, choice)[:8] {
		if off := r2.Norm(r2.Sub(r.Centre, want[i])); off > 1e-9 {
			t.Errorf("hole %d is %g mm off", i+1, off)
		}
	}
}

// What the edges of the chamfers disagree by is in the covariance.
func TestOnFaceDoubt(t *testing.T) {
	rings, choice, _ := slantedHoles(6, 0.8, func(int) bool { return true })
	for i, h := range choice.Holes {
		o := &rings[choice.Outer[h]].Centre
		*o = r2.Add(*o, polar(0.1, 100*float64(i*i)))
	}
	for i, r := range OnFace(rings, choice)[:6] {
		if u := math.Sqrt(r.CentreCov[0][0] - 1e-4); !(u > 0.02 && u < 0.1) {
			t.Errorf("hole %d: %.3f mm of doubt", i+1, u)
		}
	}
}

// A chamfer that is faint is one where most holes have it; the ring that was
// taken may be the chamfer's. Seen from a slant it is aside.
func TestChooseUsualOuter(t *testing.T) {
	for _, slant := range []float64{0, 0.7} {
		f := rub(31)
		for i := range 6 {
			at := r2.Add(middle, polar(48, 60*float64(i)))
			aside := r2.Vec{X: slant * 1}
			hole := func() *Ring {
				r := f.add("hole", r2.Add(at, aside), 8)
				r.Aside = aside
				return r
			}
			made := 1 + 0.004*float64(i-2) // no two chamfers are cut alike
			if i == 3 {                    // the chamfer is the clearer
				hole().Score = 20
				f.add("outer", at, 10).Score = 60
				continue
			}
			hole()
			r := f.add("outer", at, 10*made)
			r.RimSeen = 0.5
		}
		c := f.choose(t, ChooseOptions{})
		if len(c.Holes) != 6 || len(c.Outer) != 6 {
			t.Fatalf("slant %g: %d holes, %d chamfers\n%s", slant, len(c.Holes), len(c.Outer), f.explain(c))
		}
		for h, o := range c.Outer {
			if f.rings[h].Diameter > 9 || f.rings[o].Diameter < 9 {
				t.Errorf("slant %g: a hole of %.1f mm in a chamfer of %.1f", slant, f.rings[h].Diameter, f.rings[o].Diameter)
			}
		}
	}
}

// A countersink that is darker than the face on one side and lighter on the other
// is one where the holes have it alike; what one hole alone shows so is a shade, and
// a shade within a hole is none, nor is a hole the countersink of a shade in it that
// is as much smaller.
func TestCountersinkOfEitherShade(t *testing.T) {
	for _, c := range []struct {
		name        string
		diameter    float64
		have, outer int
	}{{"alike", 13, 6, 6}, {"one alone", 13, 1, 0}, {"within", 6, 6, 0}, {"a shade in one", 13, 5, 5}} {
		f := rub(31)
		for i := range 6 {
			at := r2.Add(middle, polar(48, 60*float64(i)))
			aside := r2.Vec{X: 0.6}
			hole := f.add("hole", r2.Add(at, aside), 8)
			hole.Aside = aside
			if i == c.have {
				r := f.add("shade", r2.Add(at, aside), 8*8/c.diameter)
				r.Aside, r.RimSeen, r.Contrast = aside, 0.55, 0.25*r.Contrast
			}
			if i < c.have {
				r := f.add("countersink", at, c.diameter)
				r.Aside, r.Either, r.Contrast = aside, true, 0.4*math.Abs(r.Contrast)
			}
		}
		got := f.choose(t, ChooseOptions{})
		if len(got.Holes) != 6 || len(got.Outer) != c.outer {
			t.Errorf("%s: %d holes, %d countersinks\n%s", c.name, len(got.Holes), len(got.Outer), f.explain(got))
		}
	}
}

// Where fewer than half of the holes show the edge of their counterbore, the
// others are taken for as deep, with a doubt along the view.
func TestOnFaceOfThree(t *testing.T) {
	rings, choice, want := slantedHoles(8, 2, func(i int) bool { return i%3 == 0 })
	for i, r := range OnFace(rings, choice)[:8] {
		if off := r2.Norm(r2.Sub(r.Centre, want[i])); off > 1e-9 {
			t.Errorf("hole %d is %g mm off", i+1, off)
		}
		a := rings[i].Aside
		if u := math.Sqrt(r.CentreCov[0][0]-1e-4) / math.Abs(a.X); math.Abs(u-0.6) > 0.01 {
			t.Errorf("hole %d: %.3f mm of depth in doubt, want 0.6", i+1, u)
		}
	}
}

// A hole that is a little smaller than the others may lie deeper, at the bottom
// of its chamfer; one that is much smaller is another hole.
func TestOnFaceOddSize(t *testing.T) {
	for _, c := range []struct{ diameter, deep float64 }{{8, 0}, {7.2, 0.4}, {8.8, 0.4}, {5, 0}} {
		rings, choice, _ := slantedHoles(4, 0, func(int) bool { return false }) // too few to be told by their circle
		rings[2].Diameter = c.diameter
		got := OnFace(rings, choice)[2]
		want := 1e-4 + (holeDepthU*holeDepthU+c.deep*c.deep)*rings[2].Aside.X*rings[2].Aside.X
		if math.Abs(got.CentreCov[0][0]-want) > 1e-9 {
			t.Errorf("%g mm among 8 mm: a variance of %g mm², want %g", c.diameter, got.CentreCov[0][0], want)
		}
	}
}

// What is deep in a counterbore is seen as far aside as the counterbore's edge
// leaves it in sight, and only along the view.
func TestConcentricFromASlant(t *testing.T) {
	outer := Ring{Diameter: 14}
	for _, c := range []struct {
		off  r2.Vec
		want bool
	}{
		{r2.Vec{}, true},
		{r2.Vec{X: 3.5}, true},   // the hole touches the counterbore's edge
		{r2.Vec{X: 5.2}, false},  // and would be covered
		{r2.Vec{X: -1.5}, false}, // what lies below is not seen on this side
		{r2.Vec{Y: 1.5}, false},
	} {
		hole := Ring{Diameter: 7, Centre: c.off, Aside: r2.Vec{X: 0.1}}
		if got := hole.concentric(outer); got != c.want || outer.concentric(hole) != got {
			t.Errorf("%v aside: %v, want %v", c.off, got, c.want)
		}
	}
}

// Of holes that hardly differ in size the circle tells whether the smaller are
// the bottoms of chamfers of 45°, which lie deeper, or other holes in the face.
func TestOnFaceByCircle(t *testing.T) {
	for _, deep := range []bool{true, false} {
		below := 0.0
		if deep {
			below = 0.5
		}
		rings, choice, want := slantedHoles(6, below, func(int) bool { return false })
		for i := range rings {
			rings[i].Diameter = 8
			if i == 1 || i == 2 {
				rings[i].Diameter, rings[i].Centre = 9, want[i]
			}
		}
		for i, r := range OnFace(rings, choice) {
			if off := r2.Norm(r2.Sub(r.Centre, want[i])); off > 1e-9 {
				t.Errorf("below the face: %v; hole %d is %g mm off", deep, i+1, off)
			}
			if u := math.Sqrt(r.CentreCov[0][0]-1e-4) / math.Abs(rings[i].Aside.X); math.Abs(u-holeDepthU) > 0.001 {
				t.Errorf("below the face: %v; hole %d: %.3f mm of depth in doubt", deep, i+1, u)
			}
		}
	}
	// A hole of quite another size says nothing of a chamfer, and one that is seen
	// hardly aside is not asked about.
	rings, choice, want := slantedHoles(6, 0.5, func(int) bool { return false })
	rings[1].Diameter, rings[1].Centre = 12, want[1]
	if deep, ok := chamfered(rings, choice); ok {
		t.Errorf("8 and 12 mm: %v", deep)
	}
	rings, choice, want = slantedHoles(6, 0.125, func(int) bool { return false })
	rings[1].Diameter, rings[1].Centre = 8.25, want[1]
	if deep, ok := chamfered(rings, choice); ok {
		t.Errorf("hardly aside: %v", deep)
	}
	// Neither: the doubt remains.
	rings, choice, want = slantedHoles(6, 0.2, func(int) bool { return false })
	rings[1].Diameter, rings[1].Centre = 9, want[1]
	if u := OnFace(rings, choice)[1].CentreCov[0][0]; u < 0.02 {
		t.Errorf("a variance of %g mm²", u)
	}
}
