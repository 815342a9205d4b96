package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
	"boltrose/pattern/thread"
	"boltrose/vision"

	"github.com/spf13/pflag"
)

//go:embed help_thread.txt
var helpThread string

// threadCommand is what the flags of boltrose thread say.
type threadCommand struct {
	tpi        thread.Value // as a pitch in mm
	given      thread.Measured
	series     []thread.Series
	engagement float64
	all        bool
	json       string

	picture string // "": measured by hand
	opts    read.Options
	overlay string
}

func runThread(args []string, stdout, stderr io.Writer) int {
	c, err := parseThread(args)
	if err == nil {
		err = c.run(stdout, stderr)
	}
	return ended(err, helpThread, stdout, stderr)
}

func newThreadFlags(c *threadCommand) *pflag.FlagSet {
	f := newFlags("thread")
	f.Var(tpiValue(&c.tpi), "tpi", "")
	f.Var(threadLengthValue(&c.given.Pitch, "1.5"), "pitch", "")
	f.Var(threadLengthValue(&c.given.Major, "9.4"), "major", "")
	f.Var(threadLengthValue(&c.given.Minor, "8.1"), "minor", "")
	f.Var(flankValue(&c.given.FlankDeg), "flank", "")
	f.Var(seriesValue(&c.series), "series", "")
	f.Var(percentValue(&c.engagement), "engagement", "")
	f.BoolVar(&c.all, "all", false, "")
	f.StringVar(&c.json, "json", "", "")
	c.opts.ScaleU = -1 // a home scanner's
	f.StringVar(&c.overlay, "overlay", "", "")
	f.Var(dpiValue(&c.opts.DPI), "dpi", "")
	f.Var(relativeValue(&c.opts.ScaleU), "scale-u", "")
	f.StringVar(&c.opts.ScannerFile, "scanner", "", "")
	f.Var(sheetValue(&c.opts.Sheet), "sheet", "")
	f.Var(barsValue(&c.opts.Printed), "printed", "")
	f.Var(aboveValue(&c.opts.AboveMM, &c.opts.AboveU95), "above", "")
	f.StringVar(&c.opts.LensFile, "lens", "", "")
	f.Var(pixelsValue(&c.opts.MaxPixels), "max-pixels", "")
	return f
}

func parseThread(args []string) (*threadCommand, error) {
	c := &threadCommand{}
	f := newThreadFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	if f.NArg() > 0 {
		var err error
		if c.picture, err = oneFile(f, "scan", "boltrose thread bolt.png", ""); err != nil {
			return nil, err
		}
	}
	c.opts.LensFolder = lensFolder()
	return c, c.check(f)
}

// ofPictures are the flags that say something of a picture.
var ofPictures = []string{"overlay", "dpi", "scale-u", "scanner", "sheet", "printed", "above", "lens", "max-pixels"}

// check refuses flags that cannot be, alone or together.
func (c *threadCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	switch {
	case given("tpi") && given("pitch"):
		return errors.New("--tpi and --pitch both give the pitch; leave one out")
	case given("json") && c.json == "":
		return errors.New("--json wants a file name, or - for standard output")
	case c.json == "-" && c.all:
		return errors.New("--all and --json - cannot go together: the text is not printed")
	}
	if given("tpi") {
		c.given.Pitch = c.tpi
	}
	if c.picture != "" {
		switch {
		case given("minor"):
			return errors.New("--minor is of a hole, and a picture shows a bolt; leave one out")
		case given("overlay") && !show.PictureName(c.overlay):
			return fmt.Errorf("--overlay %s: give a name that ends in .png or .jpg", c.overlay)
		case given("lens") && c.opts.LensFile == "", given("scanner") && c.opts.ScannerFile == "":
			return errors.New("--lens and --scanner want the file of a profile")
		}
		return c.opts.Check()
	}
	for _, name := range ofPictures {
		if given(name) {
			return fmt.Errorf("--%s is about a picture; name it: boltrose thread bolt.png", name)
		}
	}
	if c.given == (thread.Measured{}) {
		return errors.New("what was measured? For example: boltrose thread --tpi 16 --major 9.4, or boltrose thread bolt.png")
	}
	return c.given.Check()
}

// lensFolder is where lens profiles are looked for.
func lensFolder() string {
	settings, err := os.UserConfigDir()
	if err != nil {
		return ""
	}
	return filepath.Join(settings, "boltrose", "lenses")
}

func (c *threadCommand) run(stdout, stderr io.Writer) error {
	var outputs []output
	if c.json != "" && c.json != "-" {
		outputs = append(outputs, output{"--json", c.json})
	}
	if c.overlay != "" {
		outputs = append(outputs, output{"--overlay", c.overlay})
	}
	if err := checkOutputs(outputs, input{"scan", c.picture}); err != nil {
		return err
	}
	if c.picture == "" {
		id, err := thread.Identify(c.given, c.series...)
		if err != nil {
			return err
		}
		return c.give(thread.NewResult(id, nil, c.engagement, nil), stdout, stderr)
	}
	return c.runPicture(stdout, stderr)
}

// runPicture measures the bolt of a picture. What was measured by hand stands
// in for what the picture gives of the same.
func (c *threadCommand) runPicture(stdout, stderr io.Writer) error {
	path := c.picture
	if path == "-" {
		path = "/dev/stdin"
	}
	pic, err := vision.Open(path, vision.Limits{MaxPixels: c.opts.MaxPixels})
	if err != nil {
		return err
	}
	res, err := read.Thread(pic, c.opts)
	if err != nil {
		return withFile(c.picture, err)
	}
	m := res.Measured
	for _, v := range []struct{ hand, picture *thread.Value }{
		{&c.given.Pitch, &m.Pitch}, {&c.given.Major, &m.Major}, {&c.given.FlankDeg, &m.FlankDeg},
	} {
		if *v.hand != (thread.Value{}) {
			*v.picture = *v.hand
		}
	}
	id, err := thread.Identify(m, c.series...)
	if err != nil {
		return withFile(c.picture, err)
	}
	source := &thread.ResultSource{File: c.picture, SHA256: pic.SHA256, Scale: res.Scaling.Plane.Method, Turns: res.Turns}
	r := thread.NewResult(id, source, c.engagement, res.Warnings)
	if c.overlay != "" {
		img, err := show.ThreadOverlay(res, r)
		if err != nil {
			return err
		}
		if err := atomicfile.Write(c.overlay, func(w io.Writer) error { return show.WritePicture(w, img, c.overlay) }); err != nil {
			return err
		}
	}
	return c.give(r, stdout, stderr)
}

// give writes the result's file, or prints it.
func (c *threadCommand) give(r *thread.Result, stdout, stderr io.Writer) error {
	if c.json == "-" {
		warnings(stderr, r.Warnings)
		return toStdout(stdout, r.WriteJSON)
	}
	if c.json != "" {
		if err := atomicfile.Write(c.json, r.WriteJSON); err != nil {
			return err
		}
	}
	return toStdout(stdout, func(w io.Writer) error { return show.Thread(w, r, c.all) })
}
