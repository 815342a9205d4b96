// Package draw knows drawings: it draws a reading as DXF, SVG, PDF, CSV and
// OpenSCAD, and finds the circles of a DXF file.
package draw

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Circle is a circle of a drawing, in mm.
type Circle struct {
	Centre   r2.Vec
	Diameter float64
	Layer    string
}

// Circles are the circles that a DXF file shows.
type Circles struct {
	All  []Circle
	Unit string // what its numbers are, and why that is known

	Hidden int            // circles on layers that are off or frozen, and invisible ones
	Other  map[string]int // other outlines that could be holes, by their DXF name
}

// ErrNoUnit says that a drawing does not tell what its numbers are.
var ErrNoUnit = errors.New("the drawing does not say whether its numbers are mm or inches: say which")

const (
	maxDXFLine = 1 << 20
	maxCircles = 100_000
	maxMM      = 1e6
)

// dxfUnits are the values of $INSUNITS that lengths of parts come in, in mm.
var dxfUnits = map[int]struct {
	name string
	mm   float64
}{1: {"inches", 25.4}, 2: {"feet", 304.8}, 4: {"mm", 1}, 5: {"cm", 10}, 6: {"m", 1000}, 9: {"mils", 0.0254}, 13: {"µm", 0.001}, 14: {"dm", 100}}

// ReadDXF reads the circles of an ASCII DXF file, of whatever release: the
// format is a list of pairs, a group code and its value, each on a line of its
// own (DXF reference, "Group codes in numerical order"). unitMM is the file's
// unit in mm; 0 takes what $INSUNITS of the file says, or mm where $MEASUREMENT
// alone says metric.
//
// Only CIRCLEs of model space that lie flat and can be seen count. A circle in
// a block that is inserted is an error, because it would be missed.
func ReadDXF(r io.Reader, unitMM float64) (*Circles, error) {
	d := &dxf{lines: bufio.NewScanner(r), out: Circles{Other: map[string]int{}}, hiddenLayers: map[string]bool{}, blocks: map[string]*dxfBlock{}}
	d.lines.Buffer(nil, maxDXFLine)
	if err := d.read(); err != nil {
		return nil, err
	}
	return d.finish(unitMM)
}

// dxf is a file while it is read.
type dxf struct {
	lines *bufio.Scanner
	line  int
	out   Circles

	insUnits, measurement int // −1 where not said
	hiddenLayers          map[string]bool
	blocks                map[string]*dxfBlock
	inserts               []string
	found                 []dxfEntity
}

type dxfBlock struct {
	circles bool
	inserts []string
}

// dxfEntity is what is kept of one entity. Values that a file leaves out have
// the format's defaults.
type dxfEntity struct {
	kind, layer, name string
	x, y, radius      float64
	hasX, hasY        bool
	normal            [3]float64
	paper, invisible  bool
	colour, flags     int
	line              int
}

// pair reads a group code and its value.
func (d *dxf) pair() (code int, value string, err error) {
	next := func() (string, bool) {
		if !d.lines.Scan() {
			return "", false
		}
		d.line++
		return d.lines.Text(), true
	}
	first, ok := next()
	second, ok2 := "", false
	if ok {
		if bytes.IndexByte([]byte(first), 0) >= 0 {
			return 0, "", errors.New("this is no text: save the drawing as ASCII DXF")
		}
		second, ok2 = next()
	}
	if !ok || !ok2 {
		if errors.Is(d.lines.Err(), bufio.ErrTooLong) {
			return 0, "", fmt.Errorf("line %d is too long for a DXF file", d.line+1)
		}
		if err := d.lines.Err(); err != nil {
			return 0, "", err
		}
		return 0, "", fmt.Errorf("the file ends early, at line %d, without the EOF of a DXF file: save it again", d.line)
	}
	if d.line == 2 {
		first = strings.TrimPrefix(first, "\uFEFF")
	}
	code, err = strconv.Atoi(strings.TrimSpace(first))
	if err != nil {
		if d.line == 2 {
			return 0, "", errors.New("this is no DXF file: it does not begin with a group code")
		}
		return 0, "", fmt.Errorf("line %d holds %.20q where a DXF file has a group code", d.line-1, first)
	}
	return code, strings.TrimSpace(second), nil
}

// read goes through the sections.
func (d *dxf) read() error {
	d.insUnits, d.measurement = -1, -1
	section, variable := "", ""
	inBlock := ""
	var e dxfEntity
	fresh := func(kind string) {
		e = dxfEntity{kind: kind, layer: "0", normal: [3]float64{0, 0, 1}, colour: 7, line: d.line}
	}
	fresh("")
	for {
		code, value, err := d.pair()
		if err != nil {
			return err
		}
		if code == 0 {
			if err := d.keep(section, inBlock, e); err != nil {
				return err
			}
			if e.kind == "BLOCK" {
				inBlock = e.name
			}
			fresh(strings.ToUpper(value))
			switch e.kind {
			case "EOF":
				return nil
			case "ENDSEC":
				section = ""
			case "ENDBLK":
				inBlock = ""
			}
			continue
		}
		if e.kind == "SECTION" && section == "" && code == 2 {
			section = strings.ToUpper(value)
			continue
		}
		if section == "HEADER" {
			switch {
			case code == 9:
				variable = strings.ToUpper(value)
			case code == 70 && variable == "$INSUNITS":
				d.insUnits = d.integer(value)
			case code == 70 && variable == "$MEASUREMENT":
				d.measurement = d.integer(value)
			}
			continue
		}
		if err := d.set(&e, code, value); err != nil {
			return err
		}
	}
}

