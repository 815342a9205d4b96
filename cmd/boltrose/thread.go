package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
	"boltrose/pattern/thread"

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
	return f
}

func parseThread(args []string) (*threadCommand, error) {
	c := &threadCommand{}
	f := newThreadFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *threadCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	switch {
	case f.NArg() > 0:
		return fmt.Errorf("what is %.40q?", f.Arg(0))
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
	if c.given == (thread.Measured{}) {
		return errors.New("what was measured? For example: boltrose thread --tpi 16 --major 9.4")
	}
	return c.given.Check()
}

func (c *threadCommand) run(stdout, stderr io.Writer) error {
	if c.json != "" && c.json != "-" {
		if err := checkOutputs([]output{{"--json", c.json}}); err != nil {
			return err
		}
	}
	id, err := thread.Identify(c.given, c.series...)
	if err != nil {
		return err
	}
	return c.give(thread.NewResult(id, nil, c.engagement, nil), stdout, stderr)
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
