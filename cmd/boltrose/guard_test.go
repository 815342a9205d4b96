package main

import (
	"math"
	"strings"
	"testing"
)

// Whatever is typed, parsing ends in sizes or in one line.
func FuzzGuardFlags(f *testing.F) {
	for _, s := range []string{
		"r.json\n--shaft\n35\n--projects=1.5in\n--bolt\nM8\n-o\ng.scad", "r.json\n--running\n5,8\n--at\n0.3,-0.2\n--vents\n6\n-o-",
		"r.json\n--shaft=35\n--projects=40\n--bolt=8,6\n--clearance=9,7\n--socket\n18\n--wall\n4\n-o\n-", "--running\n,\n--at\nNaN,1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseGuard(strings.Split(s, "\n"))
		if err != nil {
			if strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		z := c.sizes
		for _, v := range []float64{z.Shaft, z.Projects, z.RunRadius, z.RunLength, z.Wall, z.Thickness, z.VentWidth} {
			if !(v > 0 && v <= 1e6) {
				t.Errorf("%q gives %+v", s, z)
			}
		}
		if z.At != nil && (math.IsNaN(z.At.X+z.At.Y) || math.IsInf(z.At.X+z.At.Y, 0)) || z.Vents < 0 || len(c.outputs) == 0 {
			t.Errorf("%q gives %+v", s, z)
		}
	})
}
