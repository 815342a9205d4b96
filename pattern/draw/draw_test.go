package draw

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

func mustDraw(t rapid.TB, r *pattern.Reading, o Options) *Drawing {
	t.Helper()
	d, err := New(r, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func text(t rapid.TB, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// anyDrawing is one of a face of any size, with or without what a reading may
// lack.
func anyDrawing(t *rapid.T) *Drawing {
	n := rapid.IntRange(1, 20).Draw(t, "holes")
	radius := rapid.Float64Range(5, 800).Draw(t, "radius")
	r := &pattern.Reading{Pattern: pattern.Free, Source: pattern.Source{File: rapid.String().Draw(t, "file")}}
	if rapid.Bool().Draw(t, "circle") {
		r.Pattern, r.PitchCircle = pattern.OnCircle, &pattern.PitchCircle{Diameter: 2 * radius, DiameterU95: 0.1}
	}
	around := rapid.Custom(func(t *rapid.T) *pattern.Feature {
		return &pattern.Feature{X: rapid.Float64Range(-3, 3).Draw(t, "x"), Y: rapid.Float64Range(-3, 3).Draw(t, "y"), Diameter: radius * rapid.Float64Range(0.1, 3).Draw(t, "share")}
	})
	if rapid.Bool().Draw(t, "bored") {
		r.Bore = around.Draw(t, "bore")
	}
	if rapid.Bool().Draw(t, "rimmed") {
		r.Rim = around.Draw(t, "rim")
	}
	space := 2 * radius * math.Sin(math.Pi/float64(max(n, 2)))
	for i := range n {
		sin, cos := math.Sincos((float64(i) + rapid.Float64Range(-0.1, 0.1).Draw(t, "off")) * 2 * math.Pi / float64(n))
		r.Holes = append(r.Holes, pattern.Hole{ID: i + 1, X: radius * cos, Y: radius * sin, Diameter: space * rapid.Float64Range(0.05, 0.7).Draw(t, "diameter")})
	}
	o := Options{Mirror: rapid.Bool().Draw(t, "mirror"), Unit: rapid.SampledFrom([]Unit{MM, Inch}).Draw(t, "unit")}
	if rapid.Bool().Draw(t, "allow") {
		o.Allowance = space * 0.001
	}
	if rapid.Bool().Draw(t, "chosen") {
		o.Clearance = []float64{space * rapid.Float64Range(0.05, 0.7).Draw(t, "clearance")}
	}
	return mustDraw(t, r, o)
}

// expected are where the options put the reading's holes.
func expected(d *Drawing) []Circle {
	var out []Circle
	for _, h := range d.Reading.Holes {
		c := Circle{r2.Vec{X: h.X, Y: h.Y}, h.Diameter, LayerHoles}
		if d.Options.Mirror {
			c.Centre.X = -c.Centre.X
		}
		if d.Options.Clearance != nil {
			c.Diameter = d.Options.Clearance[0]
		}
		c.Diameter += d.Options.Allowance
		out = append(out, c)
	}
	return out
}

func agree(t rapid.TB, form string, got, want []Circle) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d circles, want %d", form, len(got), len(want))
	}
	for i, g := range got {
		const near = 5e-5 // mm; six decimals are written, also of inches
		if w := want[i]; g.Layer != w.Layer || r2.Norm(r2.Sub(g.Centre, w.Centre)) > near || math.Abs(g.Diameter-w.Diameter) > near {
			t.Fatalf("%s: circle %d is %+v, want %+v", form, i, g, w)
		}
	}
}

// Whatever is drawn, each form has each hole where the reading has it: DXF as
// the reader of drawings sees it, the others as their text stands.
func TestFormsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDrawing(t)
		want := expected(d)
		read, err := ReadDXF(strings.NewReader(text(t, d.WriteDXF)), 0)
		if err != nil {
			t.Fatal(err)
		}
		agree(t, "DXF, all", read.All, d.Circles)
		holes, err := read.Holes(len(want), Pick{Layer: "HOLES"})
		if err != nil {
			t.Fatal(err)
		}
		agree(t, "DXF", holes, want)
		agree(t, "SVG", svgCircles(t, text(t, d.WriteSVG))[LayerHoles], want)
		agree(t, "CSV", csvCircles(t, text(t, d.WriteCSV), d.Options.Unit), want)
		agree(t, "OpenSCAD", scadCircles(t, text(t, d.WriteSCAD)), want)
	})
}

