package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"boltrose/samples"

	"github.com/chromedp/chromedp"
)

// The report of a face with 16 holes is one page to staple to the job, printed
// from a browser too.
func TestReportPrintsOnOnePage(t *testing.T) {
	folder := t.TempDir()
	in := func(name string) string { return filepath.Join(folder, name) }
	face := samples.Ring(16, 130, 7)
	face.Bore, face.Rim = &samples.Disc{Diameter: 40}, &samples.Disc{Diameter: 152}
	rubbing := samples.New(face, 1)
	rubbing.DPI = 150
	img, _ := rubbing.Render()
	keepScan(t, in("gearbox.png"), img, 150)
	for _, args := range [][]string{
		{"read", in("gearbox.png"), "--json", in("gearbox.json"), "--overlay", in("overlay.png")},
		{"draw", in("gearbox.json"), "--overlay", in("overlay.png"), "--to", in("gearbox.html")},
	} {
		var out, problems bytes.Buffer
		if code := run(args, &out, &problems); code != 0 {
			t.Fatalf("%v: %d, %s", args, code, problems.String())
		}
	}
	p := openPage(t, 1000, 1200, false)
	p.run(chromedp.Navigate("file://" + in("gearbox.html")))
	text := p.printed("report.pdf")
	if pages := strings.Count(text, "\f"); pages != 1 || !strings.Contains(text, "16 holes") || !strings.Contains(text, "16–1") {
		t.Errorf("%d pages: %s", pages, text)
	}
}
