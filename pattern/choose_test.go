package pattern

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// rubbed is a face as a picture shows it. Its rings are named, so that a test
// says what it expects by name.
type rubbed struct {
	random *rand.Rand
	rings  []Ring
	names  []string
}

func rub(seed uint64) *rubbed { return &rubbed{random: rand.New(rand.NewPCG(seed, 17))} }

// add puts a clear ring on the face: paler inside, seen nearly all round. No
// two are quite alike.
func (f *rubbed) add(name string, centre r2.Vec, diameter float64) *Ring {
	jitter := func(v, share float64) float64 { return v * (1 + share*(2*f.random.Float64()-1)) }
	f.rings = append(f.rings, Ring{
		ID: len(f.rings) + 1, Centre: centre, Diameter: diameter,
		CentreCov: [2][2]float64{{4e-4, 0}, {0, 4e-4}}, DiameterU: 0.04,
		CentrePx: r2.Vec{X: 12 * centre.X, Y: -12 * centre.Y}, RadiusPx: 6 * diameter,
		RimSeen: jitter(0.95, 0.05), Contrast: jitter(30, 0.1), Score: jitter(20, 0.1), Scatter: jitter(0.05, 0.1),
	})
	f.names = append(f.names, name)
	return &f.rings[len(f.rings)-1]
}

// holes puts one at each direction on a pitch circle about (105, −150).
func (f *rubbed) holes(pcd, diameter float64, directions ...float64) {
	for i, deg := range directions {
		f.add(fmt.Sprintf("hole %d", i), r2.Add(middle, polar(pcd/2, deg)), diameter)
	}
}

var middle = r2.Vec{X: 105, Y: -150}

// noise adds marks such as strokes and handwriting leave: little of a rim,
// ragged, faint, anywhere, of any size and shade.
func (f *rubbed) noise(n int) {
	for range n {
		d := 3 + 20*f.random.Float64()
		r := f.add("noise", r2.Add(middle, r2.Vec{X: 140 * (f.random.Float64() - 0.5), Y: 140 * (f.random.Float64() - 0.5)}), d)
		r.RimSeen = 0.32 + 0.2*f.random.Float64()
		r.Score = 5 + 4*f.random.Float64()
		r.Scatter = d * (0.02 + 0.03*f.random.Float64())
		r.Contrast *= 0.3
		if f.random.IntN(2) == 0 {
			r.Contrast = -r.Contrast
		}
	}
}

// namesOf are the names of the rings at the indices, sorted.
func (f *rubbed) namesOf(indices []int) []string {
	var names []string
	for _, i := range indices {
		names = append(names, f.names[i])
	}
	slices.Sort(names)
	return names
}

func (f *rubbed) choose(t rapid.TB, opts ChooseOptions) Choice {
	t.Helper()
	choice, err := Choose(f.rings, opts)
	if err != nil {
		t.Fatal(err)
	}
	if err := sane(f.rings, choice); err != nil {
		t.Fatal(err)
	}
	return choice
}

// wantHoles are those called hole 0 to hole n−1, and others by name.
func (f *rubbed) wantHoles(t rapid.TB, c Choice, n int, others ...string) {
	t.Helper()
	want := others
	for i := range n {
		want = append(want, fmt.Sprintf("hole %d", i))
	}
	slices.Sort(want)
	if got := f.namesOf(c.Holes); !slices.Equal(got, want) {
		t.Fatalf("holes %v, want %v\n%s", got, want, f.explain(c))
	}
}

func (f *rubbed) explain(c Choice) string {
	var b strings.Builder
	for i, r := range f.rings {
		fmt.Fprintf(&b, "%-8s %6.1f,%6.1f D %5.1f: %s\n", f.names[i], r.Centre.X, r.Centre.Y, r.Diameter, c.Reasons[i])
	}
	return b.String()
}

func (f *rubbed) nameOf(i int) string {
	if i < 0 {
		return "none"
	}
	return f.names[i]
}

