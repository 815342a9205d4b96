package main

import (
	"fmt"
	"os"
	"path/filepath"

	"boltrose/cmd/internal/atomicfile"
)

// output is a file that a flag asks for.
type output struct{ flag, path string }

// checkOutputs tells before the work what would stop the results from being
// written: a folder that is not there, two results for one file, or a result
// that would replace the picture.
func checkOutputs(picture string, outputs []output) error {
	for i, o := range outputs {
		if picture != "" && sameFile(o.path, picture) {
			return fmt.Errorf("%s %s is the picture itself; give another name", o.flag, o.path)
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
