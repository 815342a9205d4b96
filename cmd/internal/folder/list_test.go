package folder

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestList(t *testing.T) {
	in := put(t, t.TempDir(), map[string][]byte{
		"b.png": nil, "a2.PNG": nil, "a10.png": nil, "notes.txt": []byte("x"), "scan": scans()["pump-1.png"],
		"a2.reading.json": nil, "b.overlay.png": nil, "summary.csv": nil, "summary-1-of-2.jsonl": nil, "boltrose.toml": nil,
		".hidden.png": nil, ".trash/c.png": nil, "out/d.png": nil, "sub/e.pdf": nil,
	})
	l, err := list([]string{in}, nil, filepath.Join(in, "out"))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, it := range l.Items {
		names = append(names, it.Name)
	}
	// Numbers in names count as numbers; a picture is told by its content too.
	if want := []string{"a2.PNG", "a10.png", "b.png", "scan", "sub/e.pdf"}; !slices.Equal(names, want) || l.Skipped != 1 || l.Base != in {
		t.Errorf("%v, %d skipped", names, l.Skipped)
	}
	l, err = list([]string{filepath.Join(in, "*.png")}, nil, "")
	if err != nil || len(l.Items) != 2 || l.Base != in { // not what a run wrote
		t.Errorf("%+v, %v", l, err)
	}
	l, err = list([]string{filepath.Join(in, "sub/e.pdf"), filepath.Join(in, "b.png")}, nil, "")
	if err != nil || len(l.Items) != 2 || l.Base != in || l.Items[1].Name != "sub/e.pdf" {
		t.Errorf("%+v, %v", l, err)
	}
	if _, err := list([]string{filepath.Join(in, "nothing*")}, nil, ""); err == nil {
		t.Error("a pattern of no file")
	}
}

func TestListOnStandardInput(t *testing.T) {
	for in, want := range map[string]string{
		"a.png\nb.png\tpump\r\n\nc d.png\n": "a.png: b.png:pump c d.png:",
		"x\ny.png\x00z.png\tpump\x00":       "x\ny.png: z.png:pump",
	} {
		l, err := list([]string{"-"}, strings.NewReader(in), "")
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, it := range l.Items {
			got = append(got, it.Name+":"+it.Part)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%q gives %q, want %q", in, s, want)
		}
	}
	for _, in := range []string{"", "\n\n", "a.png\t../b", "a.png\t.b", "a.png\t" + strings.Repeat("b", 200)} {
		if _, err := list([]string{"-"}, strings.NewReader(in), ""); err == nil {
			t.Errorf("%q is a list", in)
		}
	}
}

func TestGroup(t *testing.T) {
	names := []string{"gearbox-1", "gearbox-2", "pump_1", "pump_02", "press (1)", "press (2)", "press (10)", "lone-1", "IMG_0001", "IMG_0002", "v2", "v3", "a/gearbox-1", "x--1", "-1", "-2", "7 1", "7 2"}
	want := []string{"gearbox", "gearbox", "pump", "pump", "press", "press", "press", "", "", "", "", "", "", "", "", "", "7", "7"}
	l := &Listing{}
	for _, n := range names {
		l.Items = append(l.Items, Item{Name: n + ".png", Stem: n})
	}
	l.group()
	for i, it := range l.Items {
		if it.Part != want[i] {
			t.Errorf("%s is of part %q, want %q", it.Name, it.Part, want[i])
		}
	}
}

// Each name is in exactly one shard, the shards are of about one size, and none
// depends on what else is there.
func TestShardOfName(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "shards")
		name := rapid.String().Draw(t, "name")
		in := 0
		for k := 1; k <= n; k++ {
			if (Shard{k, n}).holds(name) {
				in++
			}
		}
		if in != 1 {
			t.Fatalf("%q is in %d of %d shards", name, in, n)
		}
	})
	count := map[int]int{}
	for i := range 8000 {
		for k := 1; k <= 8; k++ {
			if (Shard{k, 8}).holds(fmt.Sprintf("scan-%d.png", i)) {
				count[k]++
			}
		}
	}
	for k, n := range count {
		if n < 850 || n > 1150 { // 1000 ± 5 standard deviations
			t.Errorf("shard %d has %d of 8000", k, n)
		}
	}
	// These may never change: other machines may have another version.
	for name, k := range map[string]int{"gearbox-1.png": 5, "sub/прес.tif": 2} {
		if s := (Shard{k, 8}); !s.holds(name) {
			t.Errorf("%s is not in %v", name, s)
		}
	}
}