// sane finds what no choice may be.
func sane(rings []Ring, c Choice) error {
	seen := map[int]bool{}
	use := func(what string, i int) error {
		if i < 0 || i >= len(rings) {
			return fmt.Errorf("%s: there is no ring %d", what, i)
		}
		if seen[i] {
			return fmt.Errorf("%s: ring %d is two things", what, i)
		}
		seen[i] = true
		return nil
	}
	for _, i := range c.Holes {
		if err := use("hole", i); err != nil {
			return err
		}
	}
	for _, f := range []int{c.Bore, c.Rim} {
		if f != -1 {
			if err := use("bore or rim", f); err != nil {
				return err
			}
		}
	}
	outers := map[int]bool{}
	for hole, outer := range c.Outer {
		if !slices.Contains(c.Holes, hole) {
			return fmt.Errorf("ring %d has a chamfer and is no hole", hole)
		}
		if err := use("chamfer", outer); err != nil {
			return err
		}
		outers[outer] = true
	}
	for _, i := range c.OffCircle {
		if !slices.Contains(c.Holes, i) {
			return fmt.Errorf("ring %d is off the circle and no hole", i)
		}
	}
	if len(c.Reasons) != len(rings) || slices.Contains(c.Reasons, "") {
		return fmt.Errorf("reasons %q for %d rings", c.Reasons, len(rings))
	}
	if c.Circle && len(c.Holes)-len(c.OffCircle) < 3 {
		return fmt.Errorf("a pitch circle of %d holes", len(c.Holes)-len(c.OffCircle))
	}
	return nil
}

var even6 = []float64{80, 140, 200, 260, 320, 20}

var even8 = []float64{80, 125, 170, 215, 260, 305, 350, 35}

func TestChooseEvenRingAmongNoise(t *testing.T) {
	for seed := range uint64(20) {
		f := rub(seed)
		f.holes(96, 9, even6...)
		f.noise(25)
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6)
		if !c.Circle || c.Bore != -1 || c.Rim != -1 || len(c.OffCircle) != 0 {
			t.Errorf("circle %v, bore %s, rim %s, off the circle %v", c.Circle, f.nameOf(c.Bore), f.nameOf(c.Rim), f.namesOf(c.OffCircle))
		}
	}
}

func TestChooseBoreAndRim(t *testing.T) {
	for _, directions := range [][]float64{{90, 210, 330}, {80, 170, 260, 345}, even6, {90, 150, 210, 277, 330, 30}} {
		f := rub(3)
		f.holes(96, 9, directions...)
		f.add("bore", r2.Add(middle, r2.Vec{X: 0.4, Y: -0.2}), 52)
		f.add("rim", r2.Add(middle, r2.Vec{X: -0.5}), 118).Contrast = -25 // paper is pale beyond it
		f.noise(10)
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, len(directions))
		if f.nameOf(c.Bore) != "bore" || f.nameOf(c.Rim) != "rim" {
			t.Errorf("%v: bore %s, rim %s\n%s", directions, f.nameOf(c.Bore), f.nameOf(c.Rim), f.explain(c))
		}
	}
}

// A chamfer's or counterbore's ring belongs to its hole, and the hole is the
// smaller of the two, whichever is the clearer.
func TestChooseChamfers(t *testing.T) {
	for _, weaker := range []float64{0.85, 1, 1.2} {
		for _, wider := range []float64{1.2, 1.4, 1.8} {
			f := rub(5)
			f.holes(96, 9, even6...)
			for i := range 6 {
				r := f.add(fmt.Sprintf("chamfer %d", i), f.rings[i].Centre, 9*wider)
				r.Score *= weaker
				r.RimSeen = min(1, r.RimSeen*weaker)
			}
			c := f.choose(t, ChooseOptions{})
			f.wantHoles(t, c, 6)
			for _, h := range c.Holes {
				want := strings.Replace(f.names[h], "hole", "chamfer", 1)
				if outer, ok := c.Outer[h]; !ok || f.names[outer] != want {
					t.Errorf("%g as clear and %g as wide: %s has not %s\n%s", weaker, wider, f.names[h], want, f.explain(c))
				}
			}
		}
	}
}

