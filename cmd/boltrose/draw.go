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

	"boltrose/calib"
	"boltrose/cmd/internal/report"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/pattern/draw"

	"github.com/spf13/pflag"
)

//go:embed help_draw.txt
var helpDraw string

// drawCommand is what the flags of boltrose draw say.
type drawCommand struct {
	reading string

	to    []string
	as    string
	bolts []bolt
	holeSizes
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
	if err == nil {
		err = c.run(stdout, stderr)
	}
	return ended(err, helpDraw, stdout, stderr)
}

func newDrawFlags(c *drawCommand) *pflag.FlagSet {
	f := newFlags("draw")
	f.StringArrayVar(&c.to, "to", nil, "")
	f.StringVar(&c.as, "as", "", "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	c.holeSizes.addTo(f)
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
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	var err error
	if c.reading, err = oneFile(f, "reading", "boltrose draw reading.json --to cover.dxf", "; each file to write has a --to of its own"); err != nil {
		return nil, err
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *drawCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	_, paperErr := calib.PaperNamed(c.paper)
	switch {
	case len(c.to) == 0:
		return fmt.Errorf("where to? Give --to FILE, which ends in %s; or --to - with --as", formNames("."))
	case slices.Contains(c.to, "-") && len(c.to) > 1:
		return errors.New("--to - writes to standard output; leave the other --to out")
	case c.to[0] == "-" && !given("as"):
		return fmt.Errorf("--to - wants --as %s", formNames(""))
	case c.to[0] != "-" && given("as"):
		return errors.New("--as is for --to -; a file's ending says its form")
	case given("clearance") && given("bolt"):
		return errors.New("--clearance and --bolt both give the holes' size; leave one out")
	case given("fit") && !given("bolt") && !given("clearance"):
		return errors.New("--fit wants the bolt: --bolt M8 --fit normal")
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
	return c.holeSizes.check(f)
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
		if err := checkOutputs(asOutputs("--to", c.to), input{"reading", c.reading}, input{"overlay", c.overlay}); err != nil {
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
	warnings(stderr, r.Warnings)
	err = writeAll(c.to, stdout, func(path string, w io.Writer) error {
		form, err := c.form(path)
		if err != nil {
			return err
		}
		return form.write(c, d, w)
	})
	if err != nil || c.to[0] == "-" {
		return err
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
	var names []string
	for _, b := range c.bolts {
		hole, err := c.hole(b)
		if err != nil {
			return o, err
		}
		o.Clearance = append(o.Clearance, hole)
		if !slices.Contains(names, b.name) {
			names = append(names, b.name)
		}
		o.Size = fmt.Sprintf("%s, %v fit, %s", strings.Join(names, " and "), c.named(), b.table.Source)
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
