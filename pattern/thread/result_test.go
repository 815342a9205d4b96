package thread

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
)

// A result is read back as it was written, and names one bolt only where there
// is one.
func TestResult(t *testing.T) {
	id, err := Identify(Measured{Pitch: Value{V: inch / 16}, Major: Value{V: 9.4}})
	if err != nil {
		t.Fatal(err)
	}
	r := NewResult(id, &ResultSource{File: "bolt.png", Turns: 12}, 0, []string{"a warning"})
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{`"candidates"`, `"ambiguous"`, `"measured"`, `"designation": "3/8-16 UNC"`, `"series": "UNC"`, `"score"`, `"pitch_mm": 1.5875`, `"pitch_u95_mm"`, `"major_mm": 9.4`, `"major_u95_mm": 0.05`, `"flank_deg"`} {
		if !strings.Contains(b.String(), key) {
			t.Errorf("no %s in %s", key, b.String())
		}
	}
	back, err := ReadResult(&b)
	if err != nil || !reflect.DeepEqual(back, r) {
		t.Fatalf("%v\n%+v\n%+v", err, back, r)
	}
	if c, err := back.One(); err != nil || c.Designation != "3/8-16 UNC" || math.Abs(c.Clearance.Normal-10.3124) > 1e-3 {
		t.Errorf("%+v, %v", c, err)
	}
	if !strings.Contains(back.Candidates[0].Chase, "not 3/8-16 BSW") {
		t.Errorf("%q", back.Candidates[0].Chase)
	}
	id, err = Identify(Measured{Pitch: Value{V: 1.25}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := NewResult(id, nil, 0, nil).One(); err == nil || !strings.Contains(err.Error(), "not of one diameter") {
		t.Errorf("M8 and M10x1.25 are one bolt: %v", err)
	}
	for _, s := range []string{"", "{}", "[]", `{"schema":"boltrose/reading/1"}`, `{"schema":"boltrose/thread/1"}`, `{"schema":"boltrose/thread/1","candidates":[{"major_mm":-1}]}`} {
		if _, err := ReadResult(strings.NewReader(s)); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", s, err)
		}
	}
}