func TestNaturally(t *testing.T) {
	order := []string{"", "a", "a1", "a01", "a2", "a10", "a10b", "a11", "b"}
	for i := range order[1:] {
		if c := naturally(order[i], order[i+1]); c > 0 {
			t.Errorf("%q comes after %q", order[i], order[i+1])
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[ab0-9]{0,6}`)
		a, b, c := name.Draw(t, "a"), name.Draw(t, "b"), name.Draw(t, "c")
		if naturally(a, b) != -naturally(b, a) {
			t.Fatalf("%q and %q", a, b)
		}
		if naturally(a, b) <= 0 && naturally(b, c) <= 0 && naturally(a, c) > 0 {
			t.Fatalf("%q, %q, %q", a, b, c)
		}
	})
}

func TestNamesAsText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := strings.ReplaceAll(string(rapid.SliceOf(rapid.Byte()).Draw(t, "name")), "\x00", "")
		if got := nameOfText(textOfName(name)); got != name {
			t.Fatalf("%q came back as %q", name, got)
		}
	})
}

// A file is read when it has looked the same three times, and again when it has
// changed and is quiet once more.
func TestWatcherWaits(t *testing.T) {
	w := watcher{}
	var now map[string]stamp
	look := func() string {
		var items []Item
		for _, n := range []string{"a", "b"} {
			items = append(items, Item{Name: n})
		}
		var ready []string
		for _, it := range w.ready(items, func(it Item) (stamp, error) {
			if s, ok := now[it.Name]; ok {
				return s, nil
			}
			return stamp{}, errors.New("not there")
		}) {
			ready = append(ready, it.Name)
		}
		return strings.Join(ready, "")
	}
	at := time.Unix(1000, 0)
	steps := []struct {
		a, b int64 // sizes; 0: not there
		want string
	}{
		{1, 0, ""}, {2, 0, ""}, {3, 0, ""}, {3, 9, ""}, {3, 9, "a"}, {3, 9, "b"}, {3, 9, ""}, {3, 9, ""},
		{4, 9, ""}, {4, 9, ""}, {4, 9, "a"}, {4, 0, ""}, {4, 9, ""}, {4, 9, ""}, {4, 9, "b"},
	}
	for i, s := range steps {
		now = map[string]stamp{}
		if s.a > 0 {
			now["a"] = stamp{size: s.a, changed: at}
		}
		if s.b > 0 {
			now["b"] = stamp{size: s.b, changed: at}
		}
		if got := look(); got != s.want {
			t.Errorf("look %d: %q is ready, want %q", i, got, s.want)
		}
	}
}

// A scanner writes a picture in two pieces into an empty folder: no reading
// before it is whole, and one soon after.
func TestWatch(t *testing.T) {
	in := t.TempDir()
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	told := make(chan string, 100)
	o := plainOptions(in, "")
	o.Tell = writer(func(b []byte) { told <- string(b) })
	ended := make(chan error, 1)
	var out *Outcome
	go func() {
		var err error
		out, err = Watch(ctx, o)
		ended <- err
	}()
	data := scans()["pump-1.png"]
	f, err := os.Create(filepath.Join(in, "pump-1.png"))
	if err != nil {
		t.Fatal(err)
	}
	f.Write(data[:len(data)/2])
	f.Write(data[len(data)/2:])
	f.Close()
	for _, name := range []string{"pump-1.png", "pump-2.png"} {
		if name == "pump-2.png" { // pump-1 is not read again although it now has a fellow
			put(t, in, map[string][]byte{name: scans()[name]})
		}
		select {
		case line := <-told:
			if !strings.Contains(line, name+": 5 holes") {
				t.Errorf("told %q", line)
			}
		case err := <-ended:
			t.Fatal(err)
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	files := got(t, in)
	if out.Readings != 2 || files["pump.combined.reading.json"] == "" || !strings.Contains(files["parts.csv"], "pump,2,5,") {
		t.Errorf("%+v\n%s", out, files["parts.csv"])
	}
}

// Whatever a journal holds, reading it ends in records or in one error, and its
// whole lines are all that counts.
func FuzzJournal(f *testing.F) {
	f.Add([]byte(`{"schema":"boltrose/folder/1"}` + "\n" + `{"key":"a","page":1}` + "\n" + `{"key"`))
	f.Add([]byte("{}\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		_, records, size, err := readJournal(bytes.NewReader(data))
		if err != nil {
			return
		}
		if size > int64(len(data)) || size > 0 && data[size-1] != '\n' {
			t.Fatalf("%d of %d bytes are whole", size, len(data))
		}
		_, again, _, err := readJournal(bytes.NewReader(data[:size]))
		if err != nil || len(again) != len(records) {
			t.Fatalf("%d records, then %d, %v", len(records), len(again), err)
		}
	})
}

// Readings that do not belong together are said to, and none is made up.
func TestPartsThatAreNone(t *testing.T) {
	in := put(t, t.TempDir(), map[string][]byte{"scan-1.png": scans()["pump-1.png"], "scan-2.png": scans()["gearbox-1.png"]})
	o := plainOptions(in, "")
	mustRun(t, o)
	files := got(t, in)
	if files["scan.combined.reading.json"] != "" || !strings.Contains(files["parts.csv"], "not readings of one face") {
		t.Errorf("%s", files["parts.csv"])
	}
	before := o.Settings
	o.Settings = func(base, folder string) (Settings, error) {
		s, err := before(base, folder)
		s.Whole.Each = true
		return s, err
	}
	mustRun(t, o)
	if csv := got(t, in)["parts.csv"]; !strings.Contains(csv, "scan-1.png,1,5,") || !strings.Contains(csv, "scan-2.png,1,4,") {
		t.Errorf("%s", csv)
	}
}
