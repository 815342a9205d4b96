package draw

import (
	"bytes"
	"cmp"
	"encoding/xml"
	"io"
	"math"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

var (
	a4     = Paper{"a4", 210, 297}
	letter = Paper{"letter", 215.9, 279.4}
)

// ring is a pattern of even holes, without anything round it; its numbers are
// words that no other text has.
func ring(n int, pcd, diameter float64) *pattern.Reading {
	r := &pattern.Reading{PitchCircle: &pattern.PitchCircle{Diameter: pcd}}
	for i := range n {
		sin, cos := math.Sincos(float64(i) * 2 * math.Pi / float64(n))
		r.Holes = append(r.Holes, pattern.Hole{ID: 701 + i, X: -pcd / 2 * sin, Y: pcd / 2 * cos, Diameter: diameter})
	}
	return r
}

// words are the words of a PDF's pages and their middles (mm, y down), as
// poppler finds them.
func words(t *testing.T, pdf string) (pages []map[string][]r2.Vec, size r2.Vec) {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("BOLTROSE_TESTFILES") != "" {
			t.Fatal("BOLTROSE_TESTFILES is set, and pdftotext is not installed")
		}
		t.Skip("pdftotext is not installed; it is in poppler-utils")
	}
	run := exec.Command("pdftotext", "-bbox", "-", "-")
	run.Stdin = strings.NewReader(pdf)
	out, err := run.Output()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Pages []struct {
			Width  float64 `xml:"width,attr"`
			Height float64 `xml:"height,attr"`
			Words  []struct {
				X0   float64 `xml:"xMin,attr"`
				X1   float64 `xml:"xMax,attr"`
				Y0   float64 `xml:"yMin,attr"`
				Y1   float64 `xml:"yMax,attr"`
				Text string  `xml:",chardata"`
			} `xml:"word"`
		} `xml:"body>doc>page"`
	}
	if err := xml.Unmarshal(out, &doc); err != nil {
		t.Fatal(err)
	}
	const point = 25.4 / 72
	for _, p := range doc.Pages {
		found := map[string][]r2.Vec{}
		for _, w := range p.Words {
			found[w.Text] = append(found[w.Text], r2.Vec{X: (w.X0 + w.X1) / 2 * point, Y: (w.Y0 + w.Y1) / 2 * point})
		}
		pages = append(pages, found)
		size = r2.Vec{X: p.Width * point, Y: p.Height * point}
	}
	return pages, size
}

func pdf(t *testing.T, d *Drawing, p Paper, printed [2]float64) string {
	return text(t, func(w io.Writer) error { return d.WritePDF(w, p, printed) })
}

// Pages laid on one another by their marks show the holes where the drawing
// has them, each number at its place on every page that shows it.
func TestPagesJoin(t *testing.T) {
	for _, c := range []struct {
		paper   Paper
		pcd     float64
		printed [2]float64
		pages   int
	}{
		{a4, 300, [2]float64{}, 4},
		{letter, 460, [2]float64{99, 101.5}, 9},
		{a4, 320, [2]float64{101, 98.5}, 4},
	} {
		d := mustDraw(t, ring(60, c.pcd, 9), Options{})
		pages, size := words(t, pdf(t, d, c.paper, c.printed))
		if len(pages) != c.pages || math.Abs(size.X-c.paper.Width) > 0.01 || math.Abs(size.Y-c.paper.Height) > 0.01 {
			t.Fatalf("%d pages of %v mm", len(pages), size)
		}
		if c.printed != [2]float64{} { // what comes out of the printer
			for _, page := range pages {
				for _, places := range page {
					for i, p := range places {
						places[i] = r2.Vec{X: p.X * c.printed[0] / BarMM, Y: p.Y * c.printed[1] / BarMM}
					}
				}
			}
		}
		at := joined(t, pages)
		var origin *r2.Vec // by the first number
		for _, l := range d.Labels[:len(d.Holes)] {
			shown := 0
			for i, page := range pages {
				for _, w := range page[l.Text] {
					shown++
					o := r2.Sub(r2.Add(at[i], w), r2.Vec{X: l.At.X, Y: -l.At.Y})
					if origin == nil {
						origin = &o
					}
					if off := r2.Norm(r2.Sub(o, *origin)); off > 0.02 {
						t.Errorf("hole %s on page %d is %.3f mm off", l.Text, i+1, off)
					}
				}
			}
			if shown == 0 {
				t.Errorf("hole %s is on no page", l.Text)
			}
		}
	}
}

