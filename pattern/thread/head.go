package thread

import (
	_ "embed"
	"math"
	"sync"
)

// Head is the room that a hexagon head and its washer take, in mm.
type Head struct {
	Flats   float64 // width across flats
	Corners float64 // width across corners of a sharp hexagon
	Washer  float64 // outer diameter of a plain washer
	Socket  float64 // outer diameter of a common socket that turns it
	Source  string  // the standards, or that it is a rule of thumb
}

//go:embed head.csv
var headCSV string

var heads = sync.OnceValue(func() map[string]Head {
	table := map[string]Head{}
	for _, r := range rows(headCSV) {
		table[r[0]] = newHead(r.mm(2), r.mm(3), r[4])
	}
	return table
})

// newHead adds what follows from a head's width across flats. A socket's outer
// diameter is taken as 1.3 times that and 3 mm, which common ones do not
// exceed (rule of thumb, from memory).
func newHead(flats, washer float64, source string) Head {
	return Head{flats, flats * 2 / math.Sqrt(3), washer, 1.3*flats + 3, source}
}

// HeadOf returns the hexagon head of a bolt size as the tables of clearance
// holes name it, or "". Where a table lacks the size, and where only the
// diameter (mm) is known, a head of 1.7 and a washer of 2.2 diameters are
// assumed: more than common bolts have. Of M10 to M14 the older, wider heads
// are taken, which old machinery and its spanners have.
func HeadOf(size string, diameterMM float64) Head {
	if h, ok := heads()[size]; ok {
		return h
	}
	return newHead(1.7*diameterMM, 2.2*diameterMM, "rule of thumb")
}
