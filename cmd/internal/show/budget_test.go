package show

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"boltrose/pattern"
)

func TestBudget(t *testing.T) {
	res := face(t, false)
	var b bytes.Buffer
	if err := Budget(&b, res.Reading, MM); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"PCD", "Chord 1–", "Bore's offset", "most of it", "edge location", "unequal axes", "The cheapest thing that helps: one caliper measurement (±0.05 mm) between holes ", "--known ", "It would take the PCD from ±0.17 mm to ±0."} {
		if !strings.Contains(unwrapped(&b), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if n := utf8.RuneCountInString(line); n > 100 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	// Many terms, none, and a pattern without a circle.
	r := *res.Reading
	r.Budget = nil
	for k := range 9 {
		q := res.Reading.Budget[0]
		q.Term = strings.Repeat("x", k+1)
		r.Budget = append(r.Budget, q)
	}
	b.Reset()
	if err := Budget(&b, &r, Inch); err != nil || !strings.Contains(b.String(), "the rest") {
		t.Errorf("%v\n%s", err, b.String())
	}
	r.Budget = nil
	if err := Budget(&b, &r, Inch); err != nil || !strings.Contains(b.String(), "does not say") {
		t.Errorf("%v\n%s", err, b.String())
	}
	free := result(t, 1000, 1000, false, pattern.ChooseOptions{Free: true}, [3]float64{200, 200, 40}, [3]float64{500, 220, 40}, [3]float64{700, 600, 40})
	b.Reset()
	if err := Budget(&b, free.Reading, MM); err != nil || !strings.Contains(unwrapped(&b), "would take the distance 2–3") && !strings.Contains(b.String(), "Nothing cheap") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func unwrapped(b *bytes.Buffer) string { return strings.Join(strings.Fields(b.String()), " ") }

func TestVerdictAndCandidatesInText(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, face(t, false).Reading, TextOptions{Unit: MM}); err != nil {
		t.Fatal(err)
	}
	text := unwrapped(&b)
	for _, want := range []string{"Verdict Uneven: hole 3 sits", "Drawn perhaps PCD 60 mm (", " in (", "These are guesses: the measured values stand."} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	b.Reset()
	if err := Text(&b, face(t, false).Reading, TextOptions{Unit: Inch}); err != nil {
		t.Fatal(err)
	}
	if inches := unwrapped(&b); !strings.Contains(inches, "hole 3 sits 0.165 in (8.00 ±0.11°)") || !strings.Contains(inches, "its centre lies 0.039 in off") {
		t.Errorf("in inches:\n%s", b.String())
	}
	if strings.Index(text, "Verdict") > strings.Index(text, "View") {
		t.Error("the verdict does not come first")
	}
}
