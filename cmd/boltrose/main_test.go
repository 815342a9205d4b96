package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"image"
	"io"
	"math"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"boltrose/pattern"
	"boltrose/samples"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"boltrose": main})
}

func TestScripts(t *testing.T) {
	reading, err := jsonschema.NewCompiler().Compile("../../testdata/reading.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	mating, err := jsonschema.NewCompiler().Compile("../../testdata/mate.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	threadSchema, err := jsonschema.NewCompiler().Compile("../../testdata/thread.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"rubbing":  rubbing,
			"photo":    photo,
			"ties":     ties,
			"exit":     exit,
			"valid":    func(ts *testscript.TestScript, neg bool, args []string) { valid(ts, reading, mating, args[0]) },
			"angles":   angles,
			"pointers": pointers,
			"mirrored": mirrored,
			"picture":  picture,
			"columns":  columns,
			"holes":    withHoles,

			"bolt":        boltScan,
			"validthread": validThread(threadSchema),
			"desk":        openAndClose,
		},
	})
}

// rubbing FACE FILE [dpi=N] [written=N] [seed=N] renders a rubbing: keyed has 5
// holes of 9 mm unevenly on a pitch circle of 60 mm, handed too, even 4 of 7 mm on 50 mm.
// written is the dpi that the file claims; 0 leaves it out.
func rubbing(ts *testscript.TestScript, neg bool, args []string) {
	set := map[string]float64{"dpi": 150, "seed": 1}
	for _, a := range args[2:] {
		key, value, _ := strings.Cut(a, "=")
		v, err := strconv.ParseFloat(value, 64)
		ts.Check(err)
		set[key] = v
	}
	var face samples.Face
	switch args[0] {
	case "keyed":
		face = samples.Keyed(60, []float64{90, 160, 235, 305, 20}, 9)
	case "handed": // its mirror image does not fit
		face = samples.Keyed(60, []float64{90, 150, 235, 300, 20}, 9)
	case "even":
		face = samples.Ring(4, 50, 7)
	default:
		ts.Fatalf("there is no face %s", args[0])
	}
	r := samples.New(face, uint64(set["seed"]))
	r.DPI = set["dpi"]
	r.Tone, r.PaleAreas, r.Smudges = 0.5, 0, 0
	img, _ := r.Render()
	written, ok := set["written"]
	if !ok {
		written = r.DPI
	}
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	if strings.HasSuffix(args[1], ".jpg") {
		err = samples.WriteJPEG(f, img, written, written, 90)
	} else {
		err = samples.WritePNG(f, img, written, written)
	}
	ts.Check(err)
	ts.Check(f.Close())
}

// exit CODE ARGS… runs boltrose and checks its exit code, and that it never
// fails with a stack trace or with more than the one line of a wrong use.
func exit(ts *testscript.TestScript, neg bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec("boltrose", args[1:]...)
	got := 0
	if e, ok := err.(interface{ ExitCode() int }); ok {
		got = e.ExitCode()
	} else {
		ts.Check(err)
	}
	stderr := ts.ReadFile("stderr")
	if got != want {
		ts.Fatalf("exit code %d, want %d\n%s", got, want, stderr)
	}
	if strings.Contains(stderr, "goroutine ") {
		ts.Fatalf("a stack trace:\n%s", stderr)
	}
	if want == exitWrong && (strings.Count(stderr, "\n") != 1 || !strings.HasPrefix(stderr, "boltrose: ")) {
		ts.Fatalf("not one line:\n%s", stderr)
	}
}

// valid FILE holds what mate wrote against its JSON schema, and a reading
// against the other one, and reads it back.
func valid(ts *testscript.TestScript, reading, mating *jsonschema.Schema, file string) {
	text := ts.ReadFile(file)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	ts.Check(err)
	if strings.Contains(text, pattern.MateSchema) {
		ts.Check(mating.Validate(doc))
		return
	}
	ts.Check(reading.Validate(doc))
	_, err = pattern.ReadJSON(strings.NewReader(text))
	ts.Check(err)
}

func reading(ts *testscript.TestScript, file string) *pattern.Reading {
	var r pattern.Reading
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(file)), &r))
	return &r
}

// angles FILE A1 A2 … checks the number of holes and each one's angle to 1°.
func angles(ts *testscript.TestScript, neg bool, args []string) {
	r := reading(ts, args[0])
	var got []string
	ok := len(r.Holes) == len(args)-1
	for i, h := range r.Holes {
		got = append(got, fmt.Sprintf("%.2f", *h.AngleDeg))
		if ok {
			want, err := strconv.ParseFloat(args[1+i], 64)
			ts.Check(err)
			ok = math.Abs(math.Remainder(*h.AngleDeg-want, 360)) < 1
		}
	}
	if !ok {
		ts.Fatalf("the holes lie at %v, not at %v", got, args[1:])
	}
}

