package thread

import (
	_ "embed"
	"fmt"
	"math"
	"sync"
)

// Drill is a twist drill as it is sold.
type Drill struct {
	Name     string // 6.8 mm, 5/16 in, No. 7, letter F
	Diameter float64
	inch     bool
}

//go:embed drill.csv
var drillCSV string

// drills are all sizes: metric by steps of 0.05 mm to 3 mm, 0.1 mm to 14 mm and
// 0.5 mm above (ISO 235), inch fractions by 64ths to 3 in, and numbers and
// letters (ANSI B94.11M).
var drills = sync.OnceValue(func() []Drill {
	var all []Drill
	for n := 1; n <= 3*64; n++ {
		all = append(all, Drill{fraction(n, 64) + " in", float64(n) / 64 * inch, true})
	}
	for _, r := range rows(drillCSV) {
		name := "No. " + r[0][1:]
		if r[0][0] != '#' {
			name = "letter " + r[0]
		}
		all = append(all, Drill{name, r.mm(2), true})
	}
	for _, s := range []struct{ from, to, step float64 }{{0.2, 2.95, 0.05}, {3, 13.9, 0.1}, {14, 80, 0.5}} {
		n := int(math.Round((s.to - s.from) / s.step))
		for k := range n + 1 {
			d := math.Round((s.from+float64(k)*s.step)*100) / 100
			all = append(all, Drill{fmt.Sprintf("%g mm", d), d, false})
		}
	}
	return all
})

// fraction writes n/of as the trade does: 1 3/8.
func fraction(n, of int) string {
	for n%2 == 0 && of > 1 {
		n, of = n/2, of/2
	}
	switch whole := n / of; {
	case of == 1:
		return fmt.Sprint(n)
	case whole > 0:
		return fmt.Sprintf("%d %d/%d", whole, n%of, of)
	}
	return fmt.Sprintf("%d/%d", n, of)
}

// UsualEngagement is the percentage of thread that tap drills are chosen for
// unless another is asked for: 75, and 80 for threads of Whitworth's form, for
// which BS 1157 leaves 77 to 87. More hardly holds more and breaks taps: a bolt
// breaks before threads of 55 % strip (common practice; seen in trade charts).
func (t Thread) UsualEngagement() float64 {
	if t.Form() == Whitworth {
		return 80
	}
	return 75
}

// TapDrillMM is the diameter (mm) of the hole of which a tap makes so many per
// cent of the basic depth of thread.
func (t Thread) TapDrillMM(percent float64) float64 {
	return t.Major - percent/100*2*t.fullDepth()
}

// fullDepth is the depth that counts as 100 %: of 60° threads the trade takes
// 3/4 H = 0.6495 p, from crest to where the V of the bolt would be cut off at
// an eighth at both ends, of the others the basic depth.
func (t Thread) fullDepth() float64 {
	if f := t.Form(); f != ISO60 {
		return f.Depth * t.Pitch
	}
	return 3. / 4 * math.Sqrt(3) / 2 * t.Pitch
}

// Engagement is the percentage of thread that a hole of d mm leaves.
func (t Thread) Engagement(d float64) float64 { return 100 * (t.Major - d) / (2 * t.fullDepth()) }

// TapDrills are the drills nearest to what the percentage asks for, first of
// the kind that is sold for the thread: a metric one for metric sizes, and for
// inch sizes a number, a letter or a fraction; then of the other kind.
func (t Thread) TapDrills(percent float64) [2]Drill {
	want := t.TapDrillMM(percent)
	none := Drill{Diameter: math.Inf(1)}
	best := [2]Drill{none, none}
	for _, d := range drills() {
		k := 0
		if d.inch != (t.TPI > 0) {
			k = 1
		}
		if math.Abs(d.Diameter-want) < math.Abs(best[k].Diameter-want)-1e-9 {
			best[k] = d
		}
	}
	return best
}