// joined is where each page lies from the first on, by the marks that two
// pages have.
func joined(t *testing.T, pages []map[string][]r2.Vec) map[int]r2.Vec {
	t.Helper()
	at := map[int]r2.Vec{0: {}}
	for range pages {
		for i, page := range pages {
			for k, other := range pages {
				for mark, here := range page {
					there, placed := other[mark], at[k]
					if _, known := at[k]; !known || i == k || !strings.Contains(mark, "+") || len(there) == 0 {
						continue
					}
					if len(here) != 2 || len(there) != 2 {
						t.Fatalf("the mark %s is %d and %d times on its pages", mark, len(here), len(there))
					}
					for _, marks := range [][]r2.Vec{here, there} { // along the line, whichever way poppler read
						slices.SortFunc(marks, func(a, b r2.Vec) int { return cmp.Compare(a.X+a.Y, b.X+b.Y) })
					}
					for m := range here {
						place := r2.Add(placed, r2.Sub(there[m], here[m]))
						if before, known := at[i]; known && r2.Norm(r2.Sub(place, before)) > 0.02 {
							t.Fatalf("page %d lies at %v and at %v", i+1, before, place)
						}
						at[i] = place
					}
				}
			}
		}
	}
	if len(at) != len(pages) {
		t.Fatalf("marks join %d of %d pages", len(at), len(pages))
	}
	return at
}

// Where there is room to, seams are laid clear of the holes.
func TestSeamsMissHoles(t *testing.T) {
	d := mustDraw(t, ring(4, 300, 12), Options{}) // holes in the middle, where two pages meet
	s, err := newSheet(d, a4, [2]float64{})
	if err != nil || s.columns != 2 || s.rows != 2 {
		t.Fatalf("%v, %d × %d pages", err, s.columns, s.rows)
	}
	at := r2.Vec{X: s.topLeft.X + s.window.X - overlap/2, Y: s.topLeft.Y - s.window.Y + overlap/2}
	for _, h := range d.Holes {
		if math.Abs(h.Centre.X-at.X) < h.Diameter/2+1 || math.Abs(h.Centre.Y-at.Y) < h.Diameter/2+1 {
			t.Errorf("the hole at %v lies on a seam, %v", h.Centre, at)
		}
	}
	b := d.Bounds()
	if s.topLeft.X > b.Min.X || s.topLeft.Y < b.Max.Y || at.X+s.window.X-overlap/2 < b.Max.X || at.Y-s.window.Y+overlap/2 > b.Min.Y {
		t.Errorf("pages from %v do not cover %v", s.topLeft, b)
	}
}

// The same drawing gives the same bytes; a page says what it corrects, and
// from which side it is seen.
func TestPDFText(t *testing.T) {
	d := mustDraw(t, press(), Options{})
	once := pdf(t, d, a4, [2]float64{})
	if once != pdf(t, d, a4, [2]float64{}) || !strings.HasPrefix(once, "%PDF-1.") {
		t.Error("two PDFs of one drawing differ")
	}
	says := func(pdf string, wanted ...string) {
		t.Helper()
		pages, _ := words(t, pdf)
		if len(pages) != 1 {
			t.Errorf("%d pages", len(pages))
		}
		for _, w := range wanted {
			if len(pages[0][w]) == 0 {
				t.Errorf("the page lacks %q", w)
			}
		}
	}
	says(once, "check,", "1:1", "--printed", "X:", "Y:", "UP", "looking", "locked")
	says(pdf(t, mustDraw(t, press(), Options{Mirror: true}), letter, [2]float64{99.5, 100.25}), "MIRRORED.", "99.5", "100.25")
}

func TestPDFRefuses(t *testing.T) {
	for _, c := range []struct {
		pcd     float64
		paper   Paper
		printed [2]float64
		want    string
	}{
		{5000, a4, [2]float64{}, "pages of a4 paper, more than 60"},
		{9e5, letter, [2]float64{}, "pages of letter paper"},
		{100, a4, [2]float64{100, 85}, "a bar of 100 mm that prints as 85 mm"},
		{100, a4, [2]float64{math.NaN(), 100}, "prints as NaN mm"},
		{100, Paper{"card", 100, 140}, [2]float64{}, "too small"},
	} {
		err := mustDraw(t, ring(6, c.pcd, 9), Options{}).WritePDF(&bytes.Buffer{}, c.paper, c.printed)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: %v", c, err)
		}
	}
}
