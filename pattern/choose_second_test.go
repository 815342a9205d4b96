package pattern

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// A face may have holes of another size on a larger circle about the same middle,
// and no rim that says how far it goes: they are its holes too. Beyond the rim, or
// about another middle, they are not.
func TestChooseLargerSecondCircle(t *testing.T) {
	for _, c := range []struct {
		name string
		at   r2.Vec
		rim  float64
		want bool
	}{
		{"no rim", middle, 0, true},
		{"within the rim", middle, 120, true},
		{"beyond the rim", middle, 70, false},
		{"about another middle", r2.Add(middle, r2.Vec{X: 4}), 0, false},
	} {
		f := rub(71)
		f.holes(46, 6, even6...)
		var others []string
		for i := range 5 {
			name := fmt.Sprintf("outer %d", i)
			outer := f.add(name, r2.Add(c.at, polar(42, 15+60*float64(i))), 9.2)
			outer.Score, outer.Contrast = 15, 15
			if c.want {
				others = append(others, name)
			}
		}
		if c.rim > 0 {
			f.add("rim", middle, c.rim).Contrast = -25
		}
		f.noise(8)
		t.Log(c.name)
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 6, others...)
	}
}

// Of a second circle of holes one may be faint, and seen by little more than half,
// where two are clear. As faint a ring of its size at another distance is none.
func TestChooseFaintHoleOfSecondCircle(t *testing.T) {
	for _, c := range []struct {
		away float64
		want bool
	}{{33, true}, {30, false}} {
		f := rub(72)
		f.holes(96, 9, even6...)
		f.add("rim", middle, 120).Contrast = -25
		others := []string{"inner 0", "inner 1"}
		f.add("inner 0", r2.Add(middle, polar(33, 20)), 6)
		f.add("inner 1", r2.Add(middle, polar(33, 140)), 6)
		faint := f.add("inner 2", r2.Add(middle, polar(c.away, 260)), 6)
		faint.Contrast, faint.Score, faint.RimSeen = 13, 12, 0.65
		if c.want {
			others = append(others, "inner 2")
		}
		f.wantHoles(t, f.choose(t, ChooseOptions{}), 6, others...)
	}
}