// svgCircles reads the circles of an SVG, by layer.
func svgCircles(t rapid.TB, text string) map[string][]Circle {
	t.Helper()
	var doc struct {
		Width   string `xml:"width,attr"`
		Height  string `xml:"height,attr"`
		ViewBox string `xml:"viewBox,attr"`
		Groups  []struct {
			ID      string `xml:"id,attr"`
			Circles []struct {
				X float64 `xml:"cx,attr"`
				Y float64 `xml:"cy,attr"`
				R float64 `xml:"r,attr"`
			} `xml:"circle"`
		} `xml:"g>g"`
	}
	if err := xml.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	var left, top, w, h float64
	if _, err := fmt.Sscanf(doc.ViewBox, "%g %g %g %g", &left, &top, &w, &h); err != nil || doc.Width != number(w)+"mm" || doc.Height != number(h)+"mm" {
		t.Fatalf("width %s, height %s, viewBox %s: not 1:1 in mm", doc.Width, doc.Height, doc.ViewBox)
	}
	out := map[string][]Circle{}
	for _, g := range doc.Groups {
		for _, c := range g.Circles {
			if c.X-c.R < left || c.X+c.R > left+w || c.Y-c.R < top || c.Y+c.R > top+h {
				t.Fatalf("a circle is cut off: %+v, %s", c, doc.ViewBox)
			}
			out[g.ID] = append(out[g.ID], Circle{r2.Vec{X: c.X, Y: -c.Y}, 2 * c.R, g.ID})
		}
	}
	return out
}

