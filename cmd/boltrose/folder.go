package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"boltrose/cmd/internal/folder"
	"boltrose/pattern/thread"

	"github.com/spf13/pflag"
)

//go:embed help_folder.txt
var helpFolder string

// folderCommand is what the flags of boltrose folder say.
type folderCommand struct {
	args    []string // as typed, to be set over the settings of each folder
	sources []string
	opts    folder.Options
	merge   bool
	watch   bool

	one   readCommand // how each picture is read
	each  bool
	bolts []bolt
}

func runFolder(args []string, stdout, stderr io.Writer) int {
	c, err := parseFolder(args)
	var out *folder.Outcome
	if err == nil {
		out, err = c.run(stderr)
	}
	if err != nil {
		return ended(err, helpFolder, stdout, stderr)
	}
	return c.report(out, stdout, stderr)
}

func newFolderFlags(c *folderCommand) *pflag.FlagSet {
	f := newFlags("folder")
	f.StringVar(&c.opts.Out, "out", "", "")
	f.IntVar(&c.opts.Jobs, "jobs", 0, "")
	f.BoolVar(&c.opts.Resume, "resume", false, "")
	f.BoolVar(&c.watch, "watch", false, "")
	f.Var(shardValue(&c.opts.Shard), "shard", "")
	f.BoolVar(&c.merge, "merge", false, "")
	f.BoolVar(&c.each, "each", false, "")
	f.Var(boltsValue(&c.bolts), "bolt", "")
	f.StringVar(&c.one.units, "units", "mm", "")
	c.one.addTo(f)
	return f
}

func shardValue(to *folder.Shard) value {
	return value{"shard", func(s string) (err error) {
		*to, err = folder.ParseShard(s)
		return err
	}}
}

func parseFolder(args []string) (*folderCommand, error) {
	c := &folderCommand{args: args}
	f := newFolderFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	c.sources = f.Args()
	given := f.Changed
	switch {
	case len(c.sources) == 0 && c.merge:
		return nil, errors.New("which folders? Those that the shards wrote to, for example: boltrose folder --merge readings")
	case len(c.sources) == 0:
		return nil, errors.New("which folder? For example: boltrose folder scans --out readings")
	case slices.Contains(c.sources, ""):
		return nil, errors.New("a folder's name is empty")
	case given("out") && c.opts.Out == "":
		return nil, errors.New("--out wants the name of a folder")
	case given("jobs") && (c.opts.Jobs < 1 || c.opts.Jobs > 1024):
		return nil, fmt.Errorf("--jobs is a number from 1 to 1024, not %d", c.opts.Jobs)
	case slices.Contains(c.sources, "-") && len(c.sources) > 1:
		return nil, errors.New("- is a list on standard input: name no other files beside it")
	case c.watch && slices.Contains(c.sources, "-"):
		return nil, errors.New("--watch looks at a folder, not at a list")
	case c.watch && given("shard"):
		return nil, errors.New("--watch and --shard cannot go together: one run looks after a folder")
	case c.merge && (given("shard") || c.watch || c.opts.Resume):
		return nil, errors.New("--merge reads no pictures: leave --shard, --watch and --resume out")
	}
	if c.merge {
		return c, nil
	}
	_, err := c.checked(f)
	return c, err
}

// checked are the settings that the flags make.
func (c *folderCommand) checked(f *pflag.FlagSet) (folder.Settings, error) {
	if err := c.one.finish(f); err != nil {
		return folder.Settings{}, err
	}
	s := folder.Settings{Read: c.one.opts, Whole: folder.Whole{Each: c.each, Bolt: folder.DefaultBolt, Unit: c.one.units}}
	switch {
	case len(c.bolts) > 1:
		return s, errors.New("--bolt is one size for all parts")
	case len(c.bolts) == 1 && c.bolts[0].table == nil:
		return s, fmt.Errorf("--bolt %s is in no table of clearance holes; give a size as M8 or 1/4", c.bolts[0].name)
	case len(c.bolts) == 1:
		s.Whole.Bolt = folder.Bolt{Bolt: c.bolts[0].diameter, Hole: c.bolts[0].table.Holes[thread.Normal]}
	}
	return s, nil
}

func (c *folderCommand) run(stderr io.Writer) (*folder.Outcome, error) {
	if c.merge {
		return folder.Merge(c.sources, c.opts.Out)
	}
	o := c.opts
	o.Sources, o.List, o.Tell, o.Settings = c.sources, os.Stdin, stderr, c.settings
	// The first Ctrl-C lets the pictures under way be finished, the second ends
	// the program.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	if c.watch {
		return folder.Watch(ctx, o)
	}
	return folder.Run(ctx, o)
}

// report says how it went.
func (c *folderCommand) report(out *folder.Outcome, stdout, stderr io.Writer) int {
	for _, p := range out.Problems {
		fmt.Fprintln(stderr, "boltrose: "+oneLine(p))
	}
	said := []string{fmt.Sprintf("%d pictures have a reading", out.Readings)}
	if out.Readings == 1 {
		said[0] = "1 picture has a reading"
	}
	others := "%d other files left alone"
	if out.Skipped == 1 {
		others = "%d other file left alone"
	}
	for _, s := range []struct {
		n    int
		what string
	}{
		{out.Without, "%d without a pattern that can be trusted"},
		{out.Failed, "%d could not be read"},
		{out.Kept, "%d done before"},
		{out.Skipped, others},
	} {
		if s.n > 0 {
			said = append(said, fmt.Sprintf(s.what, s.n))
		}
	}
	err := toStdout(stdout, func(w io.Writer) error {
		fmt.Fprintln(w, strings.Join(said, ", ")+".")
		switch {
		case out.Stopped:
			fmt.Fprintf(w, "Stopped with %d to go. What is done is whole; --resume goes on.\n", out.Left)
		case out.Summary != "":
			fmt.Fprintf(w, "Look through %s for the odd one.\n", oneLine(out.Summary))
		case c.opts.Shard.Of > 0:
			fmt.Fprintf(w, "Shard %s is done; when all are, boltrose folder --merge joins them.\n", c.opts.Shard)
		}
		return nil
	})
	if err != nil {
		return wrong(stderr, err)
	}
	switch {
	case out.Stopped: // who started it may start it again
		return exitWrong
	case !out.Whole() && !c.watch:
		return exitNoPattern
	}
	return exitDone
}
