package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// The interval of a share that has no clusters is Wilson's. Values: R. Newcombe,
// "Two-sided confidence intervals for the single proportion", Statistics in
// Medicine 17 (1998) 857–872, table I, score method without continuity
// correction (from memory).
func TestIntervalPublished(t *testing.T) {
	for _, c := range []struct {
		within, of int
		low, high  float64
	}{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}, {29, 29, 0.8830, 1},
	} {
		var s tally
		for i := range c.of {
			s.add([]interval{{0, 1, map[bool]float64{true: 0.5, false: 2}[i < c.within]}})
		}
		low, high := s.interval()
		if math.Abs(low-c.low) > 1e-4 || math.Abs(high-c.high) > 1e-4 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.within, c.of, low, high, c.low, c.high)
		}
	}
}

// Intervals of one reading that share their errors count for fewer: the
// interval of the share holds the truth as often as it says.
func TestIntervalOfClusters(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 5))
	held, trials := 0, 1500
	const share = 0.9
	for range trials {
		var s tally
		for range 60 {
			var list []interval
			all := random.Float64() < share // 8 in 10 readings hit or miss as a whole
			for range 3 + random.IntN(6) {
				hit := all
				if random.Float64() < 0.2 {
					hit = random.Float64() < share
				}
				list = append(list, interval{0, 1, map[bool]float64{true: 0, false: 2}[hit]})
			}
			s.add(list)
		}
		if low, high := s.interval(); low <= share && share <= high {
			held++
		}
	}
	if got := float64(held) / float64(trials); got < 0.92 || got > 0.98 {
		t.Errorf("%.1f %% of the intervals hold the share, 95 %% is meant", 100*got)
	}
}

// A share that is not as wanted is marked, and told apart from bad luck.
func TestMarks(t *testing.T) {
	for _, c := range []struct {
		misses, of int
		mark       string
	}{{5, 100, "95.0 ("}, {1, 100, `99.0 \* (`}, {0, 400, `100.0 \*\* (`}, {13, 100, `87.0 \* (`}, {30, 100, `70.0 \*\* (`}} {
		var s tally
		for i := range c.of {
			s.add([]interval{{0, 1, map[bool]float64{true: -2, false: 1}[i < c.misses]}})
		}
		if got := s.String(); !strings.HasPrefix(got, c.mark) || !strings.HasSuffix(got, fmt.Sprintf("of %d", c.of)) {
			t.Errorf("%d of %d missed: %s, want %s", c.misses, c.of, got, c.mark)
		}
	}
	if got := (tally{}).String(); got != "–" {
		t.Errorf("of none: %s", got)
	}
}

// A small study from end to end: every source, the same again for the same
// seed, and intervals that are about what they say.
func TestStudy(t *testing.T) {
	s := study{seeds: []uint64{90, 91}, faces: 12, source: byHand}
	first, err := s.run(io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	again, err := s.run(io.Discard)
	if err != nil || !reflect.DeepEqual(first, again) {
		t.Errorf("the same seeds gave another outcome (%v)", err)
	}
	r := rowOf(first, func(outcome) bool { return true })
	if want := byHandTimes * 12 * 2 * len(kinds); r.readings+r.none != want || r.none > want/20 {
		t.Errorf("%d readings and %d failures, want %d", r.readings, r.none, want)
	}
	for q, c := range r.tallies[:ofOffset] {
		if share := c.share(); share < 0.9 || share > 0.995 {
			t.Errorf("%s: %v", quantities[q], c)
		}
	}

	pictures := study{seeds: []uint64{7}, faces: 1, kind: "6 even"}
	if testing.Short() {
		pictures.source = rubbing150
	}
	var progress bytes.Buffer
	seen, err := pictures.run(&progress)
	if err != nil || !strings.Contains(progress.String(), "faces") {
		t.Fatalf("%v; progress %q", err, progress.String())
	}
	sources := map[string]int{}
	for _, o := range seen {
		if o.source == byHand {
			continue
		}
		if !o.read || o.wrong || len(o.intervals[ofPCD]) != 1 || len(o.intervals[ofAngle]) != 6 || len(o.intervals[ofChord]) != 6 {
			t.Errorf("%s: %+v", o.source, o)
		}
		for q, list := range o.intervals {
			for _, i := range list {
				// Far wider than the ±, and far narrower than a wrong truth.
				if math.Abs(i.got-i.truth) > 6*i.u95 || !(i.u95 > 0) {
					t.Errorf("%s, %s: %+v", o.source, quantities[q], i)
				}
			}
		}
		sources[o.source]++
	}
	if want := map[bool]int{true: 3, false: 5}[testing.Short()]; len(sources) != want {
		t.Errorf("sources: %v", sources)
	}

	var table, file bytes.Buffer
	printTable(&table, append(first, seen...))
	if err := writeIntervals(&file, seen); err != nil {
		t.Fatal(err)
	}
	for name := range sources {
		if !strings.Contains(table.String(), "| "+name+" |") {
			t.Errorf("the table has no row of %s:\n%s", name, table.String())
		}
	}
	for i, line := range strings.Split(strings.TrimSpace(table.String()), "\n") {
		if line != "" && strings.Count(line, "|") != 9 {
			t.Errorf("line %d has other columns: %s", i+1, line)
		}
	}
	rows, err := csv.NewReader(&file).ReadAll()
	if err != nil || len(rows) < 3*13 {
		t.Errorf("%d intervals in the file, %v", len(rows), err)
	}

	if _, err := (study{seeds: []uint64{1}, faces: 1, kind: "oval"}).run(io.Discard); err == nil {
		t.Error("a kind that there is none of gives a table")
	}
}
