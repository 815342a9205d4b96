package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"boltrose/cmd/internal/openscad"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/pattern/thread"

	"github.com/spf13/pflag"
)

//go:embed help_guard.txt
var helpGuard string

// meshLimit is how long a mesh may take; a guard with six slots took half a
// minute (two busy cores, openscad 2021.01).
const meshLimit = 10 * time.Minute

// guardCommand is what the flags of boltrose guard say.
type guardCommand struct {
	reading string

	bolts []bolt
	holeSizes
	socket       float64
	thickness    float64
	flange, foot float64
	sizes        draw.GuardSizes
	outputs      []string
}

func runGuard(args []string, stdout, stderr io.Writer) int {
	c, err := parseGuard(args)
	if err == nil {
		err = c.run(stdout, stderr)
	}
	return ended(err, helpGuard, stdout, stderr)
}

func newGuardFlags(c *guardCommand) *pflag.FlagSet {
	c.sizes = draw.GuardSizes{RunRadius: draw.UsualRunning, RunLength: draw.UsualRunning, Wall: draw.UsualWall, VentWidth: draw.UsualVent}
	f := newFlags("guard")
	f.Var(mmValue(&c.sizes.Shaft), "shaft", "")
	f.Var(mmValue(&c.sizes.Projects), "projects", "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	f.StringArrayVarP(&c.outputs, "output", "o", nil, "")
	c.holeSizes.addTo(f)
	f.Var(mmValue(&c.sizes.Allowance), "allowance", "")
	f.Var(mmValue(&c.socket), "socket", "")
	f.Var(runningValue(&c.sizes), "running", "")
	f.Var(mmValue(&c.sizes.Wall), "wall", "")
	f.Var(mmValue(&c.thickness), "thickness", "")
	f.Var(mmValue(&c.flange), "flange", "")
	f.Var(mmValue(&c.foot), "foot", "")
	f.Var(placeValue(&c.sizes.At), "at", "")
	f.IntVar(&c.sizes.Vents, "vents", 0, "")
	f.Var(mmValue(&c.sizes.VentWidth), "vent-width", "")
	return f
}

func parseGuard(args []string) (*guardCommand, error) {
	c := &guardCommand{}
	f := newGuardFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	var err error
	if c.reading, err = oneFile(f, "reading", "boltrose guard reading.json --shaft 35 --projects 40 --bolt M8 -o guard.scad", ""); err != nil {
		return nil, err
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *guardCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	switch {
	case !given("shaft"):
		return errors.New("how thick is the shaft? Give its diameter as --shaft 35")
	case !given("projects"):
		return errors.New("how far does the shaft stand out of the face? Give it as --projects 40")
	case !given("bolt"):
		return errors.New("which bolts hold the guard? Give --bolt M8, or their diameter")
	case c.sizes.Vents < 0 || given("vents") && c.sizes.Vents == 0:
		return fmt.Errorf("--vents is a number of slots from 1 on, not %d; leave it out for none", c.sizes.Vents)
	case given("vent-width") && !given("vents"):
		return errors.New("--vent-width is about slots; say how many with --vents N")
	case len(c.outputs) == 0:
		return errors.New("where to? Give a file name as -o guard.scad, or -o - for standard output")
	case slices.Contains(c.outputs, "-") && len(c.outputs) > 1:
		return errors.New("-o - writes to standard output; leave the other -o out")
	}
	for _, path := range c.outputs {
		if path != "-" && !isSTL(path) && !strings.EqualFold(filepath.Ext(path), ".scad") {
			return fmt.Errorf("-o %s: give a name that ends in .scad or .stl", path)
		}
		if isSTL(path) && !openscad.Installed() {
			return fmt.Errorf("-o %s: %w", path, openscad.ErrMissing)
		}
	}
	c.sizes.Thickness = c.sizes.Wall
	if given("thickness") {
		c.sizes.Thickness = c.thickness
	}
	if given("flange") {
		c.sizes.Flange = &c.flange
	}
	if given("foot") {
		c.sizes.Foot = &c.foot
	}
	return c.holeSizes.check(f)
}

func isSTL(path string) bool { return strings.EqualFold(filepath.Ext(path), ".stl") }

func (c *guardCommand) run(stdout, stderr io.Writer) error {
	if c.outputs[0] != "-" {
		if err := checkOutputs(asOutputs("-o", c.outputs), input{"reading", c.reading}); err != nil {
			return err
		}
	}
	r, err := openReading(c.reading)
	if err != nil {
		return err
	}
	bolts, about, err := c.held(r)
	if err != nil {
		return err
	}
	g, err := draw.NewGuard(r, bolts, c.sizes)
	if err != nil {
		return err
	}
	warnings(stderr, r.Warnings)
	err = writeAll(c.outputs, stdout, func(path string, w io.Writer) error {
		if isSTL(path) {
			return openscad.STL(w, g.WriteSCAD, meshLimit)
		}
		return g.WriteSCAD(w)
	})
	if err != nil || c.outputs[0] == "-" {
		return err
	}
	head := fmt.Sprintf("%s: a guard for %s, %s", show.Plain(strings.Join(c.outputs, " and ")), show.Plain(c.reading), about)
	return toStdout(stdout, func(w io.Writer) error {
		return show.Guard(w, head, g)
	})
}

// held are the bolts, each with its clearance hole and head, and what to say
// of them.
func (c *guardCommand) held(r *pattern.Reading) ([]draw.GuardBolt, string, error) {
	n := len(r.Holes)
	given, err := oneOrAll(c.bolts, n, "--bolt", "the holes")
	if err != nil {
		return nil, "", err
	}
	holes, err := oneOrAll(c.clearance, n, "--clearance", "the holes")
	if c.clearance != nil && err != nil {
		return nil, "", err
	}
	bolts := make([]draw.GuardBolt, n)
	about := ""
	for i, b := range given {
		bolts[i].Bolt = b.diameter
		name := ""
		if b.table != nil {
			name = b.table.Size
		}
		bolts[i].Head = thread.HeadOf(name, b.diameter)
		if c.socket > 0 {
			bolts[i].Head.Socket = c.socket
		}
		if c.clearance != nil {
			bolts[i].Hole = holes[i]
		} else if bolts[i].Hole, err = c.hole(b); err != nil {
			return nil, "", err
		}
		this := fmt.Sprintf("%s in holes of %s mm", b.name, short(bolts[i].Hole))
		if i == 0 {
			about = this
		} else if this != about {
			about = "bolts of several sizes"
		}
	}
	return bolts, about, nil
}
