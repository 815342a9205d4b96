package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func write(path, s string) error {
	return Write(path, func(w io.Writer) error {
		_, err := io.WriteString(w, s)
		return err
	})
}

func content(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// files lists dir, so that a left-over temporary file is seen.
func files(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

func TestNewFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.json")
	if err := Check(path); err != nil {
		t.Fatal(err)
	}
	if got := files(t, dir); got != "" {
		t.Fatalf("Check left %q", got)
	}
	if err := write(path, "one"); err != nil {
		t.Fatal(err)
	}
	plain := filepath.Join(t.TempDir(), "plain")
	if err := os.WriteFile(plain, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	want, _ := os.Stat(plain)
	got, _ := os.Stat(path)
	if got.Mode() != want.Mode() {
		t.Errorf("mode %v, an ordinary new file has %v", got.Mode(), want.Mode())
	}
	if content(t, path) != "one" || files(t, dir) != "a.json" {
		t.Errorf("wrote %q, folder holds %q", content(t, path), files(t, dir))
	}
}

func TestExistingFileKeepsItsPermissionsAndLink(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "a"), filepath.Join(dir, "link")
	if err := os.WriteFile(path, []byte("old and longer"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("a", link); err != nil {
		t.Fatal(err)
	}
	if err := Check(link); err != nil {
		t.Fatal(err)
	}
	if err := write(link, "new"); err != nil {
		t.Fatal(err)
	}
	info, err := os.Lstat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode() != 0o640 || content(t, path) != "new" {
		t.Errorf("mode %v, content %q", info.Mode(), content(t, path))
	}
	if to, err := os.Readlink(link); to != "a" {
		t.Errorf("link now points to %q, %v", to, err)
	}
	if got := files(t, dir); got != "a link" {
		t.Errorf("folder holds %q", got)
	}
}

func TestFailureLeavesTheOldFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a")
	if err := write(path, "old"); err != nil {
		t.Fatal(err)
	}
	boom := errors.New("boom")
	err := Write(path, func(w io.Writer) error {
		w.Write(make([]byte, 1<<20))
		return boom
	})
	if !errors.Is(err, boom) {
		t.Errorf("error %v", err)
	}
	if content(t, path) != "old" || files(t, dir) != "a" {
		t.Errorf("content %q, folder holds %q", content(t, path), files(t, dir))
	}
}

func TestWriteThrough(t *testing.T) {
	if err := Check("/dev/null"); err != nil {
		t.Error(err)
	}
	if err := write("/dev/null", "x"); err != nil {
		t.Error(err)
	}
	if info, err := os.Stat("/dev/null"); err != nil || info.Mode().IsRegular() {
		t.Fatal("/dev/null was replaced by a file")
	}

	// An open file reached by its descriptor is written to, not replaced.
	f, err := os.Create(filepath.Join(t.TempDir(), "open"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	before, _ := f.Stat()
	if err := write(fmt.Sprintf("/proc/self/fd/%d", f.Fd()), "through"); err != nil {
		t.Fatal(err)
	}
	after, _ := os.Stat(f.Name())
	if !os.SameFile(before, after) || content(t, f.Name()) != "through" {
		t.Errorf("replaced, or content is %q", content(t, f.Name()))
	}
}

func TestRefused(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("kept"), 0o600); err != nil {
		t.Fatal(err)
	}
	dangling := filepath.Join(dir, "dangling")
	if err := os.Symlink("nowhere", dangling); err != nil {
		t.Fatal(err)
	}
	protected := filepath.Join(dir, "protected")
	if err := os.WriteFile(protected, []byte("kept"), 0o400); err != nil {
		t.Fatal(err)
	}
	closed := filepath.Join(dir, "closed")
	if err := os.Mkdir(closed, 0o500); err != nil {
		t.Fatal(err)
	}
	cases := []struct {
		name, path, says string
		bySystem         bool // root may write there nevertheless
	}{
		{"folder", dir, "is a folder", false},
		{"no such folder", filepath.Join(dir, "no", "a"), "no folder", false},
		{"file as folder", filepath.Join(file, "a"), "not a folder", false},
		{"dangling link", dangling, "link to a file that is not there", false},
		{"empty name", "", "empty", false},
		{"write-protected file", protected, "no permission", true},
		{"write-protected folder", filepath.Join(closed, "a"), "no permission", true},
	}
	before := files(t, dir)
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if c.bySystem && os.Geteuid() == 0 {
				t.Skip("root may write everywhere")
			}
			for what, err := range map[string]error{"Check": Check(c.path), "Write": write(c.path, "x")} {
				if err == nil {
					t.Fatalf("%s: no error", what)
				}
				if s := err.Error(); !strings.Contains(s, c.says) || strings.Contains(s, "\n") {
					t.Errorf("%s says %q, want one line with %q", what, s, c.says)
				}
			}
		})
	}
	if got := files(t, dir); got != before || content(t, file) != "kept" {
		t.Errorf("folder holds %q, was %q", got, before)
	}
}