func (d *dxf) integer(s string) int {
	v, err := strconv.Atoi(s)
	if err != nil {
		return -1
	}
	return v
}

// set takes one value of an entity. Numbers matter for circles only; other
// entities use the same codes for other things.
func (d *dxf) set(e *dxfEntity, code int, value string) error {
	switch code {
	case 2:
		e.name = value
	case 8:
		e.layer = value
	case 60:
		e.invisible = d.integer(value) == 1
	case 62:
		e.colour = d.integer(value)
		if strings.HasPrefix(value, "-") {
			e.colour = -1
		}
	case 67:
		e.paper = d.integer(value) == 1
	case 70:
		e.flags = d.integer(value)
	}
	if e.kind != "CIRCLE" {
		return nil
	}
	var to *float64
	switch code {
	case 10:
		to, e.hasX = &e.x, true
	case 20:
		to, e.hasY = &e.y, true
	case 40:
		to = &e.radius
	case 210, 220, 230:
		to = &e.normal[code/10-21]
	default:
		return nil
	}
	v, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("line %d holds %.20q where a circle has a number", d.line, value)
	}
	*to = v
	return nil
}

// keep files away an entity that is complete.
func (d *dxf) keep(section, inBlock string, e dxfEntity) error {
	switch {
	case section == "TABLES" && e.kind == "LAYER":
		if e.colour < 0 || e.flags > 0 && e.flags&1 == 1 {
			d.hiddenLayers[strings.ToUpper(e.name)] = true
		}
	case section == "BLOCKS" && inBlock != "":
		b := d.blocks[strings.ToUpper(inBlock)]
		if b == nil {
			b = &dxfBlock{}
			d.blocks[strings.ToUpper(inBlock)] = b
		}
		b.circles = b.circles || e.kind == "CIRCLE"
		if e.kind == "INSERT" {
			b.inserts = append(b.inserts, e.name)
		}
	case section == "ENTITIES":
		switch e.kind {
		case "INSERT":
			d.inserts = append(d.inserts, e.name)
		case "ARC", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE":
			d.out.Other[e.kind]++
		case "CIRCLE":
			if len(d.found) == maxCircles {
				return fmt.Errorf("more than %d circles: no part is drawn so", maxCircles)
			}
			d.found = append(d.found, e)
		}
	}
	return nil
}

// finish turns what was read into circles in mm.
func (d *dxf) finish(unitMM float64) (*Circles, error) {
	for _, name := range d.inserts {
		if d.hasCircles(name, map[string]bool{}) {
			return nil, fmt.Errorf("the drawing inserts the block %.40q, which has circles; blocks are not read: explode them (break them up into their parts) and save again", name)
		}
	}
	if unitMM == 0 {
		unit, known := dxfUnits[d.insUnits]
		switch {
		case known:
			unitMM, d.out.Unit = unit.mm, fmt.Sprintf("%s, as its $INSUNITS says", unit.name)
		case d.insUnits > 0:
			return nil, fmt.Errorf("$INSUNITS is %d, which no part is drawn in: %w", d.insUnits, ErrNoUnit)
		case d.measurement == 1:
			unitMM, d.out.Unit = 1, "mm, because its $MEASUREMENT is metric and it says no more"
		default:
			return nil, ErrNoUnit
		}
	} else {
		d.out.Unit = fmt.Sprintf("%g mm, as given", unitMM)
	}
	type key struct{ x, y, d int64 }
	seen := map[key]bool{}
	for _, e := range d.found {
		if e.paper {
			continue
		}
		if e.invisible || d.hiddenLayers[strings.ToUpper(e.layer)] {
			d.out.Hidden++
			continue
		}
		n := e.normal
		switch tilt := math.Hypot(n[0], n[1]); {
		case !e.hasX || !e.hasY || e.radius <= 0:
			return nil, fmt.Errorf("the circle at line %d has no centre or no radius", e.line)
		case !(tilt <= 1e-9*math.Abs(n[2])):
			return nil, fmt.Errorf("the circle at line %d does not lie flat: draw the part as seen from above", e.line)
		case n[2] < 0: // seen from below: the arbitrary axis algorithm reverses x
			e.x = -e.x
		}
		c := Circle{r2.Vec{X: e.x * unitMM, Y: e.y * unitMM}, 2 * e.radius * unitMM, e.layer}
		if !(math.Abs(c.Centre.X) <= maxMM && math.Abs(c.Centre.Y) <= maxMM && c.Diameter <= maxMM) {
			return nil, fmt.Errorf("the circle at line %d is further away or larger than any part: is the unit right?", e.line)
		}
		const same = 1e-6 // mm: lines drawn twice are common
		k := key{int64(math.Round(c.Centre.X / same)), int64(math.Round(c.Centre.Y / same)), int64(math.Round(c.Diameter / same))}
		if !seen[k] {
			seen[k] = true
			d.out.All = append(d.out.All, c)
		}
	}
	return &d.out, nil
}

// hasCircles says whether a block, or one inserted in it, has a circle.
func (d *dxf) hasCircles(name string, seen map[string]bool) bool {
	name = strings.ToUpper(name)
	b := d.blocks[name]
	if b == nil || seen[name] {
		return false
	}
	seen[name] = true
	if b.circles {
		return true
	}
	for _, in := range b.inserts {
		if d.hasCircles(in, seen) {
			return true
		}
	}
	return false
}
