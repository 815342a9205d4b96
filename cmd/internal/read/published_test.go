package read_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"
)

// published reads a table of values from outside; each row names its source
// and whether it was seen there or is from memory.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", name))
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
		table = append(table, record)
	}
	if len(table) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return table
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// readingOf rubs a face as most are rubbed, scans it on a scanner whose axes
// are off by as much as scanners' are, and reads it.
func readingOf(t *testing.T, face samples.Face, seed uint64, dpi float64) *pattern.Reading {
	t.Helper()
	r := samples.New(face, seed)
	r.DPI, r.Turn = dpi, float64(seed)*77
	r.ScaleX, r.ScaleY, r.Shear = 0.0012, -0.0009, 0.0003
	img, _ := r.Render()
	result, err := read.Picture(pictureOf(img, dpi), "rendered", read.Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	return result.Reading
}

// Published flanges, rubbed and read back, are what their standards say. Each
// row of the table names its source.
func TestPublishedFlanges(t *testing.T) {
	var angles tally
	for i, row := range published(t, "flange-patterns.csv") {
		t.Run(row["standard"]+" "+row["name"], func(t *testing.T) {
			unit := map[string]float64{"mm": 1, "in": 25.4}[row["unit"]]
			n, pcd := int(number(t, row["holes"])), unit*number(t, row["pcd"])
			hole, threaded := 0.0, row["thread"] != ""
			if threaded {
				hole = number(t, strings.TrimPrefix(row["thread"], "M"))
			} else {
				hole = unit * number(t, row["hole"])
			}
			face := samples.Ring(n, pcd, hole)
			for k := range face.Holes {
				face.Holes[k].Threaded = threaded
			}
			dpi := 300.0
			if pcd > 90 {
				dpi = 150
			}
			r := readingOf(t, face, uint64(i+1), dpi)
			if r.PitchCircle == nil || len(r.Holes) != n || len(r.Gaps) != n {
				t.Fatalf("%d holes and %d gaps, want %d (%s)", len(r.Holes), len(r.Gaps), n, row["source"])
			}
			off := math.Abs(r.PitchCircle.Diameter - pcd)
			if off > r.PitchCircle.DiameterU95 || off > 0.005*pcd {
				t.Errorf("PCD %.3f ±%.3f, want %.3f (%s)", r.PitchCircle.Diameter, r.PitchCircle.DiameterU95, pcd, row["source"])
			}
			for _, g := range r.Gaps {
				angles.add(*g.AngleDeg, *g.AngleU95Deg, 360/float64(n))
				if math.Abs(*g.AngleDeg-360/float64(n)) > 2**g.AngleU95Deg {
					t.Errorf("gap %d to %d: %.3f° ±%.3f°, want %.3f°", g.From, g.To, *g.AngleDeg, *g.AngleU95Deg, 360/float64(n))
				}
			}
		})
	}
	// ± is k = 2: of some 80 angles about four lie outside.
	t.Logf("angles within their ±: %v", angles)
	if angles.share() < 0.90 {
		t.Errorf("%v of the angles lie within their ±", angles)
	}
}

// Equal spaces, rubbed and read back, have the chords of the published table:
// chord ÷ PCD, to half a unit of its last decimal and the reading's own ±.
func TestPublishedChordFactors(t *testing.T) {
	var chords tally
	for _, row := range published(t, "chord-factors.csv") {
		n := int(number(t, row["spaces"]))
		if n > 12 {
			continue
		}
		r := readingOf(t, samples.Ring(n, 80, 7), uint64(n), 150)
		if r.PitchCircle == nil || len(r.Gaps) != n {
			t.Errorf("%d spaces: %d holes, %d gaps", n, len(r.Holes), len(r.Gaps))
			continue
		}
		want, pcd := number(t, row["chord_over_pcd"]), r.PitchCircle.Diameter
		for _, g := range r.Gaps {
			chords.add(g.Chord/pcd, 0.00005+g.ChordU95/pcd, want)
			if math.Abs(g.Chord/pcd-want) > 0.005 {
				t.Errorf("%d spaces: chord %d to %d is %.4f of the PCD, want %.4f (%s)", n, g.From, g.To, g.Chord/pcd, want, row["source"])
			}
		}
	}
	t.Logf("chords within their ±: %v", chords)
	if chords.share() < 0.90 {
		t.Errorf("%v of the chords lie within their ±", chords)
	}
}
