package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"strings"

	"boltrose/calib"
	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/framepage"

	"github.com/spf13/pflag"
)

//go:embed help_frame.txt
var helpFrame string

// frameCommand is what the flags of boltrose frame say.
type frameCommand struct {
	paper  string
	window [2]float64 // mm
	output string
}

func runFrame(args []string, stdout, stderr io.Writer) int {
	c, err := parseFrame(args)
	if err == nil {
		err = c.run(stdout)
	}
	return ended(err, helpFrame, stdout, stderr)
}

// newFrameFlags are the flags of boltrose frame, which set c.
func newFrameFlags(c *frameCommand) *pflag.FlagSet {
	f := newFlags("frame")
	f.StringVar(&c.paper, "paper", calib.A4.Name, "")
	f.Var(windowValue(&c.window), "window", "")
	f.StringVarP(&c.output, "output", "o", "", "")
	return f
}

func parseFrame(args []string) (*frameCommand, error) {
	c := &frameCommand{}
	f := newFrameFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	switch {
	case f.NArg() > 0:
		return nil, fmt.Errorf("frame takes flags only, not %q; the file to write is -o FILE.pdf", f.Arg(0))
	case !f.Changed("window"):
		return nil, errors.New("how large a window? For example: boltrose frame --window 150x150 -o frame.pdf")
	case c.output == "":
		return nil, errors.New("where to? Give a file name as -o frame.pdf, or -o - for standard output")
	}
	return c, nil
}

func (c *frameCommand) run(stdout io.Writer) error {
	paper, err := calib.PaperNamed(c.paper)
	if err != nil {
		return fmt.Errorf("--paper: %w", err)
	}
	frame, err := calib.NewFrame(paper, c.window[0], c.window[1])
	if err != nil {
		return err
	}
	page := func(w io.Writer) error { return framepage.Write(w, frame) }
	if c.output == "-" {
		return toStdout(stdout, page)
	}
	if err := checkOutputs([]output{{"-o", c.output}}); err != nil {
		return err
	}
	if err := atomicfile.Write(c.output, page); err != nil {
		return err
	}
	bars := frame.BarX.Length()
	_, err = fmt.Fprintf(stdout, "%s: a frame of %d dots on %s paper. Print it at 100 %%, then measure bars X and\nY with calipers: they should be %g mm. Give what they measure when you read the\nphoto, as --printed %g,%g\n",
		c.output, len(frame.Dots), paper.Name, bars, bars-0.1, bars+0.2)
	return err
}

// windowValue reads a width and a height in mm.
func windowValue(to *[2]float64) value {
	return value{"size", func(s string) error {
		w, h, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
		width, err1 := number(w)
		height, err2 := number(h)
		if !ok || err1 != nil || err2 != nil || width <= 0 || height <= 0 {
			return errors.New("give width and height in mm, as 150x150")
		}
		*to = [2]float64{width, height}
		return nil
	}}
}
