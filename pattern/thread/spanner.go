package thread

import (
	_ "embed"
	"sync"
)

// Flats is a width across the flats of a bolt's head, which may tell what
// thread is on it.
type Flats struct {
	MM     float64
	On     string // which heads have it, where a size has several
	Source string
}

//go:embed spanner.csv
var spannerCSV string

var spanners = sync.OnceValue(func() map[string][]Flats {
	table := map[string][]Flats{}
	for _, r := range rows(spannerCSV) {
		table[r[0]] = []Flats{{r.mm(2), "large head", r[4]}}
		if r[3] != "" {
			table[r[0]] = append(table[r[0]], Flats{r.mm(3), "small head", r[4]})
		}
	}
	return table
})

// AcrossFlats are the widths across flats that hexagon heads on the thread
// have; none where no table has it. Old Whitworth heads are a size larger than
// those of BSF and of later BSW; cycle threads have either. BA heads are 1.75
// diameters wide.
func (t Thread) AcrossFlats() []Flats {
	switch t.Series {
	case BASmall:
		return []Flats{{1.75 * t.Major, "", "BS 93: 1.75 diameters"}}
	case BSW, BSF, BSC:
		return spanners()[t.Size]
	case Brass:
		return nil
	}
	if h, ok := heads()[t.Size]; ok {
		return []Flats{{h.Flats, "", h.Source}}
	}
	return nil
}
