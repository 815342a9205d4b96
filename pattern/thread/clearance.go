// Package thread holds what the trade's standards say of screws: threads with
// their diameters, tolerances and tap drills, clearance holes and heads; and
// tells which thread measured values may be of. All lengths are mm.
package thread

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

// Fit is a class of clearance holes. ISO 273 calls them fine, medium and
// coarse series, ASME B18.2.8 close, normal and loose fit.
type Fit int

const (
	Close Fit = iota
	Normal
	Loose
)

// Fits are all classes from the tightest on.
var Fits = []Fit{Close, Normal, Loose}

func (f Fit) String() string { return [...]string{"close", "normal", "loose"}[f] }

// ParseFit reads a class's name, as ASME or as ISO has it.
func ParseFit(s string) (Fit, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "close", "fine":
		return Close, nil
	case "normal", "medium":
		return Normal, nil
	case "loose", "coarse":
		return Loose, nil
	}
	return 0, fmt.Errorf("%.20q is no class of clearance holes: close, normal or loose (ISO: fine, medium, coarse)", s)
}

// Clearance is a bolt size with its clearance holes.
type Clearance struct {
	Size     string     // as M8 or 1/4
	Diameter float64    // of the bolt, nominal, mm
	Holes    [3]float64 // by Fit, mm; the nominal diameter, in ASME's inch table the smallest
	Source   string     // the standard
	How      string     // seen: compared with a print of its table; memory: not
}

//go:embed clearance.csv
var clearanceCSV string

var clearances = sync.OnceValue(func() []Clearance {
	var table []Clearance
	for _, r := range rows(clearanceCSV) {
		table = append(table, Clearance{r[0], r.mm(2), [3]float64{r.mm(3), r.mm(4), r.mm(5)}, r[6], r[7]})
	}
	return table
})

// Clearances returns all sizes of the tables, ISO 273's first.
func Clearances() []Clearance { return clearances() }

// ClearanceOf finds a bolt size by its name, as M8, m8, M8x1.25, 1/4, #10 or
// 1/4-20: the pitch does not matter.
func ClearanceOf(size string) (Clearance, error) {
	name := strings.ToUpper(strings.Join(strings.Fields(size), " "))
	name = strings.TrimSuffix(strings.TrimSuffix(name, `"`), "IN")
	if at := strings.IndexAny(name, "X×"); at > 0 && strings.HasPrefix(name, "M") {
		name = name[:at]
	} else if whole, threads, ok := strings.Cut(name, "-"); ok && !strings.Contains(threads, "/") {
		name = whole
	}
	name = strings.TrimSpace(strings.TrimPrefix(name, "NO."))
	for _, c := range clearances() {
		if c.Size == name {
			return c, nil
		}
	}
	return Clearance{}, fmt.Errorf("%.20q is in none of the tables of clearance holes (M1.6 to M42, #0 to 1 1/2 inch)", size)
}
