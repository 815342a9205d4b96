package pattern

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// reference reads a table of values from outside; each row names its source
// and whether it was seen there or is from memory.
func reference(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var table []map[string]string
	for _, row := range rows[1:] {
		record := map[string]string{}
		for i, key := range rows[0] {
			record[key] = row[i]
		}
		if record["source"] == "" || record["how"] != "seen" && record["how"] != "memory" {
			t.Fatalf("%s: %v names no source", name, row)
		}
		table = append(table, record)
	}
	if len(table) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return table
}

func number(t *testing.T, record map[string]string, key string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(record[key], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// evenly returns n equal spaces on a pitch circle, turned so that no two
// holes are equally near to twelve o'clock.
func evenly(t *testing.T, n int, pcd float64) *Reading {
	t.Helper()
	var rings []Ring
	choice := Choice{Bore: -1, Rim: -1, Circle: true}
	for i := range n {
		choice.Holes = append(choice.Holes, i)
		rings = append(rings, ring(i, r2.Add(r2.Vec{X: 100, Y: 140}, polar(pcd/2, 97+360*float64(i)/float64(n))), pcd/50))
	}
	return mustNew(t, rings, choice, Options{})
}

// The tables give four decimals, hence half a unit of the last.
const fourDecimals = 0.5001e-4

func TestChordFactors(t *testing.T) {
	for _, row := range reference(t, "chord-factors.csv") {
		n := int(number(t, row, "spaces"))
		for _, g := range evenly(t, n, 100).Gaps {
			if got, want := g.Chord/100, number(t, row, "chord_over_pcd"); math.Abs(got-want) > fourDecimals {
				t.Errorf("%d spaces: chord/PCD = %.5f, want %.4f (%s)", n, got, want, row["source"])
			}
		}
	}
}

func TestUnitRadiusChords(t *testing.T) {
	for _, row := range reference(t, "unit-radius-chords.csv") {
		n := int(number(t, row, "segments"))
		for _, g := range evenly(t, n, 2).Gaps {
			if got, want := g.Chord, number(t, row, "chord"); math.Abs(got-want) > fourDecimals {
				t.Errorf("%d segments: chord = %.5f, want %.4f (%s)", n, got, want, row["source"])
			}
		}
	}
}

func TestFlangePatterns(t *testing.T) {
	for _, row := range reference(t, "flange-patterns.csv") {
		unit := map[string]float64{"mm": 1, "in": 25.4}[row["unit"]]
		if unit == 0 {
			t.Fatalf("%s: unit %q", row["name"], row["unit"])
		}
		n, pcd := int(number(t, row, "holes")), unit*number(t, row, "pcd")
		r := evenly(t, n, pcd)
		if math.Abs(r.PitchCircle.Diameter-pcd) > 1e-9 || len(r.Gaps) != n {
			t.Errorf("%s %s: %d holes on %g, want %d on %g", row["standard"], row["name"], len(r.Gaps), r.PitchCircle.Diameter, n, pcd)
		}
		for _, g := range r.Gaps {
			if math.Abs(*g.AngleDeg-360/float64(n)) > 1e-9 {
				t.Errorf("%s %s: gap of %g°", row["standard"], row["name"], *g.AngleDeg)
			}
		}
	}
}

func TestThreeChords(t *testing.T) {
	for _, row := range reference(t, "three-chords.csv") {
		a, b, c := number(t, row, "a"), number(t, row, "b"), number(t, row, "c")
		want, tolerance := number(t, row, "pcd"), number(t, row, "tolerance")
		for _, v := range [][3]float64{{a, b, c}, {b, c, a}, {c, b, a}} {
			got, err := ThreeChords(v[0], v[1], v[2])
			if err != nil || math.Abs(got-want) > tolerance {
				t.Errorf("chords %v: PCD = %v, %v, want %v (%s)", v, got, err, want, row["source"])
			}
			// The rule as the trade writes it.
			angle := math.Acos((v[1]*v[1] + v[2]*v[2] - v[0]*v[0]) / (2 * v[1] * v[2]))
			if rule := v[0] / math.Sin(angle); math.Abs(got-rule) > 1e-9*got {
				t.Errorf("chords %v: PCD = %v, but a / sin A = %v", v, got, rule)
			}
		}
	}
}

func TestThreeChordsThatMakeNoCircle(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, v := range [][3]float64{{10, 20, 50}, {1, 2, 3}, {0, 1, 1}, {-1, 1, 1}, {nan, 1, 1}, {inf, inf, 1}, {1e300, 1e300, 1e300}, {0.1, 0.2, 0.3}} {
		if pcd, err := ThreeChords(v[0], v[1], v[2]); err == nil {
			t.Errorf("chords %v: PCD = %g, want an error", v, pcd)
		}
	}
}

// Three of the holes of a reading give its pitch circle by their chords.
func TestThreeChordsOfAReading(t *testing.T) {
	rings, choice := keyed()
	r := mustNew(t, rings, choice, Options{})
	chord := map[string]float64{}
	for _, s := range r.Chords {
		chord[fmt.Sprint(s.From, s.To)] = s.Chord
	}
	pcd, err := ThreeChords(chord["1 3"], chord["3 5"], chord["1 5"])
	if err != nil || math.Abs(pcd-96) > 1e-9 {
		t.Errorf("PCD = %v, %v, want 96", pcd, err)
	}
}
