package draw

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// pairs writes group codes and values as a file has them.
func pairs(values ...any) string {
	var b strings.Builder
	for i := 0; i < len(values); i += 2 {
		fmt.Fprintf(&b, "%3d\n%v\n", values[i], values[i+1])
	}
	return b.String()
}

func head(insUnits int) string {
	return pairs(999, "a comment", 0, "SECTION", 2, "HEADER", 9, "$INSUNITS", 70, insUnits, 0, "ENDSEC")
}

func entities(text string) string {
	return pairs(0, "SECTION", 2, "ENTITIES") + text + pairs(0, "ENDSEC", 0, "EOF")
}

func circle(x, y, r float64, more ...any) string {
	return pairs(append([]any{0, "CIRCLE", 8, "HOLES", 10, x, 20, y, 30, 0, 40, r}, more...)...)
}

func mustRead(t *testing.T, text string, unit float64) *Circles {
	t.Helper()
	c, err := ReadDXF(strings.NewReader(text), unit)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// By hand from the DXF reference: units, layers, space, and the side a circle
// is seen from.
func TestReadDXF(t *testing.T) {
	text := head(1) + entities(circle(1, 2, 0.25)+
		circle(1, 2, 0.25)+ // drawn twice
		circle(3, 4, 0.5, 210, 0, 220, 0, 230, -1)+ // from below
		circle(9, 9, 1, 67, 1)+ // in paper space
		circle(8, 8, 1, 60, 1)+ // invisible
		pairs(0, "LINE", 8, "0", 10, "here", 20, 0, 11, 1, 21, 1, 0, "ARC", 40, 1))
	for _, text := range []string{text, strings.ReplaceAll(text, "\n", "\r\n"), "\uFEFF" + text} {
		c := mustRead(t, text, 0)
		want := []Circle{{r2.Vec{X: 25.4, Y: 50.8}, 12.7, "HOLES"}, {r2.Vec{X: -3 * 25.4, Y: 101.6}, 25.4, "HOLES"}}
		if len(c.All) != 2 || c.All[0] != want[0] || r2.Norm(r2.Sub(c.All[1].Centre, want[1].Centre)) > 1e-9 || c.All[1].Diameter != 25.4 || c.Hidden != 1 || c.Other["ARC"] != 1 {
			t.Errorf("%+v", c)
		}
	}
	if c := mustRead(t, text, 1); c.All[0].Diameter != 0.5 {
		t.Errorf("given mm: %+v", c)
	}
}

func TestReadDXFHiddenLayer(t *testing.T) {
	table := func(colour, flags int) string {
		return pairs(0, "SECTION", 2, "TABLES", 0, "TABLE", 2, "LAYER", 0, "LAYER", 2, "holes", 70, flags, 62, colour, 0, "ENDTAB", 0, "ENDSEC")
	}
	for _, c := range []struct{ colour, flags, seen int }{{7, 0, 1}, {-7, 0, 0}, {7, 1, 0}, {7, 4, 1}} {
		if got := mustRead(t, head(4)+table(c.colour, c.flags)+entities(circle(0, 0, 1)), 0); len(got.All) != c.seen || got.Hidden != 1-c.seen {
			t.Errorf("colour %d, flags %d: %+v", c.colour, c.flags, got)
		}
	}
}

func TestReadDXFUnits(t *testing.T) {
	body := entities(circle(1, 0, 1))
	for _, c := range []struct {
		head string
		want float64 // 0: refused
	}{
		{head(4), 2}, {head(5), 20}, {head(1), 50.8}, {head(0), 0}, {head(17), 0}, {"", 0},
		{pairs(0, "SECTION", 2, "HEADER", 9, "$MEASUREMENT", 70, 1, 0, "ENDSEC"), 2},
		{pairs(0, "SECTION", 2, "HEADER", 9, "$MEASUREMENT", 70, 0, 0, "ENDSEC"), 0},
	} {
		got, err := ReadDXF(strings.NewReader(c.head+body), 0)
		if c.want == 0 {
			if !errors.Is(err, ErrNoUnit) {
				t.Errorf("%q: %v, %v", c.head, got, err)
			}
		} else if err != nil || math.Abs(got.All[0].Diameter-c.want) > 1e-12 {
			t.Errorf("%q: %+v, %v", c.head, got, err)
		}
	}
}

func TestReadDXFRefuses(t *testing.T) {
	blocks := func(inside string) string {
		return pairs(0, "SECTION", 2, "BLOCKS", 0, "BLOCK", 8, "0", 2, "OUTER", 70, 0, 10, 0, 20, 0) + inside + pairs(0, "ENDBLK") +
			pairs(0, "BLOCK", 2, "HOLE") + circle(0, 0, 1) + pairs(0, "ENDBLK", 0, "BLOCK", 2, "FRAME", 0, "LINE", 0, "ENDBLK", 0, "ENDSEC")
	}
	insert := func(name string) string { return pairs(0, "INSERT", 2, name, 10, 0, 20, 0) }
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "ends early"},
		{"no DXF", "solid part\nfacet\n", "no DXF"},
		{"a picture", "\x89PNG\r\n\x1a\n\x00\x00", "no DXF"},
		{"binary", "binary\x00DXF\nxx\n", "no text"},
		{"cut", head(4) + pairs(0, "SECTION", 2, "ENTITIES") + circle(0, 0, 1), "ends early"},
		{"cut within a pair", head(4) + " 0\n", "ends early"},
		{"no group code", head(4) + pairs(0, "SECTION", 2, "ENTITIES") + "x\ny\n", "group code"},
		{"no number", head(4) + entities(pairs(0, "CIRCLE", 10, "1,5", 20, 0, 40, 1)), "number"},
		{"not a number", head(4) + entities(pairs(0, "CIRCLE", 10, "NaN", 20, 0, 40, 1)), "number"},
		{"no centre", head(4) + entities(pairs(0, "CIRCLE", 40, 1)), "no centre"},
		{"no radius", head(4) + entities(pairs(0, "CIRCLE", 10, 1, 20, 1)), "no radius"},
		{"negative radius", head(4) + entities(circle(0, 0, -1)), "no radius"},
		{"tilted", head(4) + entities(circle(0, 0, 1, 210, 1, 220, 0, 230, 0)), "flat"},
		{"no normal", head(4) + entities(circle(0, 0, 1, 210, 0, 220, 0, 230, 0)), ""},
		{"far", head(6) + entities(circle(1e5, 0, 1)), "unit"},
		{"block", head(4) + blocks("") + entities(insert("hole")), "explode"},
		{"nested block", head(4) + blocks(insert("hole")) + entities(insert("OUTER")), "explode"},
		{"a long line", head(4) + strings.Repeat("9", maxDXFLine+2), "too long"},
	} {
		got, err := ReadDXF(strings.NewReader(c.text), 0)
		if c.want == "" {
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, %v", c.name, got, err)
		}
	}
	if got := mustRead(t, head(4)+blocks(insert("OUTER"))+entities(insert("FRAME")+insert("OUTER")+insert("nowhere")+circle(0, 0, 1)), 0); len(got.All) != 1 {
		t.Errorf("blocks without circles: %+v", got)
	}
}

