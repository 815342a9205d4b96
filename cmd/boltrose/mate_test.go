package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"boltrose/pattern"

	"github.com/spf13/pflag"
)

func TestMateHelp(t *testing.T) {
	if n := strings.Count(helpMate, "\n"); n > 40 {
		t.Errorf("%d lines", n)
	}
	for _, line := range strings.Split(helpMate, "\n") {
		if n := utf8.RuneCountInString(line); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	known := map[string]bool{"json": true}
	newMateFlags(&mateCommand{}).VisitAll(func(f *pflag.Flag) {
		known[f.Name] = true
		if !strings.Contains(helpMate, "--"+f.Name) {
			t.Errorf("the help does not mention --%s", f.Name)
		}
	})
	for _, word := range strings.FieldsFunc(helpMate, func(r rune) bool { return !(r == '-' || r >= 'a' && r <= 'z') }) {
		if name, ok := strings.CutPrefix(word, "--"); ok && !known[name] {
			t.Errorf("the help mentions --%s, which is no flag", name)
		}
	}
}

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
