package folder

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/samples"
)

// scans are small rubbings, rendered once: two of each of two parts, one that
// is none, and one that is no picture.
var scans = sync.OnceValue(func() map[string][]byte {
	out := map[string][]byte{}
	for i, face := range []samples.Face{samples.Ring(4, 30, 7), samples.Keyed(32, []float64{90, 150, 235, 300, 20}, 6)} {
		for k := range 2 {
			r := samples.New(face, uint64(10*i+k+1))
			r.DPI, r.Tone, r.Turn = 100, 0.6, float64(40*k)
			img, _ := r.Render()
			var b bytes.Buffer
			if err := samples.WritePNG(&b, img, r.DPI, r.DPI); err != nil {
				panic(err)
			}
			out[fmt.Sprintf("%s-%d.png", []string{"gearbox", "pump"}[i], k+1)] = b.Bytes()
		}
	}
	return out
})

// put writes files into a folder, making those between.
func put(t testing.TB, folder string, files map[string][]byte) string {
	t.Helper()
	for name, data := range files {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

// got is what lies in a folder, less the locks.
func got(t testing.TB, folder string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(folder, path)
		out[rel] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// same compares two folders byte by byte.
func same(t testing.TB, what string, have, want map[string]string) {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if have[name] != want[name] {
			t.Errorf("%s: %s differs (%d bytes, want %d)", what, name, len(have[name]), len(want[name]))
		}
	}
	for name := range have {
		if _, ok := want[name]; !ok {
			t.Errorf("%s: there is %s too", what, name)
		}
	}
}

func plainOptions(source, out string) Options {
	return Options{
		Sources: []string{source}, Out: out, Tell: io.Discard,
		Settings: func(base, folder string) (Settings, error) {
			return Settings{Read: read.Options{ScaleU: -1}, Key: "as it comes", Whole: Whole{Bolt: DefaultBolt, Unit: "mm"}}, nil
		},
	}
}

func mustRun(t testing.TB, o Options) *Outcome {
	t.Helper()
	out, err := Run(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestRun(t *testing.T) {
	in := put(t, t.TempDir(), scans())
	put(t, in, map[string][]byte{"bad.png": []byte("no picture"), "notes.txt": []byte("turn it"), "sub/blank.png": blank(t)})
	o := mustRun(t, plainOptions(in, ""))
	if o.Readings != 4 || o.Failed != 1 || o.Without != 1 || o.Skipped != 1 || o.Whole() {
		t.Errorf("%+v", o)
	}
	files := got(t, in)
	for _, name := range []string{"gearbox-1.reading.json", "gearbox-1.overlay.png", "gearbox.combined.reading.json", "sub/blank.overlay.png", "summary.html", "summary.csv", "parts.csv", "summary.jsonl"} {
		if files[name] == "" {
			t.Errorf("there is no %s", name)
		}
	}
	if files["bad.reading.json"] != "" || files["sub/blank.reading.json"] != "" {
		t.Error("what has no reading has one")
	}
	for _, want := range []string{"bad.png,,bad.png,failed,", "gearbox-2.png,,gearbox,reading,,4,even,", "sub/blank.png,,sub/blank.png,no pattern,"} {
		if !strings.Contains(files["summary.csv"], want) {
			t.Errorf("summary.csv has no %q:\n%s", want, files["summary.csv"])
		}
	}
	// A second run leaves its own results alone, and gives the same.
	mustRun(t, plainOptions(in, ""))
	same(t, "second run", got(t, in), files)
}

func blank(t testing.TB) []byte {
	t.Helper()
	r := samples.New(samples.Face{}, 3)
	r.DPI, r.Width, r.Height, r.Tone = 100, 30, 30, 0
	img, _ := r.Render()
	var b bytes.Buffer
	if err := samples.WritePNG(&b, img, 100, 100); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Only what changed is redone: by content and settings, not by time.
func TestResume(t *testing.T) {
	in, out := put(t, t.TempDir(), scans()), t.TempDir()
	o := plainOptions(in, out)
	mustRun(t, o)
	want := got(t, out)
	o.Resume = true
	steps := []struct {
		name string
		do   func()
		redo int
	}{
		{"nothing", func() {}, 0},
		{"a new time", func() { put(t, in, map[string][]byte{"pump-1.png": scans()["pump-1.png"]}) }, 0},
		{"another picture", func() {
			put(t, in, map[string][]byte{"pump-1.png": scans()["pump-2.png"], "pump-2.png": scans()["pump-1.png"]})
		}, 2},
		{"and back", func() { put(t, in, scans()) }, 2},
		{"a lost overlay", func() { os.Remove(filepath.Join(out, "pump-1.overlay.png")) }, 1},
		{"a reading with a change", func() { put(t, out, map[string][]byte{"pump-2.reading.json": []byte("{}")}) }, 1},
		{"a lost journal", func() { os.Remove(filepath.Join(out, "summary.jsonl")) }, 4},
		{"a line cut short", func() {
			all := want["summary.jsonl"]
			put(t, out, map[string][]byte{"summary.jsonl": []byte(all[:len(all)-10])})
		}, 1},
		{"one less of a part", func() { os.Rename(filepath.Join(in, "pump-2.png"), filepath.Join(in, "other.png")) }, 1},
		{"and back", func() {
			os.Rename(filepath.Join(in, "other.png"), filepath.Join(in, "pump-2.png"))
			for _, end := range []string{readingEnd, overlayEnd} { // what was made of it stays: nobody said that it may go
				if err := os.Remove(filepath.Join(out, "other"+end)); err != nil {
					t.Error(err)
				}
			}
		}, 1}, // the tables between told nothing of it any more
		{"other settings", func() {
			before := o.Settings
			o.Settings = func(base, folder string) (Settings, error) {
				s, err := before(base, folder)
				s.Key = "other"
				return s, err
			}
		}, 4},
	}
	for _, s := range steps {
		s.do()
		got := mustRun(t, o)
		if redone := got.Readings - got.Kept; redone != s.redo || got.Readings != 4 {
			t.Errorf("%s: %d done again, want %d", s.name, redone, s.redo)
		}
	}
	mustRun(t, plainOptions(in, out))
	same(t, "in the end", got(t, out), want)
}

// Eight shards write what one run writes, into one folder or into one each.
func TestShards(t *testing.T) {
	in := t.TempDir()
	i := 0
	for name, data := range scans() {
		for k := range 3 {
			i++
			put(t, in, map[string][]byte{fmt.Sprintf("sub%d/%s", k, name): append(bytes.Clone(data), fmt.Sprint(i)...)})
		}
	}
	put(t, in, map[string][]byte{"bad.png": []byte("no picture")})
	whole := t.TempDir()
	mustRun(t, plainOptions(in, whole))
	want := got(t, whole)

	together := t.TempDir()
	var each []string
	for k := 1; k <= 8; k++ {
		o := plainOptions(in, together)
		o.Shard = Shard{k, 8}
		mustRun(t, o)
		own := t.TempDir()
		o.Out = own
		mustRun(t, o)
		each = append(each, own)
		if k == 5 {
			if _, err := Merge([]string{together}, ""); err == nil || !strings.Contains(err.Error(), "missing: 6, 7, 8") {
				t.Errorf("five shards merged: %v", err)
			}
		}
	}
	joined := filepath.Join(t.TempDir(), "all")
	for _, m := range []struct {
		from []string
		out  string
	}{{[]string{together}, ""}, {each, joined}} {
		o, err := Merge(m.from, m.out)
		if err != nil {
			t.Fatal(err)
		}
		if o.Readings != 12 || o.Failed != 1 {
			t.Errorf("%+v", o)
		}
	}
	have := got(t, together)
	maps.DeleteFunc(have, func(name, _ string) bool { return strings.HasPrefix(name, "summary-") })
	same(t, "in one folder", have, want)
	same(t, "in a folder each", got(t, joined), want)

	// A shard that saw another folder, and one that was not finished.
	put(t, in, map[string][]byte{"late-1.png": scans()["pump-1.png"]})
	o := plainOptions(in, each[2])
	o.Shard = Shard{3, 8}
	mustRun(t, o)
	if _, err := Merge(each, joined); err == nil || !strings.Contains(err.Error(), "different lists") {
		t.Errorf("merged: %v", err)
	}
	path := filepath.Join(each[3], "summary-4-of-8.jsonl")
	data, _ := os.ReadFile(path)
	os.WriteFile(path, bytes.Replace(data, []byte(`"complete":true`), []byte(`"complete":false`), 1), 0o666)
	if _, err := Merge(slices.Delete(slices.Clone(each), 2, 3), joined); err == nil || !strings.Contains(err.Error(), "missing: 3") || !strings.Contains(err.Error(), "not finished: 4") {
		t.Errorf("merged: %v", err)
	}
}

// The pages of a file are pictures of their own, also where one is broken.
func TestPages(t *testing.T) {
	tif, err := os.ReadFile("../../../vision/testdata/pages.tif")
	if err != nil {
		t.Fatal(err)
	}
	in := put(t, t.TempDir(), map[string][]byte{"fax.tif": tif})
	o := plainOptions(in, "")
	if got := mustRun(t, o); got.Without+got.Failed != 4 {
		t.Errorf("%+v", got)
	}
	o.Resume = true
	if got := mustRun(t, o); got.Kept != 1 {
		t.Errorf("%+v", got)
	}
	csv := got(t, in)["summary.csv"]
	for p := 1; p <= 4; p++ {
		if !strings.Contains(csv, fmt.Sprintf("fax.tif,%d,", p)) {
			t.Errorf("page %d is missing:\n%s", p, csv)
		}
	}
}

// Nothing that a file is called can break a table, a page or a name.
func TestOddNames(t *testing.T) {
	data := scans()["gearbox-1.png"]
	names := []string{
		"with space.png", "line\nbreak.png", "Коробка передач.png", "変速機-1.png", "<script>alert(1)</script>.png",
		`quote".png`, "-rf.png", "a,b;c.png", "%2e.png", "bad\xffutf.png", "#1.png", "A.png", "a.PNG", "two.png", "two.tiff", "=1+1.png", "tab\there.png",
	}
	in := t.TempDir()
	for i, n := range names {
		put(t, in, map[string][]byte{n: append(bytes.Clone(data), fmt.Sprint(i)...)})
	}
	o := plainOptions(in, "")
	if got := mustRun(t, o); got.Readings != len(names) {
		t.Fatalf("%+v", got)
	}
	files := got(t, in)
	for _, n := range names {
		stem := strings.TrimSuffix(n, filepath.Ext(n))
		if n == "A.png" || n == "a.PNG" || strings.HasPrefix(n, "two.") {
			stem = n
		}
		if files[stem+".reading.json"] == "" || files[stem+".overlay.png"] == "" {
			t.Errorf("%q has no results as %q", n, stem)
		}
	}
	if strings.Contains(files["summary.html"], "<script>") {
		t.Error("a name became a part of the page")
	}
	if n := strings.Count(files["summary.jsonl"], "\n"); n != len(names)+1 {
		t.Errorf("%d lines in the journal", n)
	}
	o.Resume = true
	if got := mustRun(t, o); got.Kept != len(names) {
		t.Errorf("%+v", got)
	}
}
