package main

import (
	"strings"
	"testing"

	"boltrose/pattern"
)

// Whatever is typed, parsing ends in sizes or in one line.
func FuzzMateFlags(f *testing.F) {
	for _, s := range []string{
		"r.json\n--pcd\n96\n--holes\n6\n--bolt\nM8", "r.json\n--with\np.dxf\n--bolt\n1/4-20\n--diameter\n8-10",
		"r.json\n--pcd=3.75in\n--angles=0,90,-90\n--bolt=8,6,0.25in\n--clearance=9,9,7", "--bolt\n,\n--pcd\nin",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseMate(strings.Split(s, "\n"))
		if err != nil {
			if strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		positive := append([]float64{}, c.clearance...)
		for _, b := range c.bolts {
			positive = append(positive, b.diameter)
		}
		for _, v := range positive {
			if !(v > 0 && v <= 1e6) {
				t.Errorf("%q gives %v", s, v)
			}
		}
		if c.with == "" && !(c.pcd > 0) || c.draws < 100 || c.draws > pattern.MaxDraws {
			t.Errorf("%q gives %+v", s, c)
		}
	})
}