func csvCircles(t rapid.TB, text string, u Unit) []Circle {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	var out []Circle
	for _, row := range rows[1:] {
		get := func(name string) float64 {
			v, err := strconv.ParseFloat(row[column[name+"_"+u.Name]], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v * u.MM
		}
		out = append(out, Circle{r2.Vec{X: get("x"), Y: get("y")}, get("drawn_diameter"), LayerHoles})
	}
	return out
}

// scadCircles are the holes of an OpenSCAD file as its text computes them.
func scadCircles(t rapid.TB, text string) []Circle {
	t.Helper()
	value := func(name string) float64 {
		m := regexp.MustCompile(`(?m)^` + name + ` = (\S+);`).FindStringSubmatch(text)
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var out []Circle
	for _, m := range regexp.MustCompile(`(?m)^  \[(\S+), (\S+), (\S+)\], // \d+$`).FindAllStringSubmatch(text, -1) {
		var v [3]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		if value("clearance") > 0 {
			v[2] = value("clearance")
		}
		out = append(out, Circle{r2.Vec{X: v[0], Y: v[1]}, v[2] + value("allowance"), LayerHoles})
	}
	return out
}

// A hole's number stands clear of every circle, wherever there is room.
func TestNumbersAreClear(t *testing.T) {
	for _, mirror := range []bool{false, true} {
		d := mustDraw(t, press(), Options{Mirror: mirror})
		for i, l := range d.Labels[:len(d.Holes)] {
			if l.Text != strconv.Itoa(i+1) || d.clear(l.At) < math.Hypot(l.width(), l.Height)/2 || r2.Norm(r2.Sub(l.At, d.Holes[i].Centre)) > 12 {
				t.Errorf("%+v, %g mm clear, its hole at %v", l, d.clear(l.At), d.Holes[i].Centre)
			}
		}
	}
	close := &pattern.Reading{}
	for i := range 30 {
		close.Holes = append(close.Holes, pattern.Hole{ID: i + 1, X: 2 * float64(i), Diameter: 1.9})
	}
	for _, l := range mustDraw(t, close, Options{}).Labels {
		if l.Height < smallestLabel {
			t.Errorf("%+v", l)
		}
	}
}

// What a file is called may be anything; no form is broken by it.
func TestHostileName(t *testing.T) {
	r := press()
	r.Source.File = "/home/me/a\n%%c<b>&\"*/]];\r0\nEOF\n\x00\xff]]>.png"
	for _, o := range []Options{{}, {Mirror: true, Unit: Inch, Clearance: []float64{9}, Size: "M8,\n normal"}} {
		d := mustDraw(t, r, o)
		dxf := text(t, d.WriteDXF)
		if read, err := ReadDXF(strings.NewReader(dxf), 0); err != nil || len(read.All) != 9 {
			t.Errorf("DXF: %v", err)
		}
		for _, c := range dxf {
			if c != '\r' && c != '\n' && (c < ' ' || c > '~') {
				t.Fatalf("DXF of release 12 with %q", c)
			}
		}
		for i, line := range strings.Split(strings.TrimSuffix(dxf, "\r\n"), "\r\n") {
			if _, err := strconv.Atoi(strings.TrimSpace(line)); i%2 == 0 && err != nil {
				t.Fatalf("line %d is %q, no group code", i+1, line)
			}
		}
		svgCircles(t, text(t, d.WriteSVG))
		scad := text(t, d.WriteSCAD)
		if len(scadCircles(t, scad)) != 6 || strings.Contains(scad, "me/") {
			t.Error(scad)
		}
		for _, line := range strings.Split(scad[:strings.Index(scad, "\n\n")], "\n") {
			if !strings.HasPrefix(line, "// ") {
				t.Errorf("OpenSCAD: %q", line)
			}
		}
		text(t, func(w io.Writer) error { return d.WritePDF(w, Paper{"a4", 210, 297}, [2]float64{}) })
	}
}

// Codes of DXF text in a file's name stay what they are.
func TestDXFText(t *testing.T) {
	for in, want := range map[string]string{"a%%c.png": "a% %c.png", "%%%%%": "% % % % %", "90° ±0.1": "90%%d %%p0.1", "ä\r\n": "???", "…x": "...x"} {
		if got := dxfText(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

// With one size for all, the table keeps what was measured, for clearance = 0.
func TestSCADKeepsMeasured(t *testing.T) {
	if got := text(t, mustDraw(t, press(), Options{Clearance: []float64{9}}).WriteSCAD); strings.Count(got, ", 8.9], //") != 6 || !strings.Contains(got, "diameter as measured.") {
		t.Error(got)
	}
}

// Each impossible drawing has its own line.
func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*pattern.Reading, *Options)
		want string // "" draws
	}{
		{"as it is", func(*pattern.Reading, *Options) {}, ""},
		{"no holes", func(r *pattern.Reading, _ *Options) { r.Holes = nil }, "no holes"},
		{"too many holes", func(r *pattern.Reading, _ *Options) { r.Holes = make([]pattern.Hole, 10_000) }, "10000 holes, more than 1000"},
		{"not a number", func(r *pattern.Reading, _ *Options) { r.Holes[2].X = math.NaN() }, "hole 3"},
		{"infinite", func(r *pattern.Reading, _ *Options) { r.Holes[2].Y = math.Inf(-1) }, "hole 3"},
		{"no size", func(r *pattern.Reading, _ *Options) { r.Holes[2].Diameter = 0 }, "hole 3"},
		{"bore", func(r *pattern.Reading, _ *Options) { r.Bore.Diameter = math.NaN() }, "the bore"},
		{"rim", func(r *pattern.Reading, _ *Options) { r.Rim.X = math.Inf(1) }, "the rim"},
		{"pitch circle", func(r *pattern.Reading, _ *Options) { r.PitchCircle.Diameter = math.Inf(1) }, "pitch circle"},
		{"stand-in", func(r *pattern.Reading, _ *Options) { r.Holes[4].DiameterU95 = r.Holes[4].Diameter / 2 }, "hole 5: its diameter is not known"},
		{"stand-in, chosen", func(r *pattern.Reading, o *Options) {
			r.Holes[4].DiameterU95, o.Clearance = r.Holes[4].Diameter/2, []float64{9}
		}, ""},
		{"sizes", func(_ *pattern.Reading, o *Options) { o.Clearance = []float64{9, 9} }, "2 hole sizes are given for 6 holes"},
		{"chosen, not a number", func(_ *pattern.Reading, o *Options) { o.Clearance = []float64{math.NaN()} }, "hole 1"},
		{"chosen, into one another", func(_ *pattern.Reading, o *Options) { o.Clearance = []float64{45} }, "run into one another"},
		{"allowance", func(_ *pattern.Reading, o *Options) { o.Allowance = -0.1 }, "allowance of -0.1"},
		{"allowance, not a number", func(_ *pattern.Reading, o *Options) { o.Allowance = math.NaN() }, "allowance"},
	} {
		r, o := press(), Options{}
		c.do(r, &o)
		d, err := New(r, o)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n")):
			t.Errorf("%s: %v, %v", c.name, d, err)
		}
	}
}

// The files that a reading is of are named without their folders.
func TestNamesWithoutFolders(t *testing.T) {
	r := press()
	r.Source.File = `/home/press/1.json, C:\scans\2.json`
	if got := strings.Join(mustDraw(t, r, Options{}).Notes, " "); !strings.Contains(got, "From 1.json, 2.json.") {
		t.Error(got)
	}
	g, err := NewGuard(r, m8(6), usual())
	if err != nil {
		t.Fatal(err)
	}
	if got := text(t, g.WriteSCAD); !strings.Contains(got, "Holes as measured: 1.json, 2.json.") {
		t.Error(got[:300])
	}
}

// The view, the sizes and their cause are said.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		o    Options
		want []string
	}{
		{Options{}, []string{"6 holes of 8.9 mm (as measured).", "PCD) 96 mm", "Bore 51.50 ±0.50 mm", "Seen looking at the face, holes numbered counter-clockwise", "From press.png"}},
		{Options{Clearance: []float64{9}, Size: "M8, normal fit, ISO 273", Allowance: 0.2}, []string{"6 holes of 9.2 mm (M8, normal fit, ISO 273, with an allowance of 0.2 mm)"}},
		{Options{Clearance: []float64{9, 9, 9, 9, 9, 6.6}, Mirror: true}, []string{"of 6.6 to 9 mm.", "MIRRORED", "numbered clockwise"}},
		{Options{Unit: Inch, Clearance: []float64{25.4}}, []string{"of 1 in.", "numbers in inches"}},
	} {
		got := strings.Join(mustDraw(t, press(), c.o).Notes, " ")
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%q lacks %q", got, want)
			}
		}
	}
}

