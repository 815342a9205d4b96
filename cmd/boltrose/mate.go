package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/pattern/thread"

	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r2"
)

//go:embed help_mate.txt
var helpMate string

// mateCommand is what the flags of boltrose mate say.
type mateCommand struct {
	reading string

	pcd      float64
	holes    int
	angles   []float64
	with     string
	flip     bool
	position float64
	bolts    []bolt
	holeSizes
	faceHole       float64
	low, high      float64
	layer, drawnIn string
	json, units    string
	draws          int
	seed           uint64
}

func runMate(args []string, stdout, stderr io.Writer) int {
	c, err := parseMate(args)
	if err == nil {
		err = c.run(stdout, stderr)
	}
	return ended(err, helpMate, stdout, stderr)
}

func newMateFlags(c *mateCommand) *pflag.FlagSet {
	f := newFlags("mate")
	f.Var(mmValue(&c.pcd), "pcd", "")
	f.IntVar(&c.holes, "holes", 0, "")
	f.Var(anglesValue(&c.angles), "angles", "")
	f.StringVar(&c.with, "with", "", "")
	f.BoolVar(&c.flip, "flip", false, "")
	f.Var(mmValue(&c.position), "position", "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	c.holeSizes.addTo(f)
	f.Var(mmValue(&c.faceHole), "face-hole", "")
	f.Var(rangeValue(&c.low, &c.high), "diameter", "")
	f.StringVar(&c.layer, "layer", "", "")
	f.StringVar(&c.drawnIn, "drawing-units", "", "")
	f.StringVar(&c.json, "json", "", "")
	f.StringVar(&c.units, "units", show.MM.Name, "")
	f.IntVar(&c.draws, "draws", 10_000, "")
	f.Uint64Var(&c.seed, "seed", 1, "")
	return f
}

func parseMate(args []string) (*mateCommand, error) {
	c := &mateCommand{}
	f := newMateFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	var err error
	if c.reading, err = oneFile(f, "reading", "boltrose mate reading.json --pcd 96 --holes 6 --bolt M8", "; the part is given by flags"); err != nil {
		return nil, err
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *mateCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	drawing := strings.EqualFold(filepath.Ext(c.with), ".dxf")
	switch {
	case given("with") && (given("pcd") || given("holes") || given("angles")):
		return errors.New("--with gives the part; leave --pcd, --holes and --angles out")
	case !given("with") && !given("pcd"):
		return errors.New("which part? Give --pcd with --holes or --angles, or --with a reading or drawing")
	case given("with") && !drawing && !strings.EqualFold(filepath.Ext(c.with), ".json"):
		return fmt.Errorf("--with %s: give a reading that ends in .json or a drawing that ends in .dxf", c.with)
	case given("pcd") && given("holes") == given("angles"):
		return errors.New("--pcd wants either --holes N for even holes or --angles with each hole's angle")
	case given("holes") && (c.holes < 2 || c.holes > pattern.MaxMateHoles):
		return fmt.Errorf("--holes is a number from 2 to %d, not %d", pattern.MaxMateHoles, c.holes)
	case !given("bolt"):
		return errors.New("which bolts? Give --bolt M8, or the diameter of what goes through the holes")
	case (given("diameter") || given("layer") || given("drawing-units")) && !drawing:
		return errors.New("--diameter, --layer and --drawing-units are about a drawing: --with part.dxf")
	case given("drawing-units") && c.drawnIn != "mm" && c.drawnIn != "in":
		return fmt.Errorf("--drawing-units is mm or in, not %s", c.drawnIn)
	case c.units != show.MM.Name && c.units != show.Inch.Name:
		return fmt.Errorf("--units is mm or in, not %s", c.units)
	case c.json == "-" && given("units"):
		return errors.New("--units and --json - cannot go together: JSON is always in mm")
	case given("json") && c.json == "":
		return errors.New("--json wants a file name, or - for standard output")
	case c.draws < 100 || c.draws > pattern.MaxDraws:
		return fmt.Errorf("--draws is a number from 100 to %d, not %d", pattern.MaxDraws, c.draws)
	}
	return c.holeSizes.check(f)
}

func (c *mateCommand) run(stdout, stderr io.Writer) error {
	if c.json != "" && c.json != "-" {
		err := checkOutputs([]output{{"--json", c.json}}, input{"face's reading", c.reading}, input{"part", c.with})
		if err != nil {
			return err
		}
	}
	face, err := openReading(c.reading)
	if err != nil {
		return err
	}
	j := pattern.Joint{Face: face.Places(), Flip: c.flip}
	part, err := c.part(len(face.Holes))
	if err != nil {
		return err
	}
	j.Part = part.holes
	j.Part.Zone = c.position
	about := show.MateAbout{Face: filepath.Base(c.reading), Part: part.about, Floating: c.faceHole > 0, Unit: c.unit(), Made: part.made}
	sizes, err := c.sizes(&j, part, &about)
	if err != nil {
		return err
	}
	m, err := pattern.Mate(j, pattern.MateOptions{Draws: c.draws, Seed: c.seed, Sizes: sizes, Made: part.made})
	if err != nil {
		return err
	}
	m.Warnings = append(m.Warnings, part.warnings...)
	for _, w := range face.Warnings {
		m.Warnings = append(m.Warnings, "of the face's reading: "+w)
	}
	if c.json == "-" {
		warnings(stderr, m.Warnings)
		return toStdout(stdout, m.WriteJSON)
	}
	if c.json != "" {
		if err := atomicfile.Write(c.json, m.WriteJSON); err != nil {
			return err
		}
	}
	return toStdout(stdout, func(w io.Writer) error { return show.Mate(w, m, about) })
}

// unit is what the text is printed in.
func (c *mateCommand) unit() show.Unit {
	if c.units == show.Inch.Name {
		return show.Inch
	}
	return show.MM
}

// matePart is the part as the flags give it.
type matePart struct {
	holes     pattern.Holes
	diameters []float64 // of a drawing's circles
	about     string
	made      bool // it exists
	warnings  []string
}

func (c *mateCommand) part(n int) (matePart, error) {
	switch {
	case strings.EqualFold(filepath.Ext(c.with), ".dxf"):
		return c.drawing(n)
	case c.with != "":
		r, err := openReading(c.with)
		if err != nil {
			return matePart{}, err
		}
		p := matePart{holes: r.Places(), about: fmt.Sprintf("%d holes of %s", len(r.Holes), show.Plain(filepath.Base(c.with))), made: true}
		for _, w := range r.Warnings {
			p.warnings = append(p.warnings, "of the part's reading: "+w)
		}
		return p, nil
	case c.holes > 0:
		angles := make([]float64, c.holes)
		for i := range angles {
			angles[i] = 360 * float64(i) / float64(c.holes)
		}
		return matePart{holes: onPitchCircle(c.pcd, angles), about: fmt.Sprintf("%d even holes on %s", c.holes, c.unit().Size(c.pcd))}, nil
	}
	return matePart{holes: onPitchCircle(c.pcd, c.angles), about: fmt.Sprintf("%d holes on %s at the angles given", len(c.angles), c.unit().Size(c.pcd))}, nil
}

// onPitchCircle places holes as a reading numbers them: counter-clockwise,
// the angle 0 at twelve o'clock.
func onPitchCircle(pcd float64, anglesDeg []float64) pattern.Holes {
	var h pattern.Holes
	for _, a := range anglesDeg {
		sin, cos := math.Sincos(a * math.Pi / 180)
		h.At = append(h.At, r2.Vec{X: -pcd / 2 * sin, Y: pcd / 2 * cos})
	}
	return h
}

func (c *mateCommand) drawing(n int) (matePart, error) {
	f, err := os.Open(c.with)
	if err != nil {
		return matePart{}, cannotOpen(c.with, err)
	}
	defer f.Close()
	circles, err := draw.ReadDXF(f, map[string]float64{"mm": 1, "in": 25.4}[c.drawnIn])
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			return matePart{}, cannotOpen(c.with, err)
		}
		if errors.Is(err, draw.ErrNoUnit) {
			err = fmt.Errorf("%w with --drawing-units mm or in", err)
		}
		return matePart{}, fmt.Errorf("%s: %w", c.with, err)
	}
	holes, err := circles.Holes(n, draw.Pick{Layer: c.layer, Low: c.low, High: c.high})
	if err != nil {
		return matePart{}, fmt.Errorf("%s: %w (--diameter LO-HI, --layer NAME)", c.with, err)
	}
	p := matePart{about: fmt.Sprintf("%d circles of %s (in %s)", n, show.Plain(filepath.Base(c.with)), circles.Unit)}
	for _, k := range holes {
		p.holes.At = append(p.holes.At, k.Centre)
		p.diameters = append(p.diameters, k.Diameter)
	}
	if circles.Hidden > 0 {
		p.warnings = append(p.warnings, fmt.Sprintf("%d circles of the drawing are hidden or on layers that are off, and were left out", circles.Hidden))
	}
	return p, nil
}

