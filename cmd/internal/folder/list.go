package folder

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"boltrose/vision"
)

// Item is a picture file to read.
type Item struct {
	Path string
	Name string // from the listing's base, with slashes
	Stem string // what its results are called, from the base too
	Part string // the part that it is of, from the base too
}

// Listing is what a run reads.
type Listing struct {
	Base     string // the folder that all of it lies in
	Items    []Item
	Skipped  int      // files that are no pictures
	Problems []string // folders that cannot be opened
}

// list finds the pictures that the sources name: of a folder all those in it
// and in the folders below it; a file that is named is always one.
func list(sources []string, in io.Reader, out string) (*Listing, error) {
	l := &Listing{}
	parts := map[string]string{} // of a list's second column
	var paths []string
	base := ""
	for _, s := range sources {
		switch info, err := os.Stat(s); {
		case s == "-":
			named, err := readList(in, parts)
			if err != nil {
				return nil, err
			}
			paths = append(paths, named...)
		case err == nil && info.IsDir():
			if len(sources) == 1 {
				base = s
			}
			w := walker{skip: out, seen: map[string]bool{}, l: l}
			w.walk(s)
			paths = append(paths, w.found...)
		case err == nil:
			paths = append(paths, s)
		default:
			found, globErr := filepath.Glob(s)
			if globErr != nil || len(found) == 0 {
				return nil, fmt.Errorf("%s: there is no such folder or file, and no file has a name like it; check the name", s)
			}
			for _, f := range found {
				if info, err := os.Stat(f); err == nil && info.IsDir() || ours(filepath.Base(f)) || strings.HasPrefix(filepath.Base(f), ".") {
					continue
				}
				paths = append(paths, f)
			}
		}
	}
	if base == "" && len(paths) == 0 {
		return l, nil
	}
	if base == "" {
		base = commonFolder(paths)
	}
	l.Base = base
	seen := map[string]bool{}
	for _, p := range paths {
		name, err := relative(base, p)
		if err != nil {
			return nil, err
		}
		if !seen[name] {
			seen[name] = true
			l.Items = append(l.Items, Item{Path: p, Name: name, Part: parts[p]})
		}
	}
	slices.SortFunc(l.Items, func(a, b Item) int { return cmp.Or(naturally(a.Name, b.Name), cmp.Compare(a.Name, b.Name)) })
	l.nameResults()
	return l, nil
}

// none says that there is nothing to read.
func (l *Listing) none(sources []string) error {
	if len(l.Problems) > 0 {
		return errors.New(l.Problems[0])
	}
	return fmt.Errorf("%s: no picture is there (PNG, JPEG, TIFF, BMP, WebP, HEIC or PDF)", strings.Join(sources, " "))
}

// readList reads one file a line, with a tab and the name of its part behind it
// or without. Where it holds zero bytes, these end the names (find -print0).
func readList(in io.Reader, parts map[string]string) ([]string, error) {
	data, err := io.ReadAll(io.LimitReader(in, 1<<30))
	if err != nil {
		return nil, fmt.Errorf("the list cannot be read: %w", err)
	}
	end := "\n"
	if bytes.IndexByte(data, 0) >= 0 {
		end = "\x00"
	}
	var paths []string
	for line := range strings.SplitSeq(string(data), end) {
		if end == "\n" {
			line = strings.TrimSuffix(line, "\r")
		}
		path, part, _ := strings.Cut(line, "\t")
		if path == "" {
			continue
		}
		paths = append(paths, path)
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		if strings.ContainsAny(part, "/\\\x00") || strings.HasPrefix(part, ".") || len(part) > 150 {
			return nil, fmt.Errorf("the list calls a part %q: a part's name becomes that of a file, so leave out / and \\ and a dot in front", part)
		}
		parts[path] = part
	}
	if len(paths) == 0 {
		return nil, errors.New("the list on standard input names no file; give one a line")
	}
	return paths, nil
}

// walker goes through a folder and those below it.
type walker struct {
	skip  string          // a folder with results
	seen  map[string]bool // folders by their real path: a link may lead back up
	found []string
	l     *Listing
}

