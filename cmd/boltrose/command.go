package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"
)

// newFlags is the empty set of a command's flags. It prints nothing itself:
// the help is a text of its own.
func newFlags(command string) *pflag.FlagSet {
	f := pflag.NewFlagSet(command, pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	return f
}

// parseFlags sets the flags from what was typed. When help was asked for, the
// error is pflag.ErrHelp.
func parseFlags(f *pflag.FlagSet, args []string) error {
	err := f.Parse(args)
	if err == nil || errors.Is(err, pflag.ErrHelp) {
		return err
	}
	return fmt.Errorf("%w (boltrose %s --help lists the flags)", plainFlagError(err), f.Name())
}

// oneFile is the only file, of the kind that what names, which a command
// takes. hint says where other files belong.
func oneFile(f *pflag.FlagSet, what, example, hint string) (string, error) {
	switch {
	case f.NArg() == 0:
		return "", fmt.Errorf("which %s? For example: %s", what, example)
	case f.NArg() > 1:
		return "", fmt.Errorf("%s takes one %s at a time, not %d: %s%s", f.Name(), what, f.NArg(), strings.Join(f.Args(), " "), hint)
	case f.Arg(0) == "":
		return "", fmt.Errorf("the %s's name is empty", what)
	}
	return f.Arg(0), nil
}

// ended is the exit code of a command that did its work (no error), was asked
// for help, or was stopped by an error, which is told in one line.
func ended(err error, help string, stdout, stderr io.Writer) int {
	switch {
	case errors.Is(err, pflag.ErrHelp):
		fmt.Fprint(stdout, help)
	case err != nil:
		return wrong(stderr, err)
	}
	return exitDone
}
