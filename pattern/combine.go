package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Most that Combine takes.
const (
	MaxCombinedHoles = 200
	MaxCombined      = 50
)

// What stops Combine. Both are wrapped with what is wrong and what to do.
var (
	ErrNotOneFace = errors.New("these are not readings of one face")
	ErrDisagree   = errors.New("the readings disagree")
)

// Named is a reading with the name by which a person knows it.
type Named struct {
	Name string
	*Reading
}

// CombineOptions is what Combine needs to know beside the readings.
type CombineOptions struct {
	// Independent says that every reading has errors of scale of its own, as
	// from different scanners. Otherwise readings of one kind share theirs,
	// which do not shrink however often one scans.
	Independent bool
	Zero        int // the number of the hole at 0° in the combined reading; 0 for hole 1

	// Turned is how far the face is turned on each reading's page,
	// counter-clockwise, degrees; what counts is how far they differ, to some
	// tens of degrees. It decides only where the holes, their sizes and the
	// bore do not, as with an even pattern. Empty: all lay the same way up.
	Turned []float64
}

// Combination is the joint adjustment of several readings of one face.
type Combination struct {
	Reading *Reading // nil when the readings disagree
	Parts   []Part

	// The test of all readings together (see Solution).
	ChiSquare float64
	Spare     int
	P         float64

	// Repeat is how a hole's coordinate (mm) and its direction (degrees)
	// differ from one rubbing to the next, as a standard deviation, once the
	// pages are laid on one another and errors of scale taken out; 0 where
	// nothing repeats. Direction is 0 without a pitch circle.
	RepeatMM, RepeatDeg float64

	Doubt string // what does not agree; "" when all does
	Notes []string
}

// Part is one of the combined readings.
type Part struct {
	Name     string
	TurnDeg  float64     // how far its page is turned against the combined reading's, counter-clockwise, (−180, 180]
	Mirrored bool        // it was turned over to match the others
	Holes    map[int]int // its holes' numbers → the combined reading's
	RMS      float64     // mm, its holes' distances from the combined ones
	Worst    int         // the combined number of the hole farthest off
	WorstMM  float64

	// P is the probability that a reading as good as it says differs as much
	// from all others together; −1 where there are fewer than three readings.
	P       float64
	Outlier bool
}

// Combine lays readings of one face on one another, whatever way each page was
// turned, and adjusts them jointly by least squares, each weighted by its own
// covariance. What the readings share (see CombineOptions) is an unknown of
// its own, so that repeating with one scanner does not make its scale better
// known.
//
// It fails with ErrNotOneFace or with ErrDisagree; the latter comes with a
// Combination that says which reading is the likely culprit.
func Combine(in []Named, opts CombineOptions) (*Combination, error) {
	if err := combinable(in); err != nil {
		return nil, err
	}
	if n := len(opts.Turned); n > 0 && n != len(in) {
		return nil, fmt.Errorf("%d turns for %d readings: say of each how its page lay", n, len(in))
	}
	c := &combiner{in: slices.Clone(in), opts: opts, over: make([]bool, len(in))}
	if err := c.match(); err != nil {
		return nil, err
	}
	if err := c.all.adjust(); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotOneFace, err)
	}
	out, err := c.judge()
	if err != nil {
		return nil, err
	}
	r, err := c.reading(out)
	if err != nil {
		return nil, err
	}
	if out.widen() > mostWiden {
		return out, fmt.Errorf("%w: %s", ErrDisagree, out.Doubt)
	}
	out.Reading = r
	return out, nil
}

func combinable(in []Named) error {
	switch {
	case len(in) < 2:
		return errors.New("two or more readings are wanted: one has nothing to be combined with")
	case len(in) > MaxCombined:
		return fmt.Errorf("%d readings are more than the %d that are combined", len(in), MaxCombined)
	}
	byHand := ""
	for i, r := range in {
		switch {
		case len(r.Holes) > MaxCombinedHoles:
			return fmt.Errorf("%s has %d holes, more than the %d that are combined", r.Name, len(r.Holes), MaxCombinedHoles)
		case len(r.Holes) < 2:
			return fmt.Errorf("%s has one hole, which cannot be laid on others", r.Name)
		case r.Source.Kind == ByHand && byHand != "":
			return fmt.Errorf("%s and %s were both measured by hand: give all their distances to one boltrose solve, which adjusts them together", byHand, r.Name)
		case r.Source.Kind == ByHand:
			byHand = r.Name
		}
		for _, o := range in {
			if r.Source.Kind == Combined && slices.Contains(strings.Split(r.Source.File, ", "), o.Name) {
				return fmt.Errorf("%s already holds %s, which tells nothing twice: leave one out", r.Name, o.Name)
			}
		}
		for _, o := range in[:i] {
			if r.Source.SHA256 != "" && r.Source.SHA256 == o.Source.SHA256 ||
				slices.Equal(r.CovarianceMM2, o.CovarianceMM2) && r.Holes[0].X == o.Holes[0].X && r.Holes[0].Y == o.Holes[0].Y {
				return fmt.Errorf("%s and %s are readings of the same picture, which tells nothing twice: leave one out, or scan another rubbing", o.Name, r.Name)
			}
		}
	}
	return nil
}

// combiner is a combination while it is made.
type combiner struct {
	in    []Named // turned over where they must be
	opts  CombineOptions
	over  []bool
	all   jointly
	notes []string
}