func TestHoles(t *testing.T) {
	plate := entities(circle(0, 0, 26) + circle(0, 0, 60) +
		circle(48, 0, 4.5) + circle(0, 48, 4.5) + circle(-48, 0, 4.5) + circle(0, -48, 4.505) +
		circle(48, 0, 8) + circle(0, 48, 8) + circle(-48, 0, 8) + circle(0, -48, 8) +
		circle(30, 30, 3, 8, "PINS") + circle(-30, -30, 3, 8, "PINS") + circle(30, -30, 3, 8, "PINS"))
	c := mustRead(t, head(4)+plate, 0)
	for _, k := range []struct {
		n        int
		pick     Pick
		diameter float64 // 0: refused
	}{
		{4, Pick{}, 9}, // not the counterbores
		{4, Pick{Low: 15, High: 17}, 16},
		{3, Pick{}, 6},
		{3, Pick{Layer: "pins"}, 6},
		{5, Pick{}, 0},
		{13, Pick{}, 0}, // all there are, bore and rim among them
		{1, Pick{}, 0},  // bore or rim?
		{1, Pick{Low: 100}, 120},
		{4, Pick{Layer: "nowhere"}, 0},
	} {
		got, err := c.Holes(k.n, k.pick)
		if k.diameter == 0 {
			if err == nil || !strings.Contains(err.Error(), "diameter or layer") {
				t.Errorf("%+v: %v, %v", k, got, err)
			}
			continue
		}
		if err != nil || len(got) != k.n || math.Abs(got[0].Diameter-k.diameter) > alike {
			t.Errorf("%+v: %v, %v", k, got, err)
		}
	}
}

func FuzzReadDXF(f *testing.F) {
	f.Add(head(4)+entities(circle(1, 2, 3)), 0.0)
	f.Add(head(1)+entities(circle(1, 2, 3, 210, 0, 220, 0, 230, -1)), 25.4)
	f.Add(pairs(0, "SECTION", 2, "BLOCKS", 0, "BLOCK", 2, "A", 0, "INSERT", 2, "A", 0, "ENDBLK", 0, "ENDSEC")+entities(pairs(0, "INSERT", 2, "A")), 1.0)
	f.Add("0\nEOF\n", 0.0)
	f.Fuzz(func(t *testing.T, text string, unit float64) {
		if !(unit >= 0 && unit < 1e6) {
			return
		}
		c, err := ReadDXF(strings.NewReader(text), unit)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		for _, k := range c.All {
			if !(k.Diameter > 0 && k.Diameter <= maxMM && math.Abs(k.Centre.X) <= maxMM && math.Abs(k.Centre.Y) <= maxMM) {
				t.Errorf("%+v", k)
			}
		}
		if got, err := c.Holes(len(c.All), Pick{High: 2 * maxMM}); err != nil || len(got) != len(c.All) {
			t.Errorf("%v, %v", got, err)
		}
	})
}
