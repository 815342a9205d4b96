package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/vision"

	"github.com/spf13/pflag"
)

// readCommand is what the flags of boltrose read say.
type readCommand struct {
	picture string
	opts    read.Options

	results
	overlay, pattern string
	explain, budget  bool
}

func runRead(args []string, stdout, stderr io.Writer) int {
	c, err := parseRead(args)
	if err == nil {
		err = checkOutputs(c.outputs(), input{"picture", c.picture})
	}
	if err != nil {
		return ended(err, helpRead, stdout, stderr)
	}
	res, err := c.read()
	switch {
	case errors.Is(err, pattern.ErrNoPattern) && res != nil:
		return c.reportNoPattern(res, err, stdout, stderr)
	case err != nil:
		err = withFile(c.picture, err)
	default:
		err = c.report(res, stdout, stderr)
	}
	return ended(err, helpRead, stdout, stderr)
}

// newReadFlags are the flags of boltrose read, which set c.
func newReadFlags(c *readCommand) *pflag.FlagSet {
	f := newFlags("read")
	c.results.addTo(f)
	f.StringVar(&c.overlay, "overlay", "", "")
	f.BoolVar(&c.explain, "explain", false, "")
	f.BoolVar(&c.budget, "budget", false, "")
	f.Var(tiesValue(&c.opts.Ties), "tie", "")
	f.Var(distancesValue(&c.opts.Between), "known", "")
	f.StringSliceVar(&c.opts.Drop, "drop", nil, "")
	f.Var(addValue(&c.opts.Add), "add", "")
	f.IntVar(&c.opts.Zero, "zero", 0, "")
	c.addTo(f)
	return f
}

// addTo adds the flags that may be meant for many pictures alike.
func (c *readCommand) addTo(f *pflag.FlagSet) {
	c.opts.ScaleU = -1 // a home scanner's
	f.Var(dpiValue(&c.opts.DPI), "dpi", "")
	f.Var(relativeValue(&c.opts.ScaleU), "scale-u", "")
	f.Var(sheetValue(&c.opts.Sheet), "sheet", "")
	f.Var(barsValue(&c.opts.Printed), "printed", "")
	f.Var(aboveValue(&c.opts.AboveMM, &c.opts.AboveU95), "above", "")
	f.StringVar(&c.opts.LensFile, "lens", "", "")
	f.StringVar(&c.opts.ScannerFile, "scanner", "", "")
	f.Var(pcdValue(&c.opts.PCD, &c.opts.PCDU95), "pcd", "")
	f.BoolVar(&c.opts.FromBehind, "from-behind", false, "")
	f.IntVar(&c.opts.Holes, "holes", 0, "")
	f.Var(rangeValue(&c.opts.MinDiameter, &c.opts.MaxDiameter), "diameter", "")
	f.StringVar(&c.pattern, "pattern", "circle", "")
	addOpening(f, &c.opts.MaxPixels, &c.opts.Page)
}

func parseRead(args []string) (*readCommand, error) {
	c := &readCommand{}
	f := newReadFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	var err error
	if c.picture, err = oneFile(f, "picture", "boltrose read rubbing.png", ""); err != nil {
		return nil, err
	}
	return c, c.finish(f)
}