// groups says which readings share which error: all of one kind that of the
// axes, and the scale where it was got in the same way.
func (c *combiner) groups() [][sharedTerms]int {
	names := map[string]int{}
	number := func(name string) int {
		if _, ok := names[name]; !ok {
			names[name] = len(names)
		}
		return names[name]
	}
	out := make([][sharedTerms]int, len(c.in))
	for i, r := range c.in {
		kind, method := r.Source.Kind, r.Scale.Method
		switch {
		case strings.HasPrefix(method, "dpi"): // of the file or as given: the same scanner
			method = "dpi"
		case r.knownSize(): // given for each rubbing, but likely measured once
			method = "known"
		}
		if c.opts.Independent || kind == ByHand {
			kind = fmt.Sprint(i)
		}
		out[i] = [sharedTerms]int{number("scale " + kind + " " + method), number("axes " + kind), number("axes " + kind)}
	}
	return out
}

// mostWiden is the factor between what readings differ by and what their ±
// allow, beyond which one of them must be wrong.
const mostWiden = 3

// widen is Birge's factor, as for a Solution.
func (c *Combination) widen() float64 {
	if c.P >= poorP || c.Spare < 1 {
		return 1
	}
	return math.Max(1, math.Sqrt(c.ChiSquare/float64(c.Spare)))
}

// judge compares the readings with what all of them together say.
func (c *combiner) judge() (*Combination, error) {
	out := &Combination{ChiSquare: c.all.chi, Spare: c.all.spare, P: c.all.p(), Notes: c.notes}
	var off2, along2 float64
	count := make([]int, len(c.all.face))
	middle := c.all.centre()
	radius := 0.0
	for _, v := range c.all.face {
		radius += r2.Norm(r2.Sub(v, middle)) / float64(len(c.all.face))
	}
	for k, s := range c.all.sheets {
		p := Part{Name: c.in[k].Name, Mirrored: c.over[k], P: -1}
		p.TurnDeg = math.Remainder((s.turn-c.all.sheets[0].turn)/degree, 360)
		for i, v := range s.at {
			f := c.all.face[s.to[i]]
			d := r2.Sub(s.lift(v), f)
			count[s.to[i]]++
			off2 += r2.Norm2(d)
			if u := r2.Sub(f, middle); r2.Norm(u) > radius/2 {
				t := (u.X*d.Y - u.Y*d.X) / r2.Norm(u)
				along2 += t * t / r2.Norm2(u)
			}
			p.RMS += r2.Norm2(d) / float64(len(s.at))
			if r2.Norm(d) > p.WorstMM {
				p.WorstMM, p.Worst = r2.Norm(d), s.to[i]
			}
		}
		p.RMS = math.Sqrt(p.RMS)
		out.Parts = append(out.Parts, p)
	}
	raw := 0
	for _, n := range count {
		raw += 2 * max(0, n-1)
	}
	if left := raw - 3*(len(c.all.sheets)-1); left > 0 {
		out.RepeatMM = math.Sqrt(off2 / float64(left))
		out.RepeatDeg = math.Sqrt(2*along2/float64(left)) / degree
	}
	if len(c.in) > 2 {
		if err := c.leaveOneOut(out); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (j *jointly) centre() r2.Vec {
	var v r2.Vec
	for _, f := range j.face {
		v = r2.Add(v, r2.Scale(1/float64(len(j.face)), f))
	}
	return v
}

// leaveOneOut tells how well each reading agrees with all others: without it
// the chi-square falls by what it adds.
func (c *combiner) leaveOneOut(out *Combination) error {
	likeliest, rest := -1, 0.0
	for k := range c.in {
		others, err := c.without(k)
		if err != nil {
			continue // the others are not tied together without it
		}
		diff := jointly{chi: math.Max(0, c.all.chi-others.chi), spare: c.all.spare - others.spare}
		out.Parts[k].P = diff.p()
		if p := others.p(); likeliest < 0 || out.Parts[k].P < out.Parts[likeliest].P {
			likeliest, rest = k, p
		}
	}
	if out.P < poorP && likeliest >= 0 && rest >= poorP && out.Parts[likeliest].P < contraryP {
		out.Parts[likeliest].Outlier = true
	}
	return nil
}

// without adjusts all readings but one.
func (c *combiner) without(k int) (*jointly, error) {
	j := &jointly{}
	at := map[int]int{}
	for i, s := range c.all.sheets {
		if i == k {
			continue
		}
		o := *s
		o.to = make([]int, len(s.to))
		for h, f := range s.to {
			if _, ok := at[f]; !ok {
				at[f] = len(j.face)
				j.face = append(j.face, c.all.face[f])
			}
			o.to[h] = at[f]
		}
		j.sheets = append(j.sheets, &o)
	}
	return j, j.adjust()
}

// doubt says in words what does not agree, with the combined reading's
// numbers.
func (out *Combination) doubt() string {
	if out.P >= poorP {
		return ""
	}
	worst := out.Parts[0]
	for _, p := range out.Parts {
		if p.Outlier {
			return fmt.Sprintf("%s does not agree with the others, most of all at hole %d, by %.2f mm: look at its overlay, leave it out, or rub once more", p.Name, p.Worst, p.WorstMM)
		}
		if p.WorstMM > worst.WorstMM {
			worst = p
		}
	}
	if len(out.Parts) == 2 {
		return fmt.Sprintf("%s and %s differ by more than their ± allow, most of all at hole %d, by %.2f mm; which of them is wrong, a third rubbing would tell", out.Parts[0].Name, out.Parts[1].Name, worst.Worst, out.Parts[0].WorstMM+out.Parts[1].WorstMM)
	}
	return fmt.Sprintf("the readings differ by more than their ± allow, and no single one is to blame; %s is farthest off at hole %d, by %.2f mm", worst.Name, worst.Worst, worst.WorstMM)
}
