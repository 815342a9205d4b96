package calib

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// What is printed stays off the margins and off what else is printed: dots,
// bars and window.
func TestFrameLayout(t *testing.T) {
	for _, paper := range papers {
		for columns := leastDots; columns <= mostDots(paper.Width); columns++ {
			for rows := leastDots; rows <= mostDots(paper.Height); rows++ {
				f := frameOf(t, paper, windowAmong(columns), windowAmong(rows))
				if f.Columns != columns || f.Rows != rows || len(f.Dots) != 2*(columns+rows)-4 {
					t.Fatalf("%d × %d dots, %d in all, where %d × %d were wanted", f.Columns, f.Rows, len(f.Dots), columns, rows)
				}
				bars := [2]Bar{f.BarX, f.BarY}
				names := map[string]bool{}
				for i, d := range f.Dots {
					names[d.Name] = true
					r := d.Diameter / 2
					if math.Abs(d.Centre.X)+r > paper.Width/2-printerMargin || math.Abs(d.Centre.Y)+r > paper.Height/2-printerMargin {
						t.Fatalf("%s lies in the margin", d.Name)
					}
					if math.Abs(d.Centre.X)-r < f.WindowW/2+besideDot-1e-9 && math.Abs(d.Centre.Y)-r < f.WindowH/2+besideDot-1e-9 {
						t.Fatalf("%s is too near to the window", d.Name)
					}
					next := f.Dots[(i+1)%len(f.Dots)]
					if step := r2.Norm(r2.Sub(d.Centre, next.Centre)); math.Abs(step-Pitch) > 1e-9 {
						t.Fatalf("from %s to %s is %g mm", d.Name, next.Name, step)
					}
					for _, b := range bars {
						if off := distanceTo(b, d.Centre) - r - b.Width/2; off < besideBar-1e-9 {
							t.Fatalf("%s is %g mm from a bar", d.Name, off)
						}
					}
				}
				if len(names) != len(f.Dots) {
					t.Fatalf("%d dots have %d names", len(f.Dots), len(names))
				}
				for _, b := range bars {
					if b.Length() != barLength {
						t.Fatalf("a bar of %g mm", b.Length())
					}
					for _, end := range []r2.Vec{b.From, b.To} {
						if math.Abs(end.X)+b.Width/2 > paper.Width/2-printerMargin || math.Abs(end.Y)+b.Width/2 > paper.Height/2-printerMargin {
							t.Fatalf("a bar ends in the margin of %s paper, at %v", paper.Name, end)
						}
					}
				}
				if distanceTo(f.BarX, f.BarY.From) < besideBar || distanceTo(f.BarY, f.BarX.To) < besideBar {
					t.Fatal("the bars touch")
				}
			}
		}
	}
}

// distanceTo returns how far a place is from the bar's middle line.
func distanceTo(b Bar, p r2.Vec) float64 {
	along := r2.Unit(r2.Sub(b.To, b.From))
	t := min(max(r2.Dot(r2.Sub(p, b.From), along), 0), b.Length())
	return r2.Norm(r2.Sub(p, r2.Add(b.From, r2.Scale(t, along))))
}

// ISO 216 and ANSI/ASME Y14.1 (from memory).
func TestPaperSizes(t *testing.T) {
	for name, want := range map[string][2]float64{"a4": {210, 297}, " A4": {210, 297}, "letter": {8.5 * 25.4, 11 * 25.4}} {
		if p, err := PaperNamed(name); err != nil || p.Width != want[0] || p.Height != want[1] {
			t.Errorf("%s: %v, %v", name, p, err)
		}
	}
	if _, err := PaperNamed("a5"); err == nil {
		t.Error("a5 was taken")
	}
}

// Any window gives a frame in which it has room, or one line why not.
func TestNewFrameAnyWindow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.OneOf(rapid.Float64Range(0, 400), rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 0, -1}))
		w, h := side.Draw(t, "w"), side.Draw(t, "h")
		paper := rapid.SampledFrom(papers[:]).Draw(t, "paper")
		f, err := NewFrame(paper, w, h)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("more than a line: %v", err)
			}
			if w >= leastWindow && h >= leastWindow && w <= windowAmong(mostDots(paper.Width)) && h <= windowAmong(mostDots(paper.Height)) {
				t.Fatalf("%g × %g mm was refused: %v", w, h, err)
			}
			return
		}
		if windowAmong(f.Columns) < w-1e-6 || windowAmong(f.Rows) < h-1e-6 {
			t.Fatalf("a window of %g × %g mm among %d × %d dots", w, h, f.Columns, f.Rows)
		}
		if f.Columns > leastDots && windowAmong(f.Columns-1) > w+1e-6 {
			t.Fatalf("%d dots around %g mm are too many", f.Columns, w)
		}
	})
}

// A frame that was printed is known for ever: the code is what it was. The
// sizes are those of the first frames.
func TestCodeStays(t *testing.T) {
	for _, c := range []struct {
		paper Paper
		w, h  float64
		want  string
	}{
		{A4, 150, 150, "OOOOOoOoOOOoooooOOooOoooOoooooOoOoooOoOOOoooOOoOooOoOOOO"},
		{Letter, 60, 60, "OOOoOoooooOooooooOOoooooooOO"},
	} {
		got := ""
		for _, d := range frameOf(t, c.paper, c.w, c.h).Dots {
			if d.Diameter == largeDot {
				got += "O"
			} else {
				got += "o"
			}
		}
		if got != c.want {
			t.Errorf("%s %g × %g:\n%s, was\n%s", c.paper.Name, c.w, c.h, got, c.want)
		}
	}
}
