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

	"boltrose/calib"
	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/report"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/pattern/thread"

	"github.com/spf13/pflag"
)

//go:embed help_draw.txt
var helpDraw string

// drawCommand is what the flags of boltrose draw say.
type drawCommand struct {
	reading string

	to        []string
	as        string
	bolts     []bolt
	fit       string
	clearance []float64
	allowance float64
	mirror    bool
	units     string
	paper     string
	printed   [2]float64
	overlay   string
	picture   *report.Picture // the overlay, opened; nil without
}

// drawForm is a way to write a drawing.
type drawForm struct {
	name  string // as --as has it, and as a file's name ends
	about string
	write func(*drawCommand, *draw.Drawing, io.Writer) error
}

// drawForms are all forms; one whose name ends as another's comes first.
var drawForms = []drawForm{
	{"dxf", "DXF", func(c *drawCommand, d *draw.Drawing, w io.Writer) error { return d.WriteDXF(w) }},
	{"svg", "SVG, 1:1 in mm", func(c *drawCommand, d *draw.Drawing, w io.Writer) error { return d.WriteSVG(w) }},
	{"html", "report, one file", (*drawCommand).writeReportHTML},
	{"report.pdf", "report", (*drawCommand).writeReportPDF},
	{"pdf", "paper check, 1:1", (*drawCommand).writePDF},
	{"gaps.csv", "table of gaps", func(c *drawCommand, d *draw.Drawing, w io.Writer) error { return d.WriteGapsCSV(w) }},
	{"csv", "table of holes", func(c *drawCommand, d *draw.Drawing, w io.Writer) error { return d.WriteCSV(w) }},
	{"scad", "OpenSCAD, in mm", func(c *drawCommand, d *draw.Drawing, w io.Writer) error { return d.WriteSCAD(w) }},
}

// formOf is the form that a file's ending names.
func formOf(path string) (drawForm, error) {
	// The whole name may be the ending: report.pdf, gaps.csv.
	name := "." + strings.ToLower(filepath.Base(path))
	for _, f := range drawForms {
		if filepath.Ext(path) != "" && (strings.HasSuffix(name, "."+f.name) || strings.HasSuffix(name, "-"+f.name)) {
			return f, nil
		}
	}
	if strings.HasSuffix(strings.ToLower(path), ".json") {
		return drawForm{}, fmt.Errorf("--to %s: the reading is JSON already; boltrose draw writes %s", path, formNames("."))
	}
	return drawForm{}, fmt.Errorf("--to %s: the ending names no form of drawing; give %s", path, formNames("."))
}

