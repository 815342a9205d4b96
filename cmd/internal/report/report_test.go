package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"boltrose/calib"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"

	"gonum.org/v1/gonum/spatial/r2"
)

var day = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

// hostile is a file's name that does harm where it is not escaped.
const hostile = `<script>alert(1)<script>"&'.png`

// reading has n holes on 96 mm, one off its even place, and a bore and rim.
func reading(t *testing.T, n int, circle bool) *pattern.Reading {
	t.Helper()
	ring := func(x, y, d float64) pattern.Ring {
		return pattern.Ring{Centre: r2.Vec{X: x, Y: y}, Diameter: d, CentreCov: [2][2]float64{{1e-3, 0}, {0, 2e-3}}, DiameterU: 0.2, RimSeen: 0.97,
			Shared: []r2.Vec{{X: 0.002 * x, Y: 0.002 * y}, {X: 0.001 * x, Y: -0.001 * y}}, SharedDiameter: []float64{0.002 * d, 0}}
	}
	rings := []pattern.Ring{ring(0.2, -0.1, 51.5), ring(0, 0.1, 119)}
	choice := pattern.Choice{Bore: 0, Rim: 1, Circle: circle}
	for i := range n {
		deg := 90 + 360*float64(i)/float64(n)
		if i == 3 {
			deg += 42 / float64(n)
		}
		sin, cos := math.Sincos(deg * math.Pi / 180)
		choice.Holes = append(choice.Holes, len(rings))
		rings = append(rings, ring(48*cos, 48*sin, 8.9))
	}
	r, err := pattern.New(rings, choice, pattern.Options{
		Source:      pattern.Source{File: hostile, SHA256: strings.Repeat("0123456789abcdef", 4), WidthPx: 2000, HeightPx: 2000, Kind: "picture"},
		Scale:       pattern.Scale{Method: "dpi of the file", MMPerPxX: 0.085, MMPerPxY: 0.085, URel: 0.002},
		SharedNames: []string{"scale", "axes <b>"},
		Warnings:    []string{"a warning with <b>markup</b> & \x1b[31mcolour"},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// overlay is a picture of w × h px, as boltrose read writes one.
func overlay(t *testing.T, w, h int) *Picture {
	t.Helper()
	m := image.NewPaletted(image.Rect(0, 0, w, h), color.Palette{color.White, color.Black, color.RGBA{0, 114, 178, 255}})
	for i := range m.Pix {
		m.Pix[i] = uint8(i / 7 % 3)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	p, err := newPicture(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func of(t *testing.T, r *pattern.Reading, picture *Picture, unit show.Unit) *Report {
	t.Helper()
	d, err := draw.New(r, draw.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return New(r, d, unit, picture, day)
}

func html(t *testing.T, p *Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := p.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The file is whole, needs nothing from elsewhere, and text from outside stays
// text.
func TestHTML(t *testing.T) {
	text := html(t, of(t, reading(t, 6, true), overlay(t, 30, 20), show.MM))
	// An XML reader is stricter than any browser; what HTML need not close is
	// closed for it.
	strict := regexp.MustCompile(`<(meta|img)([^>]*)>`).ReplaceAllString(strings.Replace(text, "<!DOCTYPE html>", "", 1), "<$1$2/>")
	for d := xml.NewDecoder(strings.NewReader(strict)); ; {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, strict)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if n := e.Name.Local; n == "script" || n == "link" {
			t.Errorf("the report has a <%s>", n)
		}
		for _, a := range e.Attr {
			if n := a.Name.Local; strings.HasPrefix(n, "on") || (n == "src" || n == "href") && !strings.HasPrefix(a.Value, "data:image/png;base64,") {
				t.Errorf("%s=%.60q", n, a.Value)
			}
		}
	}
	for _, bad := range []string{"<script", "<b>markup", "axes <b>", "\x1b", "url(", "@import", "ZgotmplZ"} {
		if strings.Contains(text, bad) {
			t.Errorf("the report has %q", bad)
		}
	}
	for _, want := range []string{"2026-05-01", "Uneven: hole 4", "&lt;script&gt;", "Holes", "From hole to hole", "What the ± comes from", "pitch circle diameter", "edge location", "axes &lt;b&gt;",
		"lock it out", "licensed practice", "paper check", "Seen looking at the face", "SHA-256", `id="HOLES"`, "markup", "@page", "looking at the face. If"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(html(t, of(t, reading(t, 6, true), nil, show.MM)), "<img") {
		t.Error("a picture that nobody gave")
	}
	if inch := html(t, of(t, reading(t, 6, true), nil, show.Inch)); !strings.Contains(inch, "Chord in") {
		t.Error("no inches")
	}
}

// pdf is the report's file, and what poppler reads and counts in it.
func pdf(t *testing.T, p *Report, paper calib.Paper) (text string, pages int) {
	t.Helper()
	var b bytes.Buffer
	if err := p.WritePDF(&b, paper); err != nil {
		t.Fatal(err)
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext is not installed; it is in poppler-utils")
	}
	file := filepath.Join(t.TempDir(), "report.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	// -raw: in the order in which it was written.
	run := exec.Command("pdftotext", "-raw", file, "-")
	var complaints bytes.Buffer
	run.Stderr = &complaints
	out, err := run.Output()
	if err != nil || complaints.Len() > 0 {
		t.Fatalf("%v %s", err, complaints.String())
	}
	return strings.Join(strings.Fields(strings.ReplaceAll(string(out), "\f", " ")), " "), strings.Count(string(out), "\f")
}

// PDF and HTML say the same, and a usual reading takes one page.
func TestPDF(t *testing.T) {
	for _, paper := range []calib.Paper{calib.A4, calib.Letter} {
		for _, picture := range []*Picture{nil, overlay(t, 200, 300), overlay(t, 300, 100)} {
			p := of(t, reading(t, 6, true), picture, show.MM)
			text, pages := pdf(t, p, paper)
			if pages != 1 {
				t.Errorf("%s: %d pages", paper.Name, pages)
			}
			want := append([]string{"2026-05-01", "What the ± comes from", p.Causes.Of, "SHA-256", "From hole to hole", p.Sheet.Known, "<script>alert(1)"}, p.Cautions...)
			want = append(want, p.Sheet.Verdict...)
			for _, f := range append(p.Sheet.Facts, p.Sheet.Features...) {
				want = append(want, f.Text)
			}
			for _, row := range append(p.Sheet.Holes.Rows(), p.Sheet.Gaps.Rows()...) {
				want = append(want, strings.Join(row, " "))
			}
			for _, c := range p.Causes.Terms {
				want = append(want, c.Name, c.Text)
			}
			for _, w := range want {
				if w = strings.Join(strings.Fields(w), " "); !strings.Contains(text, w) {
					t.Errorf("%s: %q is missing in\n%s", paper.Name, w, text)
				}
			}
		}
	}
}

// A ring of 16 holes, with bore and rim, is still one page to staple to the job.
func TestSixteenHolesOnOnePage(t *testing.T) {
	for _, paper := range []calib.Paper{calib.A4, calib.Letter} {
		for _, picture := range []*Picture{nil, overlay(t, 200, 250)} {
			r := reading(t, 16, true)
			r.Warnings = nil
			if _, pages := pdf(t, of(t, r, picture, show.MM), paper); pages != 1 {
				t.Errorf("%s: %d pages", paper.Name, pages)
			}
		}
	}
	// A browser prints the page smaller where there are many.
	for n, many := range map[int]bool{6: false, 16: true} {
		if got := strings.Contains(html(t, of(t, reading(t, n, true), nil, show.MM)), `<body class="many">`); got != many {
			t.Errorf("%d holes: printed as many: %v", n, got)
		}
	}
}

// The title has the file's name and not its folders; of several readings that
// were combined it has each.
func TestTitle(t *testing.T) {
	r := reading(t, 3, true)
	for file, want := range map[string]string{
		"/home/press/scans/gearbox.png": "gearbox.png: 3 holes", `C:\scans\gearbox.png`: "gearbox.png: 3 holes", "a/1.json, b/2.json": "1.json, 2.json: 3 holes",
	} {
		r.Source.File = file
		if got := of(t, r, nil, show.MM); got.Sheet.Title != want || !strings.Contains(html(t, got), "<h1>"+want+"</h1>") {
			t.Errorf("%s: %s", file, got.Sheet.Title)
		}
	}
	r.Source = pattern.Source{Kind: pattern.ByHand}
	if got := of(t, r, nil, show.MM).Sheet.Title; got != "By hand: 3 holes" {
		t.Error(got)
	}
}

// Beside a mirrored drawing it is said that the tables are not.
func TestMirroredReport(t *testing.T) {
	r := reading(t, 4, true)
	for _, mirror := range []bool{false, true} {
		d, err := draw.New(r, draw.Options{Mirror: mirror})
		if err != nil {
			t.Fatal(err)
		}
		p := New(r, d, show.MM, nil, day)
		const said = "The tables are not mirrored"
		text, _ := pdf(t, p, calib.A4)
		if strings.Contains(text, said) != mirror || strings.Contains(html(t, p), said) != mirror {
			t.Errorf("mirrored %v: %s", mirror, text)
		}
	}
}

// Any reading can be laid out: free ones, one hole, very many, by hand; and
// nothing is lost where it takes more pages.
func TestEveryReading(t *testing.T) {
	for _, n := range []int{1, 2, 3, 40, 150} {
		for _, circle := range []bool{true, false} {
			if circle && n < 2 {
				continue
			}
			r := reading(t, n, circle)
			if n == 3 {
				r.Source = pattern.Source{Kind: pattern.ByHand}
				r.Budget, r.Verdict, r.Candidates, r.Bore, r.Rim = []pattern.BudgetTerm{}, nil, nil, nil, nil
			}
			p := of(t, r, overlay(t, 10, 900), show.MM)
			text, pages := pdf(t, p, calib.A4)
			for _, row := range p.Sheet.Holes.Rows() {
				if w := strings.Join(strings.Fields(strings.Join(row, " ")), " "); !strings.Contains(text, w) {
					t.Errorf("%d holes: %q is missing", n, w)
				}
			}
			if n == 150 && pages < 3 || n < 4 && pages != 1 {
				t.Errorf("%d holes on %d pages", n, pages)
			}
			html(t, p)
		}
	}
}

// Words longer than a line, letters that the typefaces lack, and hundreds of
// warnings are laid out too.
func TestLongAndForeignText(t *testing.T) {
	r := reading(t, 4, true)
	r.Source.File = strings.Repeat("Ж漢", 300) + ".png"
	for i := range 200 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("warning %d", i), strings.Repeat("x", 500))
	}
	p := of(t, r, nil, show.MM)
	text, pages := pdf(t, p, calib.A4)
	if pages < 3 || !strings.Contains(text, "warning 199") {
		t.Errorf("%d pages", pages)
	}
	if !strings.Contains(html(t, p), "Ж漢") {
		t.Error("the name is lost")
	}
}

func TestSameBytes(t *testing.T) {
	var a, b bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		p := of(t, reading(t, 6, true), overlay(t, 30, 20), show.MM)
		if err := p.WriteHTML(w); err != nil {
			t.Fatal(err)
		}
		if err := p.WritePDF(w, calib.A4); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same report has other bytes")
	}
}

// The bars are as long as the causes are large: the squares of all make the ±
// of the pitch circle's diameter.
func TestBars(t *testing.T) {
	r := reading(t, 6, true)
	p := of(t, r, nil, show.MM)
	sum := 0.0
	for i, share := range p.bars() {
		sum += p.Causes.Terms[i].U95 * p.Causes.Terms[i].U95
		if want := p.Causes.Terms[i].U95 / p.Causes.Terms[0].U95; math.Abs(share-want) > 1e-12 || share > 1 {
			t.Errorf("bar %d is %g, want %g", i, share, want)
		}
	}
	if u := r.PitchCircle.DiameterU95; math.Abs(math.Sqrt(sum)-u) > 1e-9 {
		t.Errorf("the causes make ±%g, the reading says ±%g", math.Sqrt(sum), u)
	}
	for i := range 20 {
		term := r.Budget[0]
		term.Term = fmt.Sprint("cause ", i)
		r.Budget = append(r.Budget, term)
	}
	p = of(t, r, nil, show.MM)
	if n := len(p.Causes.Terms); n != mostCauses+1 || p.Causes.Terms[n-1].Name != "the rest" {
		t.Errorf("%d bars: %+v", n, p.Causes.Terms)
	}
}

// Pictures of every kind are taken as they look, and others refused in a line.
func TestPicture(t *testing.T) {
	encode := func(m image.Image, as string) []byte {
		var b bytes.Buffer
		var err error
		if as == "jpeg" {
			err = jpeg.Encode(&b, m, nil)
		} else {
			err = png.Encode(&b, m)
		}
		if err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	deep := image.NewNRGBA64(image.Rect(0, 0, 40, 30)) // transparent: white paper
	p, err := newPicture(encode(deep, "png"))
	if err != nil || p.kind != "JPEG" || p.Width != 40 || p.Height != 30 {
		t.Fatalf("%+v, %v", p, err)
	}
	if back, err := jpeg.Decode(bytes.NewReader(p.data)); err != nil || color.GrayModel.Convert(back.At(20, 15)).(color.Gray).Y < 250 {
		t.Errorf("what is transparent is %v, %v", back.At(20, 15), err)
	}
	few := image.NewPaletted(image.Rect(0, 0, 8, 8), color.Palette{color.NRGBA{255, 0, 0, 0}, color.Black})
	p, err = newPicture(encode(few, "png"))
	if err != nil || p.kind != "PNG" {
		t.Fatalf("%+v, %v", p, err)
	}
	if back, err := png.Decode(bytes.NewReader(p.data)); err != nil || color.GrayModel.Convert(back.At(2, 2)).(color.Gray).Y != 255 {
		t.Errorf("what is transparent is %v, %v", back.At(2, 2), err)
	}
	p, err = newPicture(encode(image.NewGray(image.Rect(0, 0, 3000, 10)), "jpeg"))
	if err != nil || p.Width != maxSide {
		t.Errorf("%+v, %v", p, err)
	}
	pdf(t, of(t, reading(t, 4, true), p, show.MM), calib.A4)
	for _, bad := range [][]byte{nil, []byte("hello"), encode(few, "png")[:40], []byte("%PDF-1.4"), encode(deep, "png")[:100]} {
		if p, err := newPicture(bad); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.10q gives %v, %v", bad, p, err)
		}
	}
	if _, err := OpenPicture(filepath.Join(t.TempDir(), "none.png")); err == nil {
		t.Error("a file that is not there was opened")
	}
}

// Whatever bytes are given as the picture, they end in a report or a line.
func FuzzPicture(f *testing.F) {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewPaletted(image.Rect(0, 0, 3, 2), color.Palette{color.White, color.Black})); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	b.Reset()
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 9, 9)), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := newPicture(data)
		if err != nil {
			return
		}
		s := of(t, reading(t, 2, true), p, show.MM)
		if err := s.WritePDF(io.Discard, calib.A4); err != nil {
			t.Error(err)
		}
		if err := s.WriteHTML(io.Discard); err != nil {
			t.Error(err)
		}
	})
}
