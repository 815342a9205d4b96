package thread

import "slices"

// Series is a row of sizes that a standard gives, as M or UNC.
type Series string

// The series of the tables.
const (
	Coarse  Series = "M"
	Fine    Series = "MF"
	UNC     Series = "UNC"
	UNF     Series = "UNF"
	UNEF    Series = "UNEF"
	UN8     Series = "8-UN"
	BSW     Series = "BSW"
	BSF     Series = "BSF"
	BASmall Series = "BA"
	Brass   Series = "BSB"
	BSC     Series = "BSC"
)

// seriesFacts is what holds for all sizes of a series.
type seriesFacts struct {
	series Series
	name   string // in words
	form   Form

	// rare is how much less often than the common series one meets it on old
	// machines, as a factor: it decides the order of those that fit alike, and
	// nothing else. Common practice: no standard counts bolts.
	rare float64

	bolt, nut []string // tolerance classes, the usual one first
	standard  string   // of the tolerances
}

var allSeries = []seriesFacts{
	{Coarse, "ISO metric, coarse", ISO60, 1, []string{"6g", "6h", "4h", "8g"}, []string{"6H", "5H", "7H", "6G"}, "ISO 965-1"},
	{Fine, "ISO metric, fine", ISO60, 2, []string{"6g", "6h", "4h", "8g"}, []string{"6H", "5H", "7H", "6G"}, "ISO 965-1"},
	{UNC, "Unified coarse", ISO60, 1, []string{"2A", "1A", "3A"}, []string{"2B", "1B", "3B"}, "ASME B1.1"},
	{UNF, "Unified fine", ISO60, 1.5, []string{"2A", "1A", "3A"}, []string{"2B", "1B", "3B"}, "ASME B1.1"},
	{UNEF, "Unified extra fine", ISO60, 6, []string{"2A", "3A"}, []string{"2B", "3B"}, "ASME B1.1"},
	{UN8, "Unified, 8 threads per inch", ISO60, 4, []string{"2A", "3A"}, []string{"2B", "3B"}, "ASME B1.1"},
	{BSW, "British Standard Whitworth", Whitworth, 1.5, []string{"medium", "close", "free"}, []string{"medium", "normal"}, "BS 84"},
	{BSF, "British Standard Fine", Whitworth, 2, []string{"medium", "close", "free"}, []string{"medium", "normal"}, "BS 84"},
	{BASmall, "British Association", BA, 2, []string{"normal"}, []string{"normal"}, "BS 93"},
	{Brass, "British brass, 26 threads per inch", Whitworth, 6, []string{"medium", "close", "free"}, []string{"medium", "normal"}, "BS 84"},
	{BSC, "British cycle", Cycle, 4, []string{"medium", "close", "free"}, []string{"medium", "normal"}, "taken as BS 84's"},
}

func (s Series) facts() seriesFacts {
	i := slices.IndexFunc(allSeries, func(f seriesFacts) bool { return f.series == s })
	if i < 0 {
		panic("thread: no series " + string(s)) // the tables are part of the program, and tested
	}
	return allSeries[i]
}

// Name is what the series is called in words.
func (s Series) Name() string { return s.facts().name }

// AllSeries are all series of the tables.
func AllSeries() []Series {
	var all []Series
	for _, f := range allSeries {
		all = append(all, f.series)
	}
	return all
}