func formNames(before string) string {
	var names []string
	for _, f := range drawForms {
		names = append(names, before+f.name)
	}
	slices.Sort(names)
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

func runDraw(args []string, stdout, stderr io.Writer) int {
	c, err := parseDraw(args)
	if errors.Is(err, pflag.ErrHelp) {
		fmt.Fprint(stdout, helpDraw)
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

func newDrawFlags(c *drawCommand) *pflag.FlagSet {
	f := pflag.NewFlagSet("draw", pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	f.StringArrayVar(&c.to, "to", nil, "")
	f.StringVar(&c.as, "as", "", "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	f.StringVar(&c.fit, "fit", "", "")
	f.Var(mmListValue(&c.clearance), "clearance", "")
	f.Var(mmValue(&c.allowance), "allowance", "")
	f.BoolVar(&c.mirror, "mirror", false, "")
	f.StringVar(&c.units, "units", draw.MM.Name, "")
	f.StringVar(&c.paper, "paper", calib.A4.Name, "")
	f.Var(barsValue((*calib.PrintedBars)(&c.printed)), "printed", "")
	f.StringVar(&c.overlay, "overlay", "", "")
	return f
}

func parseDraw(args []string) (*drawCommand, error) {
	c := &drawCommand{}
	f := newDrawFlags(c)
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return nil, err
		}
		return nil, fmt.Errorf("%w (boltrose draw --help lists the flags)", plainFlagError(err))
	}
	switch f.NArg() {
	case 0:
		return nil, errors.New("which reading? For example: boltrose draw reading.json --to cover.dxf")
	case 1:
		c.reading = f.Arg(0)
	default:
		return nil, fmt.Errorf("draw takes one reading, not %d: %s; each file to write has a --to of its own", f.NArg(), strings.Join(f.Args(), " "))
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *drawCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	_, fitErr := thread.ParseFit(c.fit)
	_, paperErr := calib.PaperNamed(c.paper)
	switch {
	case c.reading == "":
		return errors.New("the reading's name is empty")
	case len(c.to) == 0:
		return fmt.Errorf("where to? Give --to FILE, which ends in %s; or --to - with --as", formNames("."))
	case slices.Contains(c.to, "-") && len(c.to) > 1:
		return errors.New("--to - writes to standard output; leave the other --to out")
	case c.to[0] == "-" && !given("as"):
		return fmt.Errorf("--to - wants --as %s", formNames(""))
	case c.to[0] != "-" && given("as"):
		return errors.New("--as is for --to -; a file's ending says its form")
	case given("clearance") && (given("bolt") || given("fit")):
		return errors.New("--clearance and --bolt both give the holes' size; leave one out")
	case given("fit") && !given("bolt"):
		return errors.New("--fit wants the bolt: --bolt M8 --fit normal")
	case given("fit") && fitErr != nil:
		return fmt.Errorf("--fit: %w", fitErr)
	case c.units != draw.MM.Name && c.units != draw.Inch.Name:
		return fmt.Errorf("--units is mm or in, not %s", c.units)
	case paperErr != nil:
		return fmt.Errorf("--paper: %w", paperErr)
	}
	check, reported, paged := false, false, false
	for _, path := range c.to {
		form, err := c.form(path)
		if err != nil {
			return err
		}
		check = check || form.name == "pdf"
		reported = reported || form.name == "html" || form.name == "report.pdf"
		paged = paged || strings.HasSuffix(form.name, "pdf")
	}
	switch {
	case !check && given("printed"), !paged && given("paper"):
		return errors.New("--paper and --printed are about a paper check: --to check.pdf")
	case given("overlay") && c.overlay == "":
		return errors.New("--overlay wants a picture's name")
	case given("overlay") && !reported:
		return errors.New("--overlay goes into a report: --to report.html or --to report.pdf")
	}
	return nil
}

func (c *drawCommand) form(path string) (drawForm, error) {
	if path != "-" {
		return formOf(path)
	}
	for _, f := range drawForms {
		if strings.EqualFold(c.as, f.name) {
			return f, nil
		}
	}
	return drawForm{}, fmt.Errorf("--as is %s, not %.40q", formNames(""), c.as)
}

func (c *drawCommand) run(stdout, stderr io.Writer) error {
	if c.to[0] != "-" {
		var outputs []output
		for _, path := range c.to {
			if c.reading != "-" && sameFile(path, c.reading) {
				return fmt.Errorf("--to %s is the reading itself; give another name", path)
			}
			if c.overlay != "" && sameFile(path, c.overlay) {
				return fmt.Errorf("--to %s is the overlay itself; give another name", path)
			}
			outputs = append(outputs, output{"--to", path})
		}
		if err := checkOutputs("", outputs); err != nil {
			return err
		}
	}
	r, err := openReading(c.reading)
	if err != nil {
		return err
	}
	opts, err := c.options(r)
	if err != nil {
		return err
	}
	d, err := draw.New(r, opts)
	if errors.Is(err, draw.ErrNoSize) {
		err = fmt.Errorf("%w with --bolt or --clearance", err)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", c.reading, err)
	}
	if c.overlay != "" {
		if c.picture, err = report.OpenPicture(c.overlay); err != nil {
			return fmt.Errorf("--overlay: %w", err)
		}
	}
	// All are made before the first is written: all files or none.
	made := make([]bytes.Buffer, len(c.to))
	for i, path := range c.to {
		form, err := c.form(path)
		if err == nil {
			err = form.write(c, d, &made[i])
		}
		if err != nil {
			return err
		}
	}
	warnings(stderr, r)
	if c.to[0] == "-" {
		return toStdout(stdout, func(w io.Writer) error { _, err := made[0].WriteTo(w); return err })
	}
	for i, path := range c.to {
		if err := atomicfile.Write(path, func(w io.Writer) error { _, err := made[i].WriteTo(w); return err }); err != nil {
			return err
		}
	}
	return toStdout(stdout, func(w io.Writer) error { return c.report(w, d) })
}

// report says what was written, and from which side it is seen.
func (c *drawCommand) report(w io.Writer, d *draw.Drawing) error {
	for _, path := range c.to {
		form, err := formOf(path)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s: %s\n", oneLine(path), form.about)
	}
	_, err := fmt.Fprintf(w, "%s\n%s\n", d.Notes[0], d.View())
	return err
}

// options are the drawing's, with the holes' sizes looked up.
func (c *drawCommand) options(r *pattern.Reading) (draw.Options, error) {
	o := draw.Options{Clearance: c.clearance, Allowance: c.allowance, Mirror: c.mirror, Unit: draw.MM}
	if c.units == draw.Inch.Name {
		o.Unit = draw.Inch
	}
	if c.clearance != nil {
		_, err := oneOrAll(c.clearance, len(r.Holes), "--clearance", "the holes")
		return o, err
	}
	if c.bolts == nil {
		return o, nil
	}
	if _, err := oneOrAll(c.bolts, len(r.Holes), "--bolt", "the holes"); err != nil {
		return o, err
	}
	fit := thread.Normal
	if c.fit != "" {
		fit, _ = thread.ParseFit(c.fit) // checked with the flags
	}
	var names []string
	for _, b := range c.bolts {
		if b.table == nil {
			return o, fmt.Errorf("%s is in no table of clearance holes; give their diameter: --clearance 9", b.name)
		}
		o.Clearance = append(o.Clearance, b.table.Holes[fit])
		if !slices.Contains(names, b.name) {
			names = append(names, b.name)
		}
		o.Size = fmt.Sprintf("%s, %v fit, %s", strings.Join(names, " and "), fit, b.table.Source)
	}
	return o, nil
}

func (c *drawCommand) writePDF(d *draw.Drawing, w io.Writer) error {
	paper, err := calib.PaperNamed(c.paper)
	if err != nil {
		return err
	}
	return d.WritePDF(w, draw.Paper(paper), c.printed)
}

// job is the report, made today.
func (c *drawCommand) job(d *draw.Drawing) *report.Report {
	unit := show.MM
	if c.units == draw.Inch.Name {
		unit = show.Inch
	}
	return report.New(d.Reading, d, unit, c.picture, time.Now())
}

func (c *drawCommand) writeReportHTML(d *draw.Drawing, w io.Writer) error {
	return c.job(d).WriteHTML(w)
}

func (c *drawCommand) writeReportPDF(d *draw.Drawing, w io.Writer) error {
	paper, err := calib.PaperNamed(c.paper)
	if err != nil {
		return err
	}
	return c.job(d).WritePDF(w, paper)
}