func TestCSV(t *testing.T) {
	r := press()
	angle, u := 187.0, 0.07
	r.Holes[3].AngleDeg, r.Holes[3].AngleU95Deg = &angle, &u
	r.Pattern = pattern.OnCircle
	r.Gaps = []pattern.Span{{From: 3, To: 4, AngleDeg: &angle, AngleU95Deg: &u, Chord: 53, ChordU95: 0.2}}
	d := mustDraw(t, r, Options{})
	if got := text(t, d.WriteGapsCSV); got != "from,to,angle_deg,angle_u95_deg,chord_mm,chord_u95_mm,view\n3,4,187,0.07,53,0.2,facing\n" {
		t.Error(got)
	}
	holes := strings.Split(text(t, d.WriteCSV), "\n")
	if holes[1] != "1,0,48,0.1,0.1,,,8.9,0,8.9,facing" || !strings.Contains(holes[4], ",187,0.07,8.9") {
		t.Error(holes)
	}
	r.Pattern = pattern.Free
	r.Gaps, r.Chords = nil, []pattern.Span{{From: 1, To: 2, Chord: 25.4}}
	d = mustDraw(t, r, Options{Unit: Inch, Mirror: true})
	if got := text(t, d.WriteGapsCSV); got != "from,to,angle_deg,angle_u95_deg,chord_in,chord_u95_in,view\n1,2,,,1,0,mirrored\n" {
		t.Error(got)
	}
}