func TestChooseTwoSizes(t *testing.T) {
	for _, share := range []float64{0.55, 0.7, 0.9} {
		f := rub(6)
		f.holes(110, 11, 75, 120, 165, 210, 255, 300, 345, 30)
		for i := 1; i < 8; i += 2 {
			f.rings[i].Diameter *= share
		}
		f.noise(8)
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 8)
	}
}

func TestChooseMissingHole(t *testing.T) {
	f := rub(7)
	f.holes(96, 9, even6[:5]...)
	f.noise(12)
	f.wantHoles(t, f.choose(t, ChooseOptions{}), 5)
}

// A true hole off the circle is reported, and takes no part in the circle.
func TestChooseHoleOffTheCircle(t *testing.T) {
	for _, radius := range []float64{40, 43, 53} {
		f := rub(8)
		f.holes(96, 9, even6...)
		f.add("stray", r2.Add(middle, polar(radius, 50)), 9)
		f.add("rim", middle, 130).Contrast = -25
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6, "stray")
		if got := f.namesOf(c.OffCircle); !slices.Equal(got, []string{"stray"}) {
			t.Errorf("at the radius %g: off the circle %v\n%s", radius, got, f.explain(c))
		}
	}
}

// Paper that slipped shows everything twice. The holes are all of the same
// copy, the clearer one, and a warning says so.
func TestChooseOneCopyOfSlippedPaper(t *testing.T) {
	for seed := range uint64(10) {
		f := rub(seed)
		f.holes(96, 9, even6...)
		shift := polar(1.5+1.5*f.random.Float64(), 360*f.random.Float64())
		for i := range 6 {
			r := f.add(fmt.Sprintf("copy %d", i), r2.Add(f.rings[i].Centre, shift), 9)
			r.Score *= 0.6
			r.Contrast *= 0.5
		}
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 6)
		if !warned(c, "slipped") {
			t.Errorf("warnings %q", c.Warnings)
		}
	}
}

// Where only three of eight holes show twice, and of one of them the fainter
// copy is the rounder, all are still of one copy.
func TestChooseOneCopyWhereFewShowTwice(t *testing.T) {
	for seed := range uint64(10) {
		f := rub(seed)
		f.holes(96, 9, even8...)
		shift := polar(2.5, 360*f.random.Float64())
		for _, i := range []int{0, 3, 5} {
			f.add(fmt.Sprintf("copy %d", i), r2.Add(f.rings[i].Centre, shift), 9).Contrast *= 0.5
			f.rings[i].Score *= map[bool]float64{true: 0.3, false: 1}[i == 3]
		}
		c := f.choose(t, ChooseOptions{})
		f.wantHoles(t, c, 8)
		if !warned(c, "slipped") {
			t.Errorf("warnings %q", c.Warnings)
		}
	}
}

