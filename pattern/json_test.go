package pattern

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

var readingSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	return jsonschema.NewCompiler().Compile("../testdata/reading.schema.json")
})

// written returns the reading as JSON, after holding it against the schema
// and reading it back.
func written(t testing.TB, r *Reading) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	schema, err := readingSchema()
	if err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(document); err != nil {
		t.Fatal(err)
	}
	back, err := ReadJSON(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r, back) {
		t.Fatal("the reading differs after writing and reading back")
	}
	return b.Bytes()
}

// mustNew is New for rings that must give a reading.
func mustNew(t testing.TB, rings []Ring, choice Choice, opts Options) *Reading {
	t.Helper()
	r, err := New(rings, choice, opts)
	if err != nil {
		t.Fatal(err)
	}
	written(t, r)
	return r
}

func TestWritingIsDeterministic(t *testing.T) {
	rings, choice := keyed()
	first := written(t, mustNew(t, rings, choice, Options{}))
	if !bytes.Equal(first, written(t, mustNew(t, rings, choice, Options{}))) {
		t.Error("two readings of the same rings differ")
	}
}

func TestTextThatIsNotUTF8(t *testing.T) {
	rings, choice := keyed()
	mustNew(t, rings, choice, Options{
		Source:   Source{File: "rubbing-\xff<&>.png", Kind: "scan\xfe"},
		Warnings: []string{"\xf0 & <b>"},
	})
}

func TestUnknownKeysAreLeftOut(t *testing.T) {
	rings, choice := keyed()
	text := written(t, mustNew(t, rings, choice, Options{}))
	more := strings.Replace(string(text), `"view"`, `"remark": {"a": [1]}, "view"`, 1)
	if _, err := ReadJSON(strings.NewReader(more)); err != nil {
		t.Error(err)
	}
}

