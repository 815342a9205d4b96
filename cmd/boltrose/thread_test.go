package main

import (
	"os"
	"strings"
	"testing"

	"boltrose/pattern/thread"
	"boltrose/samples"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// boltScan FILE [written=0] renders the scan of a Whitworth bolt of 3/8 inch, at
// 600 dpi; written is the dpi that the file claims.
func boltScan(ts *testscript.TestScript, neg bool, args []string) {
	b := samples.CiderPressBolt()
	written := b.DPI
	if len(args) > 1 && args[1] == "written=0" {
		written = 0
	}
	img, _ := b.Render()
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(samples.WritePNG(f, img, written, written))
	ts.Check(f.Close())
}

// validThread FILE holds a thread's result against the JSON schema and reads it
// back.
func validThread(schema *jsonschema.Schema) func(*testscript.TestScript, bool, []string) {
	return func(ts *testscript.TestScript, neg bool, args []string) {
		text := ts.ReadFile(args[0])
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		ts.Check(err)
		ts.Check(schema.Validate(doc))
		_, err = thread.ReadResult(strings.NewReader(text))
		ts.Check(err)
	}
}

// Whatever is typed, parsing ends in measures that can be or in one line.
func FuzzThreadFlags(f *testing.F) {
	for _, s := range []string{
		"--tpi\n16\n--major\n9.4", "--pitch\n1.5±0.01", "--minor\n0.31in", "--flank\n55°", "bolt.png\n--dpi\n600",
		"--series\nM,UNC\n--pitch\n1", "--engagement\n60%\n--tpi\n20+-1", "--pitch\n-1", "--pitch\nNaN", "-\n--json\n-",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseThread(strings.Split(s, "\n"))
		if err != nil {
			if strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		if c.picture != "" {
			return
		}
		id, err := thread.Identify(c.given, c.series...)
		if err != nil {
			t.Errorf("%q is let through and cannot be: %v", s, err)
			return
		}
		thread.NewResult(id, nil, c.engagement, nil)
	})
}

// Whatever a file holds, reading it ends in a result with a candidate or in one
// line.
func FuzzThreadResult(f *testing.F) {
	id, err := thread.Identify(thread.Measured{Pitch: thread.Value{V: 1.25}, Major: thread.Value{V: 7.9}})
	if err != nil {
		f.Fatal(err)
	}
	var b strings.Builder
	if err := thread.NewResult(id, nil, 0, nil).WriteJSON(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.String())
	f.Add(`{"schema":"boltrose/thread/1","candidates":[{}]}`)
	f.Add("[]")
	f.Fuzz(func(t *testing.T, s string) {
		r, err := thread.ReadResult(strings.NewReader(s))
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		if c, _ := r.One(); !(c.Major > 0) {
			t.Errorf("a bolt of %g mm", c.Major)
		}
	})
}