func TestChooseWhatThePersonSays(t *testing.T) {
	six := func() *rubbed {
		f := rub(9)
		f.holes(96, 9, even6...)
		f.noise(5)
		return f
	}
	t.Run("drop", func(t *testing.T) {
		f := six()
		c := f.choose(t, ChooseOptions{Drop: []int{6}})
		f.wantHoles(t, c, 5)
	})
	t.Run("drop a chamfered hole with its chamfer", func(t *testing.T) {
		f := six()
		f.add("chamfer", f.rings[5].Centre, 13)
		c := f.choose(t, ChooseOptions{Drop: []int{6}})
		f.wantHoles(t, c, 5)
	})
	t.Run("drop the bore", func(t *testing.T) {
		f := six()
		bore := f.add("bore", middle, 50).ID
		c := f.choose(t, ChooseOptions{Drop: []int{bore}})
		f.wantHoles(t, c, 6)
		if c.Bore != -1 {
			t.Errorf("the bore is %s", f.nameOf(c.Bore))
		}
	})
	t.Run("add on the circle", func(t *testing.T) {
		f := six()
		r := f.add("added", r2.Add(middle, polar(48, 50)), 9)
		r.RimSeen, r.Score = 0.3, 4.5
		c := f.choose(t, ChooseOptions{Added: []int{r.ID}})
		f.wantHoles(t, c, 6, "added")
		if len(c.OffCircle) != 0 {
			t.Errorf("off the circle %v", f.namesOf(c.OffCircle))
		}
	})
	t.Run("add off the circle", func(t *testing.T) {
		f := six()
		r := f.add("added", r2.Add(middle, polar(25, 50)), 6)
		r.RimSeen, r.Score = 0.3, 4.5
		c := f.choose(t, ChooseOptions{Added: []int{r.ID}})
		f.wantHoles(t, c, 6, "added")
		if got := f.namesOf(c.OffCircle); !slices.Equal(got, []string{"added"}) {
			t.Errorf("off the circle %v", got)
		}
	})
	t.Run("free", func(t *testing.T) {
		f := six()
		c := f.choose(t, ChooseOptions{Free: true})
		f.wantHoles(t, c, 6)
		if c.Circle {
			t.Error("a pitch circle is claimed")
		}
	})
	t.Run("least and largest diameter", func(t *testing.T) {
		f := six()
		for i, deg := range []float64{0, 60, 120, 180, 240, 300} { // clearer, but of another size
			f.add(fmt.Sprintf("large %d", i), r2.Add(middle, polar(70, deg)), 16).Score = 40
		}
		f.wantHoles(t, f.choose(t, ChooseOptions{MaxDiameter: 12}), 6)
		c := f.choose(t, ChooseOptions{MinDiameter: 12})
		for _, name := range f.namesOf(c.Holes) {
			if !strings.HasPrefix(name, "large") {
				t.Errorf("%s is not of the size asked for", name)
			}
		}
	})
	t.Run("known pitch circle", func(t *testing.T) {
		f := six()
		for i, deg := range []float64{0, 60, 120, 180, 240, 300} {
			f.add(fmt.Sprintf("other %d", i), r2.Add(middle, polar(35, deg)), 9).Score = 40
		}
		c := f.choose(t, ChooseOptions{PCD: 96})
		c.Holes = slices.DeleteFunc(c.Holes, func(i int) bool { return slices.Contains(c.OffCircle, i) })
		f.wantHoles(t, c, 6)
	})
	t.Run("the number of holes", func(t *testing.T) {
		f := six()
		f.wantHoles(t, f.choose(t, ChooseOptions{Holes: 6}), 6)
		if _, err := Choose(f.rings, ChooseOptions{Holes: 60}); !errors.Is(err, ErrNoPattern) {
			t.Errorf("60 holes: %v", err)
		}
	})
}

func TestChooseNothing(t *testing.T) {
	if _, err := Choose(nil, ChooseOptions{}); !errors.Is(err, ErrNoPattern) {
		t.Errorf("no rings: %v", err)
	}
	for seed := range uint64(20) {
		f := rub(seed)
		f.noise(30)
		if c, err := Choose(f.rings, ChooseOptions{}); !errors.Is(err, ErrNoPattern) {
			t.Errorf("noise, %d: holes of %v, %v\n%s", seed, f.namesOf(c.Holes), err, f.explain(c))
		}
	}
}

// Holes that share no circle are a free set, and the reading says so.
func TestChooseFallsBackToFree(t *testing.T) {
	f := rub(2)
	f.add("hole 0", r2.Vec{X: 10, Y: 10}, 9)
	f.add("hole 1", r2.Vec{X: 60, Y: 12}, 9)
	c := f.choose(t, ChooseOptions{})
	f.wantHoles(t, c, 2)
	if c.Circle || len(c.Warnings) == 0 {
		t.Errorf("circle %v, warnings %q", c.Circle, c.Warnings)
	}
}

