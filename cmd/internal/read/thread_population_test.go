package read_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/pattern/thread"
	"boltrose/samples"
)

// The population of bolts that is held to account: every kind of thread twice,
// at 300 and at 600 dpi. Others can be looked at with
//
//	BOLTROSE_THREAD_SEED=2 BOLTROSE_THREADS=200 go test -run ThreadPopulation -v ./cmd/internal/read
const (
	threadSeed  = 1
	threadCount = 110
)

// threadOutcome is how one rendered bolt was read.
type threadOutcome struct {
	name             string
	dpi              float64
	err              error
	pitchFirst       bool // the likeliest has the right pitch
	first, pair      bool // it is the right one; or of two or three alike
	pitchIn, majorIn bool // the truth lies within the ±
	flankIn, flank   bool
	pitchOff, pitchU float64 // relative
	note             string
}

// Rendered scans of bolts from M3 to M20 and No. 8 to 3/4 inch are read, and
// what was read is held against what was rendered.
func TestThreadPopulation(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of one processor")
	}
	seed := fromEnv(t, "BOLTROSE_THREAD_SEED", threadSeed)
	scans := samples.Threads(fromEnv(t, "BOLTROSE_THREADS", threadCount), uint64(seed))
	outcomes := make([]threadOutcome, len(scans))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				outcomes[i] = readBolt(scans[i])
			}
		})
	}
	for i := range scans {
		next <- i
	}
	close(next)
	wg.Wait()

	count := func(ok func(threadOutcome) bool, of func(threadOutcome) bool) (n, all int) {
		for _, o := range outcomes {
			if of(o) {
				all++
				if ok(o) {
					n++
				}
			}
		}
		return n, all
	}
	every := func(threadOutcome) bool { return true }
	read := func(o threadOutcome) bool { return o.err == nil }
	var b strings.Builder
	for _, o := range outcomes {
		if o.err != nil || !o.pitchFirst || !o.first || !o.pitchIn || !o.majorIn || !o.flankIn {
			fmt.Fprintf(&b, "%-16s %3.0f dpi: %s %v\n", o.name, o.dpi, o.note, o.err)
		}
	}
	t.Logf("\n%s", b.String())
	for _, c := range []struct {
		what           string
		ok, of         func(threadOutcome) bool
		atLeast, below float64
	}{
		{"right pitch first", func(o threadOutcome) bool { return o.pitchFirst }, every, 0.99, 1},
		{"right thread, or the pair alike, first", func(o threadOutcome) bool { return o.first || o.pair }, every, 0.95, 1},
		{"pitch within its ±", func(o threadOutcome) bool { return o.pitchIn }, read, 0.90, 0.99},
		{"major diameter within its ±, wear allowed for", func(o threadOutcome) bool { return o.majorIn }, read, 0.90, 1},
		{"flanks within their ±", func(o threadOutcome) bool { return o.flankIn }, func(o threadOutcome) bool { return o.flank }, 0.90, 1},
	} {
		n, all := count(c.ok, c.of)
		share := float64(n) / float64(all)
		t.Logf("%s: %d of %d, %.1f %%", c.what, n, all, 100*share)
		if share < c.atLeast || share > c.below {
			t.Errorf("%s: %.1f %%, want %.0f to %.0f %%", c.what, 100*share, 100*c.atLeast, 100*c.below)
		}
	}
	alone, all := count(func(o threadOutcome) bool { return o.first }, every)
	t.Logf("the right one alone: %d of %d", alone, all)
	var off, u []float64
	for _, o := range outcomes {
		if o.err == nil {
			off, u = append(off, math.Abs(o.pitchOff)), append(u, o.pitchU)
		}
	}
	slices.Sort(off)
	slices.Sort(u)
	t.Logf("pitch: off by %.3f %% in the middle, %.3f %% at most; ± %.2f %% in the middle", 100*off[len(off)/2], 100*off[len(off)-1], 100*u[len(u)/2])
}

func readBolt(s samples.ThreadScan) threadOutcome {
	o := threadOutcome{name: s.Name, dpi: s.DPI, flankIn: true}
	img, truth := s.Render()
	r, err := read.Thread(pictureOf(img, s.DPI), read.Options{ScaleU: -1})
	if err != nil {
		o.err = err
		return o
	}
	id, err := thread.Identify(r.Measured)
	if err != nil {
		o.err = err
		return o
	}
	m := r.Measured
	want, err := thread.Find(s.Name)
	if err != nil {
		o.err = err
		return o
	}
	o.pitchOff, o.pitchU = m.Pitch.V/truth.Pitch-1, m.Pitch.U95/truth.Pitch
	o.pitchIn = math.Abs(m.Pitch.V-truth.Pitch) <= m.Pitch.U95
	// Wear makes it small, by up to what was worn off.
	o.majorIn = m.Major.V <= truth.Major+m.Major.U95 && m.Major.V >= truth.Major-2.8*s.Screw.Worn-m.Major.U95
	if m.FlankDeg.V != 0 {
		o.flank = true
		o.flankIn = math.Abs(m.FlankDeg.V-truth.FlankDeg) <= m.FlankDeg.U95
	}
	var names []string
	if len(id.Candidates) > 0 {
		first := id.Candidates[0]
		o.pitchFirst = math.Abs(first.Pitch-want.Pitch) < 1e-9
		o.first = first.Thread == want
		for _, g := range id.Ambiguous {
			if len(g) <= 3 && slices.Contains(g, want) {
				o.pair = true
			}
			for _, t := range g {
				names = append(names, t.Designation())
			}
		}
		if len(id.Ambiguous) == 0 {
			names = []string{first.Designation()}
		}
	}
	o.note = fmt.Sprintf("read as %s; pitch %+.3f ±%.3f %%, major %+.3f ±%.3f (worn %.3f), flanks %.1f ±%.1f of %.1f°",
		strings.Join(names, " or "), 100*o.pitchOff, 100*o.pitchU, m.Major.V-truth.Major, m.Major.U95, 2*s.Screw.Worn, m.FlankDeg.V, m.FlankDeg.U95, truth.FlankDeg)
	return o
}