// A table's angles and places are of one view, so that a part drilled by either
// is the same.
func TestCSVIsOfOneView(t *testing.T) {
	for _, mirror := range []bool{false, true} {
		r := press()
		for i := range r.Holes {
			a := math.Mod(math.Atan2(r.Holes[i].Y, r.Holes[i].X)*180/math.Pi-90+720, 360) // hole 1 is at the top
			r.Holes[i].AngleDeg = &a
		}
		rows, err := csv.NewReader(strings.NewReader(text(t, mustDraw(t, r, Options{Mirror: mirror}).WriteCSV))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows[1:] {
			var v [6]float64
			for k := range v {
				v[k], _ = strconv.ParseFloat(row[k], 64)
			}
			if off := math.Remainder(math.Atan2(v[2], v[1])*180/math.Pi-90-v[5], 360); math.Abs(off) > 1e-4 {
				t.Errorf("mirrored %v: hole %s lies at %g, %g, its angle is %g°", mirror, row[0], v[1], v[2], v[5])
			}
		}
	}
}

// A full disk is told by every form.
func TestWriteErrors(t *testing.T) {
	d := mustDraw(t, press(), Options{})
	for name, write := range map[string]func(io.Writer) error{
		"DXF": d.WriteDXF, "SVG": d.WriteSVG, "CSV": d.WriteCSV, "gaps": d.WriteGapsCSV, "OpenSCAD": d.WriteSCAD,
		"PDF": func(w io.Writer) error { return d.WritePDF(w, Paper{"a4", 210, 297}, [2]float64{}) },
	} {
		if write(fullDisk{}) == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// audit is how ezdxf, a DXF library that has nothing in common with ours, sees
// a file.
const audit = `
import json, sys, ezdxf
doc = ezdxf.readfile(sys.argv[1])
a = doc.audit()
print(json.dumps({
    "problems": [e.message for e in a.errors + a.fixes],
    "release": doc.dxfversion,
    "units": doc.header.get("$INSUNITS"),
    "metric": doc.header.get("$MEASUREMENT"),
    "layers": [l.dxf.name for l in doc.layers],
    "circles": [[c.dxf.layer, c.dxf.center.x, c.dxf.center.y, c.dxf.radius] for c in doc.modelspace().query("CIRCLE")],
    "texts": [t.dxf.text for t in doc.modelspace().query("TEXT")],
}))`

func TestDXFForEzdxf(t *testing.T) {
	python := "/usr/bin/python3" // Debian's, for which python3-ezdxf is installed
	if err := exec.Command(python, "-c", "import ezdxf").Run(); err != nil {
		if os.Getenv("BOLTROSE_TESTFILES") != "" {
			t.Fatalf("BOLTROSE_TESTFILES is set, and python3-ezdxf cannot be used: %v", err)
		}
		t.Skip("python3-ezdxf is not installed")
	}
	for _, o := range []Options{{}, {Unit: Inch, Mirror: true, Clearance: []float64{9}, Allowance: 0.2}} {
		d := mustDraw(t, press(), o)
		file := t.TempDir() + "/part.dxf"
		if err := os.WriteFile(file, []byte(text(t, d.WriteDXF)), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(python, "-c", audit, file).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		var seen struct {
			Problems, Layers, Texts []string
			Release                 string
			Units, Metric           int
			Circles                 [][]any
		}
		if err := json.Unmarshal(out, &seen); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		units, metric := 4, 1
		if o.Unit == Inch {
			units, metric = 1, 0
		}
		if len(seen.Problems) > 0 || seen.Release != "AC1009" || seen.Units != units || seen.Metric != metric {
			t.Errorf("%s", out)
		}
		for _, l := range Layers {
			if !strings.Contains(fmt.Sprint(seen.Layers), l) {
				t.Errorf("no layer %s in %v", l, seen.Layers)
			}
		}
		var got []Circle
		for _, c := range seen.Circles {
			k := d.Options.Unit.MM
			got = append(got, Circle{r2.Vec{X: k * c[1].(float64), Y: k * c[2].(float64)}, 2 * k * c[3].(float64), c[0].(string)})
		}
		agree(t, "ezdxf", got, d.Circles)
		if !strings.Contains(strings.Join(seen.Texts, " "), "Scale 1:1") {
			t.Error(seen.Texts)
		}
	}
}