// pointers FILE sets $HOLE1, $HOLE2, … to where the reading has its holes, as
// --add takes them, a little beside the truth as a hand would.
func pointers(ts *testscript.TestScript, neg bool, args []string) {
	r := reading(ts, args[0])
	for _, h := range r.Holes {
		ts.Setenv(fmt.Sprintf("HOLE%d", h.ID), fmt.Sprintf("%.0f,%.0f,%.0f", h.XPx+2, h.YPx-2, 1.03*h.Diameter/r.Scale.MMPerPxX))
	}
}

// mirrored A B checks that two readings are one another's mirror image.
func mirrored(ts *testscript.TestScript, neg bool, args []string) {
	a, b := reading(ts, args[0]), reading(ts, args[1])
	if len(a.Holes) != len(b.Holes) {
		ts.Fatalf("%d and %d holes", len(a.Holes), len(b.Holes))
	}
	for _, h := range a.Holes {
		if !slices.ContainsFunc(b.Holes, func(o pattern.Hole) bool {
			return math.Abs(h.X+o.X) < 1e-6 && math.Abs(h.Y-o.Y) < 1e-6 && h.XPx == o.XPx && h.YPx == o.YPx
		}) {
			ts.Fatalf("hole %d at %.3f,%.3f has no mirror image", h.ID, h.X, h.Y)
		}
	}
}

// picture FILE FORMAT MAXSIDE checks that a file is a picture and not too wide.
func picture(ts *testscript.TestScript, neg bool, args []string) {
	c, format, err := image.DecodeConfig(strings.NewReader(ts.ReadFile(args[0])))
	ts.Check(err)
	most, err := strconv.Atoi(args[2])
	ts.Check(err)
	if format != args[1] || c.Width > most {
		ts.Fatalf("a %s, %d × %d", format, c.Width, c.Height)
	}
}

// holes READING N FILE writes the reading with so many holes like its first.
func withHoles(ts *testscript.TestScript, neg bool, args []string) {
	var r map[string]any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &r))
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	r["holes"] = slices.Repeat(r["holes"].([]any)[:1], n)
	data, err := json.Marshal(r)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), data, 0o600))
}

// columns FILE N checks that no line is wider than N.
func columns(ts *testscript.TestScript, neg bool, args []string) {
	most, err := strconv.Atoi(args[1])
	ts.Check(err)
	for _, line := range strings.Split(ts.ReadFile(args[0]), "\n") {
		if n := utf8.RuneCountInString(line); n > most {
			ts.Fatalf("%d columns: %s", n, line)
		}
	}
}

// openAndClose ARGS… opens a desk without a browser, waits for its address,
// interrupts it, and checks that it ends well and leaves no file in $TMPDIR.
// Its output is stdout and stderr, as exec's.
func openAndClose(ts *testscript.TestScript, neg bool, args []string) {
	out, in, err := os.Pipe()
	ts.Check(err)
	errors, err := os.Create(ts.MkAbs("desk.stderr"))
	ts.Check(err)
	program, err := exec.LookPath("boltrose")
	ts.Check(err)
	cmd := exec.Command(program, append([]string{"desk", "--no-browser"}, args...)...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = ts.Getenv("WORK"), in, errors
	cmd.Env = append(os.Environ(), "TMPDIR="+ts.Getenv("TMPDIR"))
	ts.Check(cmd.Start())
	in.Close()
	lines := bufio.NewReader(out)
	address, err := lines.ReadString('\n')
	ts.Check(err)
	ts.Check(cmd.Process.Signal(os.Interrupt))
	rest, err := io.ReadAll(lines)
	ts.Check(err)
	ts.Check(cmd.Wait())
	ts.Check(errors.Close())
	if len(rest) > 0 {
		ts.Fatalf("after the address: %s", rest)
	}
	left, err := os.ReadDir(ts.Getenv("TMPDIR"))
	ts.Check(err)
	if len(left) > 0 {
		ts.Fatalf("%v is left", left)
	}
	ts.Check(os.WriteFile(ts.MkAbs("desk.stdout"), []byte(address), 0o666))
}

// Whatever is typed, parsing ends in a value or in one line.
func FuzzReadFlags(f *testing.F) {
	for _, s := range []string{
		"a.png\n--dpi\n300", "a.png\n--pcd\n96±0.1", "--diameter\n8-10\na.png", "--add\n1,2,3\na.png",
		"a.png\n--scale-u=0.2%", "--max-pixels\n400M\na.png", "--drop\n1,m2\na.png", "-\n--json\n-", "--dpi\n,\na",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseRead(strings.Split(s, "\n"))
		if err != nil {
			if strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		o := c.opts
		for _, v := range []float64{o.DPI[0], o.DPI[1], o.MinDiameter, o.MaxDiameter, o.PCD, o.PCDU95} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Errorf("%q gives %v", s, o)
			}
		}
		if o.ScaleU > 0.1 || math.IsNaN(o.ScaleU) || o.MaxDiameter < o.MinDiameter || o.PCDU95 > o.PCD {
			t.Errorf("%q gives %v", s, o)
		}
	})
}