// anyFace draws a face with what a face may have, among noise.
func anyFace(t *rapid.T) *rubbed {
	f := rub(rapid.Uint64().Draw(t, "seed"))
	n := rapid.IntRange(3, 10).Draw(t, "holes")
	pcd := 60 + 60*f.random.Float64()
	d := min(10, 1.1*pcd*math.Sin(math.Pi/float64(n))/3)
	for i := range n {
		deg := 360 / float64(n) * (float64(i) + 0.25*f.random.Float64())
		f.add(fmt.Sprintf("hole %d", i), r2.Add(middle, polar(pcd/2+0.05*f.random.NormFloat64(), deg)), d)
	}
	if rapid.Bool().Draw(t, "chamfers") {
		for i := range n {
			f.add(fmt.Sprintf("chamfer %d", i), f.rings[i].Centre, 1.3*d)
		}
	}
	if rapid.Bool().Draw(t, "bore") {
		f.add("bore", middle, pcd-3*d)
	}
	if rapid.Bool().Draw(t, "rim") {
		f.add("rim", middle, pcd+3*d).Contrast = -27
	}
	f.noise(rapid.IntRange(0, 12).Draw(t, "noise"))
	return f
}

// described is a choice in which the rings' indices are replaced by their IDs.
func described(rings []Ring, c Choice) string {
	id := func(i int) int {
		if i < 0 {
			return -1
		}
		return rings[i].ID
	}
	ids := func(v []int) []int {
		var out []int
		for _, i := range v {
			out = append(out, id(i))
		}
		slices.Sort(out)
		return out
	}
	outer := map[int]int{}
	for a, b := range c.Outer {
		outer[id(a)] = id(b)
	}
	reasons := map[int]string{}
	for i, r := range c.Reasons {
		r, _, _ = strings.Cut(r, "(") // without millimetres
		reasons[id(i)] = r
	}
	var b strings.Builder
	fmt.Fprintln(&b, "holes", ids(c.Holes), "off", ids(c.OffCircle), "bore", id(c.Bore), "rim", id(c.Rim), "circle", c.Circle, "chamfers", outer)
	for _, k := range slices.Sorted(maps.Keys(reasons)) {
		fmt.Fprintln(&b, k, reasons[k])
	}
	return b.String()
}

func TestChooseTheTrueHoles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFace(t)
		c := f.choose(t, ChooseOptions{})
		n := 0
		for _, name := range f.names {
			if strings.HasPrefix(name, "hole") {
				n++
			}
		}
		f.wantHoles(t, c, n)
		for _, feature := range []struct {
			name string
			got  int
		}{{"bore", c.Bore}, {"rim", c.Rim}} {
			if slices.Contains(f.names, feature.name) && f.nameOf(feature.got) != feature.name {
				t.Fatalf("the %s is %s\n%s", feature.name, f.nameOf(feature.got), f.explain(c))
			}
		}
	})
}

// The order in which rings come does not matter.
func TestChooseAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFace(t)
		opts := ChooseOptions{Free: rapid.Bool().Draw(t, "free")}
		want := described(f.rings, f.choose(t, opts))
		other := rapid.Permutation(f.rings).Draw(t, "order")
		c, err := Choose(other, opts)
		if err != nil {
			t.Fatal(err)
		}
		if got := described(other, c); got != want {
			t.Fatalf("in another order:\n%s\nwas\n%s", got, want)
		}
	})
}

// Nor does where the face lies on the page, how it is turned, whether it is
// seen from behind, or whether it is a little larger.
func TestChooseMovesWithTheFace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFace(t)
		want := described(f.rings, f.choose(t, ChooseOptions{}))
		sin, cos := math.Sincos(rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn"))
		k := rapid.Float64Range(0.7, 1.3).Draw(t, "scale")
		a := [2][2]float64{{k * cos, -k * sin}, {k * sin, k * cos}}
		if rapid.Bool().Draw(t, "mirror") {
			a[0][0], a[1][0] = -a[0][0], -a[1][0]
		}
		other := moved(f.rings, a, r2.Vec{X: rapid.Float64Range(-500, 500).Draw(t, "x"), Y: rapid.Float64Range(-500, 500).Draw(t, "y")})
		for i := range other {
			other[i].Scatter *= k
		}
		c, err := Choose(other, ChooseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := described(other, c); got != want {
			t.Fatalf("moved:\n%s\nwas\n%s", got, want)
		}
	})
}