func (w *walker) walk(folder string) {
	real, err := filepath.EvalSymlinks(folder)
	if err == nil {
		real, err = filepath.Abs(real)
	}
	if err != nil || w.seen[real] {
		return
	}
	w.seen[real] = true
	entries, err := os.ReadDir(folder)
	if err != nil {
		w.l.Problems = append(w.l.Problems, fmt.Sprintf("%s: the folder cannot be opened (%v)", folder, plain(err)))
	}
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		mode := e.Type()
		if mode&fs.ModeSymlink != 0 {
			if info, err := os.Stat(path); err == nil {
				mode = info.Mode().Type()
			}
		}
		switch {
		case mode.IsDir():
			if !sameFolder(path, w.skip) {
				w.walk(path)
			}
		case ours(e.Name()):
		case isPicture(path, mode):
			w.found = append(w.found, path)
		default:
			w.l.Skipped++
		}
	}
}

func sameFolder(a, b string) bool {
	if b == "" {
		return false
	}
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}

// ours tells whether a file is one that a run writes or takes its settings
// from.
func ours(name string) bool {
	switch name {
	case summaryCSV, partsCSV, summaryHTML, SettingsFile:
		return true
	}
	return strings.HasSuffix(name, readingEnd) || strings.HasSuffix(name, overlayEnd) || shardName.MatchString(name)
}

// endings are what pictures' names end in; a file called so is one, even if it
// turns out not to be.
var endings = []string{".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp", ".heic", ".heif", ".pdf"}

func isPicture(path string, mode fs.FileMode) bool {
	if slices.Contains(endings, strings.ToLower(filepath.Ext(path))) {
		return true
	}
	if !mode.IsRegular() {
		return false // who opens a pipe waits for somebody to write to it
	}
	return vision.Recognise(path)
}

// commonFolder is the deepest folder that all files lie in.
func commonFolder(paths []string) string {
	common := filepath.Dir(paths[0])
	for _, p := range paths[1:] {
		for {
			rel, err := filepath.Rel(common, p)
			if err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
				break
			}
			up := filepath.Dir(common)
			if up == common { // at the top, or of . at the way up
				if abs, err := filepath.Abs(common); err == nil && abs != common {
					common = abs
					continue
				}
				return common
			}
			common = up
		}
	}
	return common
}

func relative(base, path string) (string, error) {
	rel, err := filepath.Rel(base, path)
	if err != nil { // one is absolute and the other is not
		if base, err = filepath.Abs(base); err == nil {
			if path, err = filepath.Abs(path); err == nil {
				rel, err = filepath.Rel(base, path)
			}
		}
	}
	return filepath.ToSlash(rel), err
}

// nameResults calls results after the picture without its ending; pictures that
// differ in their endings alone keep them.
func (l *Listing) nameResults() {
	stem := func(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }
	count := map[string]int{}
	for _, it := range l.Items {
		count[strings.ToLower(stem(it.Name))]++ // some disks take a and A for one
	}
	for i, it := range l.Items {
		l.Items[i].Stem = stem(it.Name)
		if count[strings.ToLower(stem(it.Name))] > 1 || filepath.Base(stem(it.Name)) == "" || strings.HasSuffix(stem(it.Name), "/") {
			l.Items[i].Stem = it.Name
		}
	}
}

// numbered is a name with a number at its end: gearbox-1, gearbox_2,
// gearbox (3). Numbers of more than three digits are a camera's or scanner's.
var numbered = regexp.MustCompile(`^(.*[^-_ (])(?:[-_ ]\d{1,3}| ?\(\d{1,3}\))$`)

// group says of which part each picture is.
func (l *Listing) group() {
	count := map[string]int{}
	part := func(it Item) string {
		if m := numbered.FindStringSubmatch(it.Stem); m != nil {
			return m[1]
		}
		return it.Stem
	}
	for _, it := range l.Items {
		if it.Part == "" {
			count[part(it)]++
		}
	}
	for i, it := range l.Items {
		if p := part(it); it.Part == "" && count[p] > 1 {
			l.Items[i].Part = p
		}
	}
}

// naturally compares names as people do: scan-2 comes before scan-10.
func naturally(a, b string) int {
	digits := func(s string) int {
		n := 0
		for n < len(s) && s[n] >= '0' && s[n] <= '9' {
			n++
		}
		return n
	}
	for a != "" && b != "" {
		if m, n := digits(a), digits(b); m > 0 && n > 0 {
			x, y := strings.TrimLeft(a[:m], "0"), strings.TrimLeft(b[:n], "0")
			if c := cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(x, y)); c != 0 {
				return c
			}
			a, b = a[m:], b[n:]
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}
