package thread

import (
	"encoding/csv"
	"math"
	"strconv"
	"strings"
)

// row is a size's line of an embedded table: its name, its unit (mm or in),
// its lengths, and at the end texts, such as the source.
type row []string

// mm is the length in column i in mm, to a nanometre.
func (r row) mm(i int) float64 {
	return math.Round(r.number(i)*map[string]float64{"mm": 1, "in": 25.4}[r[1]]*1e6) / 1e6
}

// number is what column i holds.
func (r row) number(i int) float64 {
	v, err := strconv.ParseFloat(r[i], 64)
	if err != nil {
		panic(err) // the tables are part of the program, and tested
	}
	return v
}

// rows are the lines of a table below its heading.
func rows(table string) []row {
	lines, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil {
		panic(err)
	}
	var out []row
	for _, l := range lines[1:] {
		out = append(out, l)
	}
	return out
}