// finish sets what follows from the flags.
func (c *readCommand) finish(f *pflag.FlagSet) error {
	c.opts.Free = c.pattern == string(pattern.Free)
	c.opts.LensFolder = lensFolder()
	return c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *readCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	o := c.opts
	switch {
	case given("overlay") && !show.PictureName(c.overlay):
		return fmt.Errorf("--overlay %s: give a name that ends in .png or .jpg", c.overlay)
	case c.pattern != string(pattern.OnCircle) && !o.Free:
		return fmt.Errorf("--pattern is circle or free, not %s", c.pattern)
	case given("holes") && (o.Holes < 1 || o.Holes > pattern.MaxHoles):
		return fmt.Errorf("--holes is a number from 1 to %d, not %d", pattern.MaxHoles, o.Holes)
	case o.Holes == 1 && !o.Free:
		return errors.New("--holes 1: one hole has no pitch circle; add --pattern free")
	case given("zero") && o.Zero < 1:
		return fmt.Errorf("--zero is the number of a hole, not %d", o.Zero)
	case o.Holes > 0 && o.Zero > o.Holes:
		return fmt.Errorf("--zero %d: with --holes %d the holes are numbered 1 to %d", o.Zero, o.Holes, o.Holes)
	case given("lens") && o.LensFile == "":
		return errors.New("--lens wants the file of a lens profile")
	case given("scanner") && o.ScannerFile == "":
		return errors.New("--scanner wants the file of a scanner profile")
	case o.Free && given("pcd"):
		return errors.New("--pcd and --pattern free cannot go together: a free pattern has no pitch circle")
	case o.Free && given("zero"):
		return errors.New("--zero and --pattern free cannot go together: a free pattern has no angles")
	case given("drop") && slices.ContainsFunc(o.Drop, func(s string) bool { return strings.TrimSpace(s) == "" }),
		given("drop") && len(o.Drop) == 0:
		return errors.New("--drop wants the numbers of holes, as 3 or 3,5")
	case o.Holes > 0 && len(o.Add) > o.Holes:
		return fmt.Errorf("--holes %d and %d times --add cannot go together", o.Holes, len(o.Add))
	case c.json == "-" && given("units"):
		return errors.New("--units and --json - cannot go together: JSON is always in mm")
	case c.json == "-" && given("budget"):
		return errors.New("--budget and --json - cannot go together: JSON always holds the budget, and the text is not printed")
	case c.json == "-" && given("explain"):
		return errors.New("--explain and --json - would both print to standard output; write the JSON to a file")
	}
	if err := c.results.check(f); err != nil {
		return err
	}
	return o.Check()
}

func (c *readCommand) outputs() []output {
	out := c.results.outputs()
	if c.overlay != "" {
		out = append(out, output{"--overlay", c.overlay})
	}
	return out
}

func (c *readCommand) read() (*read.Result, error) {
	if c.picture != "-" {
		return read.File(c.picture, c.opts)
	}
	pic, err := vision.OpenPage("/dev/stdin", c.opts.Page, vision.Limits{MaxPixels: c.opts.MaxPixels})
	if err != nil {
		return nil, err
	}
	return read.Picture(pic, "-", c.opts)
}

// withFile names the picture in errors that do not.
func withFile(picture string, err error) error {
	var load *vision.LoadError
	if errors.As(err, &load) {
		return err
	}
	return fmt.Errorf("%s: %w", picture, err)
}

// report writes the files asked for and then prints the reading: what is
// printed tells that all is done.
func (c *readCommand) report(res *read.Result, stdout, stderr io.Writer) error {
	if err := c.writeOverlay(res); err != nil {
		return err
	}
	return c.give(res.Reading, func(w io.Writer) error { return c.more(w, res) }, stdout, stderr)
}

// more is what was asked for beside the reading's own text.
func (c *readCommand) more(w io.Writer, res *read.Result) error {
	if c.budget {
		fmt.Fprintln(w)
		if err := show.Budget(w, res.Reading, c.unit()); err != nil {
			return err
		}
	}
	if !c.explain {
		return nil
	}
	fmt.Fprintln(w)
	return c.explained(w, res)
}

func (c *readCommand) explained(w io.Writer, res *read.Result) error {
	if err := show.ExplainScale(w, res); err != nil {
		return err
	}
	fmt.Fprintln(w)
	return show.Explain(w, res)
}

func (c *readCommand) writeOverlay(res *read.Result) error {
	if c.overlay == "" {
		return nil
	}
	img, err := show.Overlay(res, show.OverlayOptions{Unit: c.unit(), Left: c.explain})
	if err != nil {
		return err
	}
	return atomicfile.Write(c.overlay, func(w io.Writer) error { return show.WritePicture(w, img, c.overlay) })
}

// reportNoPattern says what was seen and what to try.
func (c *readCommand) reportNoPattern(res *read.Result, err error, stdout, stderr io.Writer) int {
	res.Reading = nil // with --drop there is one from before the drop
	if err := c.writeOverlay(res); err != nil {
		return wrong(stderr, err)
	}
	if c.explain {
		if err := toStdout(stdout, func(w io.Writer) error { return c.explained(w, res) }); err != nil {
			return wrong(stderr, err)
		}
	}
	fmt.Fprintln(stderr, "boltrose: "+oneLine(withFile(c.picture, err).Error()))
	fmt.Fprint(stderr, noPatternHelp)
	c.nothingWritten(stderr)
	return exitNoPattern
}

const noPatternHelp = `What to try:
  --explain and --overlay FILE.png show every mark that was seen, and why it
  was left. Say what you know: --holes N, --diameter LO-HI, --add X,Y,D, or
  --pattern free where the holes share no circle. Or rub once more, lightly
  and evenly, over the whole rim of every hole, and scan at 300 dpi.
`