// Whatever the rings: an answer that makes sense, or an error that says no
// pattern was found.
func checkAnyRings(t rapid.TB, rings []Ring, opts ChooseOptions) {
	c, err := Choose(rings, opts)
	if err != nil {
		if !errors.Is(err, ErrNoPattern) {
			t.Fatalf("another error: %v", err)
		}
		return
	}
	if err := sane(rings, c); err != nil {
		t.Fatalf("%v of %+v", err, rings)
	}
}

func TestChooseAnyRings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		coordinate := rapid.OneOf(rapid.Float64Range(-60, 60), rapid.Map(rapid.IntRange(-3, 3), func(i int) float64 { return 10 * float64(i) }), rapid.Float64Range(-1e9, 1e9))
		positive := rapid.OneOf(rapid.Float64Range(1e-6, 40), rapid.Just(10.0), rapid.Float64Range(0, 1e9))
		var rings []Ring
		for i := range rapid.IntRange(0, 25).Draw(t, "rings") {
			v := positive.Draw(t, "variance")
			rings = append(rings, Ring{
				ID: i + 1, Centre: r2.Vec{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y")}, Diameter: positive.Draw(t, "diameter"),
				CentreCov: [2][2]float64{{v, 0}, {0, v}},
				RimSeen:   rapid.Float64Range(0, 1).Draw(t, "rim"), Contrast: coordinate.Draw(t, "contrast"),
				Score: positive.Draw(t, "score"), Scatter: positive.Draw(t, "scatter"),
			})
		}
		var some []int
		for range rapid.IntRange(0, 3).Draw(t, "some") {
			some = append(some, rapid.IntRange(-1, 30).Draw(t, "one"))
		}
		checkAnyRings(t, rings, ChooseOptions{
			Holes: rapid.IntRange(0, 8).Draw(t, "holes"), MinDiameter: rapid.Float64Range(0, 12).Draw(t, "min"), MaxDiameter: rapid.Float64Range(0, 30).Draw(t, "max"),
			PCD: rapid.OneOf(rapid.Just(0.0), positive).Draw(t, "pcd"), Free: rapid.Bool().Draw(t, "free"),
			Drop: some[:len(some)/2], Added: some[len(some)/2:],
		})
	})
}

// FuzzChoose reads any bytes as rings, six a ring, coarsely, so that rings
// coincide, touch and lie on lines.
func FuzzChoose(f *testing.F) {
	var even []byte
	for _, deg := range even6 {
		p := polar(60, deg)
		even = append(even, byte(128+p.X), byte(128+p.Y), 20, 240, 200, 2)
	}
	f.Add(even, uint8(0))
	f.Add(append(even, even...), uint8(7))
	f.Add([]byte{}, uint8(255))
	f.Fuzz(func(t *testing.T, data []byte, how uint8) {
		var rings []Ring
		for i := 0; i+6 <= len(data) && len(rings) < 60; i += 6 {
			d := data[i : i+6]
			rings = append(rings, Ring{
				ID: len(rings) + 1, Centre: r2.Vec{X: float64(d[0]) / 2, Y: float64(d[1]) / 2}, Diameter: float64(d[2]) / 2,
				RimSeen: float64(d[3]) / 255, Contrast: float64(int8(d[4])), Score: float64(d[5]),
				Scatter: float64(d[3]^d[5]) / 100,
			})
		}
		opts := ChooseOptions{Free: how&1 != 0, Holes: int(how >> 1 & 7)}
		if how&16 != 0 {
			opts.Drop = []int{1, 3}
		}
		if how&32 != 0 {
			opts.Added = []int{2, 3}
		}
		checkAnyRings(t, rings, opts)
	})
}

// As many marks as a picture full of texture gives, all of them likely enough to
// be tried as holes.
func BenchmarkChoose(b *testing.B) {
	f := rub(1)
	f.holes(96, 9, even6...)
	f.add("bore", middle, 52)
	f.noise(90)
	for i := range f.rings[7:] {
		r := &f.rings[7+i]
		r.Diameter, r.Contrast, r.RimSeen, r.Scatter = 9, 20, 0.75, 0.1
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Choose(f.rings, ChooseOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
