package circle

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Published examples; each row of the table names its source.
func TestPublishedFits(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "circle-fits.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	checked := 0
	for _, row := range rows[1:] {
		if row[1] != "geometric" { // the algebraic ones are another method than this package's
			continue
		}
		checked++
		var points []r2.Vec
		for _, p := range strings.Split(row[0], ";") {
			x, y, _ := strings.Cut(p, " ")
			points = append(points, r2.Vec{X: number(x), Y: number(y)})
		}
		fit, err := LeastSquares(points, nil)
		if err != nil {
			t.Fatal(err)
		}
		tolerance := number(row[5])
		for i, got := range []float64{fit.Centre.X, fit.Centre.Y, fit.Radius} {
			if want := number(row[2+i]); math.Abs(got-want) > tolerance {
				t.Errorf("%s: %s is %.6f, want %v", row[6], rows[0][2+i], got, want)
			}
		}
	}
	if checked == 0 {
		t.Error("no fit was checked")
	}
}
