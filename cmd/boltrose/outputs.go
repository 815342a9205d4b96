package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"boltrose/cmd/internal/atomicfile"
)

// output is a file that a flag asks for.
type output struct{ flag, path string }

// input is a file that a command reads; - is standard input.
type input struct{ what, path string }

// checkOutputs tells before the work what would stop the results from being
// written: a folder that is not there, two results for one file, or a result
// that would replace an input.
func checkOutputs(outputs []output, inputs ...input) error {
	for i, o := range outputs {
		for _, in := range inputs {
			if in.path != "" && in.path != "-" && sameFile(o.path, in.path) {
				return fmt.Errorf("%s %s is the %s itself; give another name", o.flag, o.path, in.what)
			}
		}
		for _, other := range outputs[:i] {
			if sameFile(o.path, other.path) {
				return fmt.Errorf("%s and %s name the same file, %s; give each its own", other.flag, o.flag, o.path)
			}
		}
		if err := atomicfile.Check(o.path); err != nil {
			return err
		}
	}
	return nil
}

// asOutputs are the files that one flag names.
func asOutputs(flag string, paths []string) []output {
	var out []output
	for _, path := range paths {
		out = append(out, output{flag, path})
	}
	return out
}

// asInputs are files of one kind.
func asInputs(what string, paths []string) []input {
	var in []input
	for _, path := range paths {
		in = append(in, input{what, path})
	}
	return in
}

// writeAll makes all of a flag's files before it writes the first: all or
// none. A lone - is standard output.
func writeAll(paths []string, stdout io.Writer, fill func(path string, w io.Writer) error) error {
	made := make([]bytes.Buffer, len(paths))
	for i, path := range paths {
		if err := fill(path, &made[i]); err != nil {
			return err
		}
	}
	for i, path := range paths {
		whole := func(w io.Writer) error { _, err := made[i].WriteTo(w); return err }
		if path == "-" {
			return toStdout(stdout, whole)
		}
		if err := atomicfile.Write(path, whole); err != nil {
			return err
		}
	}
	return nil
}

// sameFile tells whether two names are of one file, be it there or not.
func sameFile(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	if errA == nil && errB == nil {
		return os.SameFile(infoA, infoB)
	}
	return errA != nil && errB != nil && resolved(a) == resolved(b)
}

// resolved is the path of a file that need not be there, without links.
func resolved(path string) string {
	folder, err := filepath.EvalSymlinks(filepath.Dir(path))
	if err != nil {
		folder = filepath.Dir(path)
	}
	if abs, err := filepath.Abs(folder); err == nil {
		folder = abs
	}
	return filepath.Join(folder, filepath.Base(path))
}
