package folder

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// lock keeps two runs from writing to one folder. The system lets go of it when
// the process ends, however it ends.
type lock struct{ files []*os.File }

// takeLock locks a folder for one run, or for one of each shard.
func takeLock(folder string, s Shard) (*lock, error) {
	l := &lock{}
	how := syscall.LOCK_EX
	if s.Of > 0 { // other shards may run beside it, a whole run may not
		how = syscall.LOCK_SH
	}
	err := l.add(filepath.Join(folder, ".boltrose.lock"), how)
	if err == nil && s.Of > 0 {
		err = l.add(filepath.Join(folder, fmt.Sprintf(".boltrose-%d-of-%d.lock", s.K, s.Of)), syscall.LOCK_EX)
	}
	if err != nil {
		l.release()
		return nil, err
	}
	return l, nil
}

func (l *lock) add(path string, how int) error {
	for {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
		if err != nil {
			return fmt.Errorf("%s: cannot be written, and without it two runs could mix their results: %w", path, plain(err))
		}
		if err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB); err != nil {
			defer f.Close()
			if !errors.Is(err, syscall.EWOULDBLOCK) {
				return fmt.Errorf("%s: the disk knows no locks (%w); give a folder on another with --out", path, err)
			}
			other := "another boltrose folder"
			var b [20]byte
			if n, _ := f.ReadAt(b[:], 0); n > 0 {
				other += " (process " + strings.TrimSpace(string(b[:n])) + ")"
			}
			return fmt.Errorf("%s is writing to %s; wait for it to end, or give another folder with --out", other, filepath.Dir(path))
		}
		// Whoever had it before may have removed the file meanwhile.
		mine, err1 := f.Stat()
		there, err2 := os.Stat(path)
		if err1 == nil && err2 == nil && os.SameFile(mine, there) {
			l.files = append(l.files, f)
			if how == syscall.LOCK_EX && f.Truncate(0) == nil {
				fmt.Fprintln(f, os.Getpid()) // for the message alone
			}
			return nil
		}
		f.Close()
	}
}

func (l *lock) release() {
	for _, f := range l.files {
		// A shard's fellows still hold the common one; the last removes it.
		if syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil {
			os.Remove(f.Name())
		}
		f.Close()
	}
}
