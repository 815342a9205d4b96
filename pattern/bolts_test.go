package pattern

import (
	"slices"
	"strings"
	"testing"
)

// Holes of two sizes are guessed size by size; a stand-in for a diameter that
// nobody measured is not guessed by. The sizes are those of ISO 273: 9 mm for
// M8, 6.6 mm for M6.
func TestGuessBolts(t *testing.T) {
	r := &Reading{Holes: []Hole{
		{ID: 1, Diameter: 8.95, DiameterU95: 0.2}, {ID: 2, Diameter: 6.6, DiameterU95: 0.2}, {ID: 3, Diameter: 9.05, DiameterU95: 0.2}, {ID: 4, Diameter: 0},
	}}
	r.guessBolts()
	if len(r.Bolts) != 2 || !slices.Equal(r.Bolts[0].Holes, []int{2}) || !slices.Equal(r.Bolts[1].Holes, []int{1, 3}) {
		t.Fatalf("%+v", r.Bolts)
	}
	if !strings.HasPrefix(r.Bolts[0].Clearance[0], "M6 (normal fit") || !strings.HasPrefix(r.Bolts[1].Clearance[0], "M8 (normal fit") || len(r.Bolts[1].Tapped) == 0 {
		t.Errorf("%+v", r.Bolts)
	}
	r.Holes = []Hole{{ID: 1, Diameter: 9, DiameterU95: 4.5}}
	if r.guessBolts(); r.Bolts == nil || len(r.Bolts) != 0 {
		t.Errorf("%+v", r.Bolts)
	}
}
