package folder

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// Bolt is what goes through the holes. A part made to one pattern shares
// another where it goes onto it with holes of that clearance.
type Bolt struct{ Bolt, Hole float64 } // diameters, mm

// DefaultBolt is an M8 in a hole of 9 mm (ISO 273, medium): a millimetre of
// clearance, as M10 has too.
var DefaultBolt = Bolt{8, 9}

// part is a line of the table of parts. Lengths are mm.
type part struct {
	Name     string
	Pictures []*Record // with a reading
	Reading  string    // the file with all of them together, or the only one

	Holes       int
	Spacing     string
	PCD, PCDU95 *float64
	Verdict     string

	// Repeat is how a hole's x or y differs from one picture to the next, as a
	// standard deviation, and P the probability of as much disagreement.
	Repeat, RepeatDeg, P *float64
	Doubt                string // why they do not belong together; "" when they do

	Pattern int   // the number of its pattern; the same for all that share it
	Perhaps []int // patterns that it may share: measured too roughly to tell
}

// parts combines the pictures of each part and finds those that share a
// pattern.
func parts(out string, records []*Record, b Bolt) ([]*part, error) {
	byName := map[string][]*Record{}
	var names []string
	for _, r := range records {
		if r.Result != gotReading {
			continue
		}
		if byName[r.part()] == nil {
			names = append(names, r.part())
		}
		byName[r.part()] = append(byName[r.part()], r)
	}
	slices.SortStableFunc(names, naturally)
	var all []*part
	kinds := &patterns{bolt: b}
	for _, name := range names {
		p := &part{Name: name, Pictures: byName[name]}
		reading, err := p.combine(out)
		if err != nil {
			return nil, err
		}
		if reading != nil {
			p.take(reading)
			if err := kinds.place(p, reading); err != nil {
				return nil, err
			}
		}
		all = append(all, p)
	}
	return all, nil
}

// combine returns the reading of all the part's pictures together, and writes
// it to a file where they are several. Where they do not agree there is none.
func (p *part) combine(out string) (*pattern.Reading, error) {
	var in []pattern.Named
	for _, rec := range p.Pictures {
		r, err := openReading(inFolder(out, rec.Reading))
		if err != nil {
			return nil, err
		}
		in = append(in, pattern.Named{Name: rec.title(), Reading: r})
	}
	if len(in) == 1 {
		p.Reading = p.Pictures[0].Reading
		return in[0].Reading, nil
	}
	file := p.Name + combinedEnd
	c, err := pattern.Combine(in, pattern.CombineOptions{})
	if c != nil {
		p.P = &c.P
		if c.RepeatMM > 0 {
			p.Repeat = &c.RepeatMM
		}
		if c.RepeatDeg > 0 {
			p.RepeatDeg = &c.RepeatDeg
		}
		p.Doubt = c.Doubt
	}
	if err != nil {
		p.Doubt = oneLine(err.Error())
		if err := os.Remove(inFolder(out, file)); err != nil && !errors.Is(err, os.ErrNotExist) { // of an earlier run
			return nil, fmt.Errorf("%s: cannot be removed: %w", file, plain(err))
		}
		return nil, nil
	}
	p.Reading = file
	return c.Reading, atomicfile.Write(inFolder(out, file), c.Reading.WriteJSON)
}

func openReading(path string) (*pattern.Reading, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be opened (%w); go on with --resume", path, plain(err))
	}
	defer f.Close()
	r, err := pattern.ReadJSON(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

func (p *part) take(r *pattern.Reading) {
	p.Holes = len(r.Holes)
	if c := r.PitchCircle; c != nil {
		p.PCD, p.PCDU95 = &c.Diameter, &c.DiameterU95
	}
	if r.Verdict != nil {
		p.Spacing, p.Verdict = string(r.Verdict.Spacing), r.Verdict.Text
	}
}

// patterns are the different patterns of a run, each known by the first part
// that has it.
type patterns struct {
	bolt  Bolt
	known []known
}

type known struct {
	holes  pattern.Holes
	spread []float64 // distances of all pairs of holes, sorted
	u95    float64   // of any of them, mm
}

const (
	likenessDraws = 300
	likenessSeed  = 1
)

// place gives a part the number of its pattern.
func (s *patterns) place(p *part, r *pattern.Reading) error {
	own := newKnown(r)
	for i, k := range s.known {
		if !s.alike(own, k) {
			continue
		}
		n := len(own.holes.At)
		j := pattern.Joint{Face: k.holes, Part: own.holes, Bolts: slices.Repeat([]float64{s.bolt.Bolt}, n), PartHoles: slices.Repeat([]float64{s.bolt.Hole}, n)}
		m, err := pattern.Mate(j, pattern.MateOptions{Draws: likenessDraws, Seed: likenessSeed, Made: true})
		switch {
		case err != nil:
			return fmt.Errorf("%s: cannot be compared with other parts: %w", p.Name, err)
		case m.Fits == pattern.Proven:
			p.Pattern = i + 1
			return nil
		case m.Fits == pattern.Unproven:
			p.Perhaps = append(p.Perhaps, i+1)
		}
	}
	s.known = append(s.known, own)
	p.Pattern = len(s.known)
	return nil
}

func newKnown(r *pattern.Reading) known {
	k := known{holes: r.Places()}
	for i, a := range k.holes.At {
		for _, b := range k.holes.At[:i] {
			k.spread = append(k.spread, r2.Norm(r2.Sub(a, b)))
		}
	}
	slices.Sort(k.spread)
	for _, c := range r.Chords {
		k.u95 = math.Max(k.u95, c.ChordU95)
	}
	return k
}

// alike rules out at once what cannot share a pattern: holes that all lie
// within e of others have distances that differ by 2e at most, and so have
// these in order of size.
func (s *patterns) alike(a, b known) bool {
	if len(a.holes.At) != len(b.holes.At) || len(a.holes.At) > pattern.MaxMateHoles {
		return false
	}
	most := (s.bolt.Hole - s.bolt.Bolt) + 2*(a.u95+b.u95)
	for i := range a.spread {
		if math.Abs(a.spread[i]-b.spread[i]) > most {
			return false
		}
	}
	return true
}
