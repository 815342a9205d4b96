// Package atomicfile writes result files whole or not at all.
//
// A command first calls Check for every file it is going to write, so that a
// mistyped folder is reported before the work and not after it, and then Write
// for each.
package atomicfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/google/renameio/v2"
)

// ErrFull says that a file was not written because the disk has no room for it.
var ErrFull = errors.New("the disk is full")

// Check reports whether Write to path can be expected to succeed. It changes
// nothing. The error is one line that says what is wrong and what to do.
func Check(path string) error {
	to, err := resolve(path)
	if err != nil || to.through {
		return err
	}
	f, err := to.open()
	if err != nil {
		return explain(path, err)
	}
	return explain(path, f.Cleanup())
}

// Write replaces the content of path with what fill writes. Until fill has
// returned without error and everything is on the disk, path keeps what it
// held before; when anything fails it keeps that for good. An existing file's
// permissions are kept, and a symbolic link goes on pointing where it did.
//
// Pipes, terminals and the like can't be replaced and are simply written to.
func Write(path string, fill func(io.Writer) error) error {
	to, err := resolve(path)
	if err != nil {
		return err
	}
	if to.through {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return explain(path, err)
		}
		err = buffered(f, fill)
		if closeErr := f.Close(); err == nil {
			err = closeErr
		}
		return explain(path, err)
	}
	f, err := to.open()
	if err != nil {
		return explain(path, err)
	}
	defer f.Cleanup()
	if err := buffered(f, fill); err != nil {
		return explain(path, err)
	}
	return explain(path, f.CloseAtomicallyReplace())
}

func buffered(w io.Writer, fill func(io.Writer) error) error {
	b := bufio.NewWriterSize(w, 1<<16)
	if err := fill(b); err != nil {
		return err
	}
	return b.Flush()
}

// target is where the bytes for a path really go.
type target struct {
	path    string // links followed
	through bool   // not a file that can be replaced
}

func resolve(path string) (target, error) {
	if path == "" {
		return target{}, errors.New("the name of the file to write is empty")
	}
	// The process's own open files may be regular files; replacing one would
	// cut it off from what else is printed there.
	for _, own := range []string{"/dev/stdout", "/dev/stderr", "/dev/fd/", "/proc/"} {
		if strings.HasPrefix(filepath.Clean(path), own) {
			return target{path, true}, nil
		}
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Lstat(path); err == nil {
			return target{}, fmt.Errorf("%s: is a link to a file that is not there; remove it or give another name", path)
		}
		return target{path: path}, nil // a new file, or open says what is wrong
	case err != nil:
		return target{}, explain(path, err)
	case info.IsDir():
		return target{}, fmt.Errorf("%s: is a folder; give the name of a file in it", path)
	case !info.Mode().IsRegular():
		return target{path, true}, nil
	}
	// A file that is write-protected is meant to be kept, although its folder
	// would let it be replaced.
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return target{}, explain(path, err)
	}
	f.Close()
	if path, err = filepath.EvalSymlinks(path); err != nil {
		return target{}, explain(path, err)
	}
	return target{path: path}, nil
}

// open creates the temporary file, in the folder of the final one: only
// within one file system is renaming atomic.
func (t target) open() (*renameio.PendingFile, error) {
	return renameio.NewPendingFile(t.path,
		renameio.WithTempDir(filepath.Dir(t.path)),
		renameio.WithPermissions(0o666), // less the umask, like any new file
		renameio.WithExistingPermissions())
}

func explain(path string, err error) error {
	folder := filepath.Dir(path)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: cannot be written, there is no folder %s; make it first or give another name", path, folder)
	case errors.Is(err, syscall.ENOTDIR):
		return fmt.Errorf("%s: cannot be written, %s is not a folder; give another name", path, folder)
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%s: no permission to write it or its folder %s; give a name in a folder of yours", path, folder)
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Errorf("%s: cannot be written, %w; nothing was changed", path, ErrFull)
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err // without the temporary file's name
	}
	return fmt.Errorf("%s: cannot be written: %w", path, err)
}