// Each kind of bad input has a line of its own that names what is wrong.
func TestBadReadings(t *testing.T) {
	rings, choice := keyed()
	good := written(t, mustNew(t, rings, choice, Options{}))
	free := Choice{Holes: choice.Holes, Bore: -1, Rim: -1}
	goodFree := written(t, mustNew(t, rings, free, Options{}))

	edit := func(base []byte, f func(m map[string]any)) string {
		var m map[string]any
		if err := json.Unmarshal(base, &m); err != nil {
			t.Fatal(err)
		}
		f(m)
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	hole := func(m map[string]any, i int) map[string]any {
		return m["holes"].([]any)[i].(map[string]any)
	}
	set := func(key string, value any) func(m map[string]any) {
		return func(m map[string]any) { m[key] = value }
	}
	setHole := func(key string, value any) func(m map[string]any) {
		return func(m map[string]any) { hole(m, 1)[key] = value }
	}
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "no JSON document"},
		{"not JSON", "%PDF-1.4", "no JSON document"},
		{"cut off", string(good[:len(good)/2]), "no JSON document"},
		{"two documents", string(good) + string(good), "no JSON document"},
		{"NaN", strings.Replace(string(good), `"rim_seen": 0.9`, `"rim_seen": NaN`, 1), "no JSON document"},
		{"too big a number", strings.Replace(string(good), `"rim_seen": 0.9`, `"rim_seen": 1e999`, 1), "number 1e999"},
		{"a list", "[]", "not an object"},
		{"null", "null", "not an object"},
		{"no schema", "{}", "key schema"},
		{"schema is a number", `{"schema": 1}`, "key schema"},
		{"next version", edit(good, set("schema", "boltrose/reading/2")), `"boltrose/reading/2"`},
		{"missing key", edit(good, func(m map[string]any) { delete(m, "chords") }), "lacks the key chords"},
		{"missing key of a hole", edit(good, func(m map[string]any) { delete(hole(m, 2), "y_mm") }), "reading.holes[2] lacks the key y_mm"},
		{"missing key of the bore", edit(good, func(m map[string]any) { delete(m["bore"].(map[string]any), "offset_mm") }), "reading.bore lacks the key offset_mm"},
		{"null number", edit(good, setHole("x_mm", nil)), "reading.holes[1].x_mm is null"},
		{"null list", edit(good, set("warnings", nil)), "reading.warnings is not a list"},
		{"hole is a number", edit(good, set("holes", []any{1})), "reading.holes[0] is not an object"},
		{"text for a number", edit(good, setHole("x_mm", "12")), "x_mm cannot be a string"},
		{"fraction for an id", edit(good, setHole("id", 1.5)), "id cannot be a number"},
		{"zero holes", edit(good, set("holes", []any{})), "no holes"},
		{"too many holes", edit(good, set("holes", repeated(hole(mapOf(t, good), 0), 10001))), "10001 holes"},
		{"covariance too short", edit(good, set("covariance_mm2", []any{1, 0, 0, 1})), "covariance_mm2 has 4 numbers where 6 holes need 144"},
		{"covariance not symmetric", edit(good, func(m map[string]any) { m["covariance_mm2"].([]any)[1] = 0.5 }), "not symmetric"},
		{"covariance with a negative eigenvalue", edit(good, func(m map[string]any) {
			m["covariance_mm2"].([]any)[1] = 0.5
			m["covariance_mm2"].([]any)[12] = 0.5
		}), "negative eigenvalue"},
		{"covariance of kilometres", edit(good, func(m map[string]any) { m["covariance_mm2"].([]any)[0] = 1e13 }), "covariance_mm2 holds 1e+13"},
		{"variance and ± disagree", edit(good, setHole("x_u95_mm", 0.5)), "does not go with its variance"},
		{"a kilometre", edit(good, setHole("x_mm", 1e7)), "hole 2's x_mm cannot be 1e+07"},
		{"negative ±", edit(good, setHole("y_u95_mm", -0.1)), "hole 2's y_u95_mm cannot be -0.1"},
		{"no diameter", edit(good, setHole("diameter_mm", 0)), "hole 2's diameter_mm cannot be 0"},
		{"more than the rim", edit(good, setHole("rim_seen", 1.5)), "rim_seen cannot be 1.5"},
		{"an angle of a full turn", edit(good, setHole("angle_deg", 360)), "hole 2's angle_deg cannot be 360"},
		{"angle without ±", edit(good, setHole("angle_u95_deg", nil)), "go together"},
		{"same id twice", edit(good, setHole("id", 1)), "two holes have the id 1"},
		{"id 0", edit(good, setHole("id", 0)), "id cannot be 0"},
		{"moved by hand", edit(good, setHole("x_mm", 40)), "edited by hand"},
		{"other view", edit(good, set("view", "sideways")), `view is "sideways"`},
		{"other pattern", edit(good, set("pattern", "square")), `pattern is "square"`},
		{"pattern without its circle", edit(good, set("pitch_circle", nil)), "pitch_circle"},
		{"circle without a turn", edit(good, set("turn_deg", nil)), "turn_deg"},
		{"gap left out", edit(good, func(m map[string]any) { m["gaps"] = m["gaps"].([]any)[1:] }), "5 gaps between 6 holes"},
		{"gaps that do not close", edit(good, func(m map[string]any) {
			m["gaps"].([]any)[0].(map[string]any)["angle_deg"] = 61
		}), "not to 360°"},
		{"chord left out", edit(good, func(m map[string]any) { m["chords"] = m["chords"].([]any)[1:] }), "14 chords"},
		{"chord twice", edit(good, func(m map[string]any) { m["chords"].([]any)[1] = m["chords"].([]any)[0] }), "twice"},
		{"chord to nowhere", edit(good, func(m map[string]any) { m["chords"].([]any)[1].(map[string]any)["to"] = 77 }), "no chord from hole 1 to hole 77"},
		{"reflex chord", edit(good, func(m map[string]any) { m["chords"].([]any)[1].(map[string]any)["angle_deg"] = 240 }), "cannot be 240"},
		{"negative size", edit(good, func(m map[string]any) { m["source"].(map[string]any)["width_px"] = -1 }), "negative"},
		{"scale nobody knows", edit(good, func(m map[string]any) { m["scale"].(map[string]any)["u_rel"] = 2 }), "u_rel cannot be 2"},
		{"angles in a free pattern", edit(goodFree, func(m map[string]any) {
			hole(m, 0)["angle_deg"], hole(m, 0)["angle_u95_deg"] = 0, 0
		}), "without a pitch circle"},
		{"on no circle", edit(goodFree, setHole("on_circle", true)), "without a pitch circle"},
	} {
		_, err := ReadJSON(strings.NewReader(c.text))
		switch {
		case err == nil:
			t.Errorf("%s: read without an error", c.name)
		case !strings.Contains(err.Error(), c.want):
			t.Errorf("%s: %q does not say %q", c.name, err, c.want)
		case strings.ContainsAny(err.Error(), "\n\r"):
			t.Errorf("%s: %q is more than one line", c.name, err)
		}
	}
}

func mapOf(t *testing.T, text []byte) (m map[string]any) {
	t.Helper()
	if err := json.Unmarshal(text, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func repeated(v any, n int) []any {
	list := make([]any, n)
	for i := range list {
		list[i] = v
	}
	return list
}

func TestNoReadingWithNaNIsWritten(t *testing.T) {
	rings, choice := keyed()
	r := mustNew(t, rings, choice, Options{})
	r.Holes[0].X = math.NaN()
	if err := r.WriteJSON(new(bytes.Buffer)); err == nil {
		t.Error("written")
	}
}

// Whatever is read can be written and read again, and nothing panics.
func FuzzReadJSON(f *testing.F) {
	rings, choice := keyed()
	for _, c := range []Choice{
		choice,
		{Holes: []int{0, 1, 2}, Bore: -1, Rim: -1, Circle: true},
		{Holes: []int{0, 1}, Bore: -1, Rim: 8},
		{Holes: []int{0}, Bore: -1, Rim: -1},
	} {
		f.Add(written(f, mustNew(f, rings, c, Options{})))
	}
	f.Add([]byte(`{"schema":"boltrose/reading/1"}`))
	f.Add([]byte(`[`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ReadJSON(bytes.NewReader(data))
		if err != nil {
			return
		}
		var b bytes.Buffer
		if err := r.WriteJSON(&b); err != nil {
			t.Fatalf("read but not written: %v", err)
		}
		again, err := ReadJSON(&b)
		if err != nil || !reflect.DeepEqual(r, again) {
			t.Fatalf("differs after writing: %v", err)
		}
	})
}
