package thread

import (
	_ "embed"
	"fmt"
	"math"
	"strings"
	"sync"
)

// Thread is one thread of a standard.
type Thread struct {
	Size   string // as the tables of clearance holes and heads name it: M8, 3/8, #10, 2 BA
	Series Series
	Major  float64 // mm, nominal
	Pitch  float64 // mm
	TPI    float64 // threads per inch where the standard gives those, else 0
	Source string  // the standard
	How    string  // seen: compared with a print of its table; formula: computed by the standard's; memory: recalled
}

// Form is the shape of its V.
func (t Thread) Form() Form { return t.Series.facts().form }

// Designation is what the trade calls it: M8x1.25, 3/8-16 UNC, 2 BA.
func (t Thread) Designation() string {
	switch {
	case t.Series == BASmall:
		return t.Size
	case t.Series == UN8:
		return fmt.Sprintf("%s-%g UN", t.Size, t.TPI)
	case t.TPI > 0:
		return fmt.Sprintf("%s-%g %s", t.Size, t.TPI, t.Series)
	}
	return fmt.Sprintf("%sx%g", t.Size, t.Pitch)
}

//go:embed threads.csv
var threadsCSV string

var threads = sync.OnceValue(func() []Thread {
	var table []Thread
	for _, r := range rows(threadsCSV) {
		t := Thread{Series: Series(r[0]), Size: r[1], Source: r[5], How: r[6]}
		r[1] = r[2] // where mm looks for the unit
		t.Major, t.Pitch = r.mm(3), r.number(4)
		if r[2] == "in" {
			t.TPI, t.Pitch = t.Pitch, 25.4/t.Pitch
		}
		table = append(table, t)
	}
	return table
})

// Threads returns all threads of the tables, series by series.
func Threads() []Thread { return threads() }

// Find finds a thread by its designation: M8x1.25, M8 (coarse), 3/8-16 UNC,
// 3/8 BSW, 2BA, #10-32. Where several have the name, it says which.
func Find(name string) (Thread, error) {
	want := plain(name)
	var exact, loose []Thread
	for _, t := range threads() {
		d := plain(t.Designation())
		series := plain(string(t.Series))
		switch {
		case d == want, t.Series == Coarse && plain(t.Size) == want:
			exact = append(exact, t)
		case t.TPI > 0 && (strings.TrimSuffix(d, series) == want || plain(t.Size)+series == want):
			loose = append(loose, t)
		}
	}
	switch {
	case len(exact) == 1:
		return exact[0], nil
	case len(exact) == 0 && len(loose) == 1:
		return loose[0], nil
	case len(loose) > 1:
		var all []string
		for _, t := range loose {
			all = append(all, t.Designation())
		}
		return Thread{}, fmt.Errorf("%.30q may be %s; which?", name, strings.Join(all, " or "))
	}
	return Thread{}, fmt.Errorf("%.30q is no thread of the tables; write it as M8x1.25, 3/8-16 UNC, 3/8-16 BSW or 2 BA", name)
}

// plain drops what may be written one way or another.
func plain(name string) string {
	r := strings.NewReplacer(" ", "", "\t", "", "×", "X", `"`, "", "NO.", "#", ",", ".")
	return strings.TrimSuffix(r.Replace(strings.ToUpper(name)), "IN")
}

// near says whether two lengths are the same to a nanometre.
func near(a, b float64) bool { return math.Abs(a-b) < 1e-6 }
