package main

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"boltrose/cmd/internal/atomicfile"
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

	bolts        []bolt
	fit          string
	clearance    []float64
	socket       float64
	thickness    float64
	flange, foot float64
	sizes        draw.GuardSizes
	outputs      []string
}

func runGuard(args []string, stdout, stderr io.Writer) int {
	c, err := parseGuard(args)
	if errors.Is(err, pflag.ErrHelp) {
		fmt.Fprint(stdout, helpGuard)
		return exitDone
	}
	if err == nil {
		err = c.run(stdout, stderr)
	}
	if err != nil {
		return wrong(stderr, err)
	}
	return exitDone
}

func newGuardFlags(c *guardCommand) *pflag.FlagSet {
	c.sizes = draw.GuardSizes{RunRadius: draw.UsualRunning, RunLength: draw.UsualRunning, Wall: draw.UsualWall, VentWidth: draw.UsualVent}
	f := pflag.NewFlagSet("guard", pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	f.Var(mmValue(&c.sizes.Shaft), "shaft", "")
	f.Var(mmValue(&c.sizes.Projects), "projects", "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	f.StringArrayVarP(&c.outputs, "output", "o", nil, "")
	f.StringVar(&c.fit, "fit", "", "")
	f.Var(mmListValue(&c.clearance), "clearance", "")
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
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return nil, err
		}
		return nil, fmt.Errorf("%w (boltrose guard --help lists the flags)", plainFlagError(err))
	}
	switch f.NArg() {
	case 0:
		return nil, errors.New("which reading? For example: boltrose guard reading.json --shaft 35 --projects 40 --bolt M8 -o guard.scad")
	case 1:
		c.reading = f.Arg(0)
	default:
		return nil, fmt.Errorf("guard takes one reading, not %d: %s", f.NArg(), strings.Join(f.Args(), " "))
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *guardCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	_, fitErr := thread.ParseFit(c.fit)
	switch {
	case c.reading == "":
		return errors.New("the reading's name is empty")
	case !given("shaft"):
		return errors.New("how thick is the shaft? Give its diameter as --shaft 35")
	case !given("projects"):
		return errors.New("how far does the shaft stand out of the face? Give it as --projects 40")
	case !given("bolt"):
		return errors.New("which bolts hold the guard? Give --bolt M8, or their diameter")
	case given("clearance") && given("fit"):
		return errors.New("--clearance and --fit both give the holes' size; leave one out")
	case given("fit") && fitErr != nil:
		return fmt.Errorf("--fit: %w", fitErr)
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
	return nil
}

func isSTL(path string) bool { return strings.EqualFold(filepath.Ext(path), ".stl") }

func (c *guardCommand) run(stdout, stderr io.Writer) error {
	if c.outputs[0] != "-" {
		var outputs []output
		for _, path := range c.outputs {
			if c.reading != "-" && sameFile(path, c.reading) {
				return fmt.Errorf("-o %s is the reading itself; give another name", path)
			}
			outputs = append(outputs, output{"-o", path})
		}
		if err := checkOutputs("", outputs); err != nil {
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
	warnings(stderr, r)
	if c.outputs[0] == "-" {
		return toStdout(stdout, g.WriteSCAD)
	}
	// All are made before the first is written: all files or none.
	made := make([]bytes.Buffer, len(c.outputs))
	for i, path := range c.outputs {
		if isSTL(path) {
			err = openscad.STL(&made[i], g.WriteSCAD, meshLimit)
		} else {
			err = g.WriteSCAD(&made[i])
		}
		if err != nil {
			return err
		}
	}
	for i, path := range c.outputs {
		if err := atomicfile.Write(path, func(w io.Writer) error { _, err := made[i].WriteTo(w); return err }); err != nil {
			return err
		}
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
	fit := thread.Normal
	if c.fit != "" {
		fit, _ = thread.ParseFit(c.fit) // checked with the flags
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
		switch {
		case c.clearance != nil:
			bolts[i].Hole = holes[i]
		case b.table == nil:
			return nil, "", fmt.Errorf("%s is in no table of clearance holes; give their diameter: --clearance 9", b.name)
		default:
			bolts[i].Hole = b.table.Holes[fit]
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