// sizes sets the diameters of bolts and holes, and returns the larger holes of
// the bolt's table where all are of one size.
func (c *mateCommand) sizes(j *pattern.Joint, part matePart, about *show.MateAbout) ([]pattern.HoleSize, error) {
	n := len(j.Face.At)
	bolts, err := oneOrAll(c.bolts, n, "--bolt", "the face's holes")
	if err != nil {
		return nil, err
	}
	oneBolt := true
	for _, b := range bolts {
		j.Bolts = append(j.Bolts, b.diameter)
		oneBolt = oneBolt && b.diameter == bolts[0].diameter
	}
	if c.faceHole > 0 {
		j.FaceHoles = slices.Repeat([]float64{c.faceHole}, n)
	}
	about.Bolts = "bolts of several sizes"
	if oneBolt {
		about.Bolts = bolts[0].name + " bolts"
	}
	m := len(j.Part.At)
	class := ""
	switch {
	case c.clearance != nil:
		if j.PartHoles, err = oneOrAll(c.clearance, m, "--clearance", "the part's holes"); err != nil {
			return nil, err
		}
	case c.fit == "" && part.diameters != nil:
		j.PartHoles = part.diameters
	case c.fit == "" && part.made:
		return nil, errors.New("how large are the part's holes? A reading's diameters are too rough for this: give --clearance with what calipers or drills say, or --fit")
	default:
		if !oneBolt {
			return nil, errors.New("with bolts of several sizes give each hole of the part its diameter: --clearance 9,9,6.6")
		}
		hole, err := c.hole(bolts[0])
		if err != nil {
			return nil, err
		}
		j.PartHoles = slices.Repeat([]float64{hole}, m)
		class = fmt.Sprintf(" (%v fit, %s)", c.named(), bolts[0].table.Source)
	}
	least, most := slices.Min(j.PartHoles), slices.Max(j.PartHoles)
	if most-least > 1e-9 {
		about.Holes = fmt.Sprintf("holes of %s to %s", about.Unit.Size(least), about.Unit.Size(most))
		return nil, nil
	}
	about.Holes = fmt.Sprintf("holes of %s%s", about.Unit.Size(least), class)
	var sizes []pattern.HoleSize
	if oneBolt && bolts[0].table != nil {
		for _, fit := range thread.Fits {
			sizes = append(sizes, pattern.HoleSize{Name: fmt.Sprintf("%v fit, %s", fit, bolts[0].table.Source), Diameter: bolts[0].table.Holes[fit]})
		}
	}
	return sizes, nil
}
