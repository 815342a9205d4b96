package pattern

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// turnedOver is the reading of the page seen from its other side. Only what an
// adjustment needs is turned.
func turnedOver(r *Reading) *Reading {
	o := *r
	o.Holes = slices.Clone(r.Holes)
	for i := range o.Holes {
		o.Holes[i].X = -o.Holes[i].X
	}
	n := 2 * len(r.Holes)
	o.CovarianceMM2 = slices.Clone(r.CovarianceMM2)
	for i := range o.CovarianceMM2 {
		if (i/n)%2 != (i%n)%2 {
			o.CovarianceMM2[i] = -o.CovarianceMM2[i]
		}
	}
	o.View = FromBehind
	if r.View == FromBehind {
		o.View = Facing
	}
	for _, f := range []**Feature{&o.Bore, &o.Rim} {
		if *f != nil {
			turned := **f
			turned.X = -turned.X
			*f = &turned
		}
	}
	return &o
}

func (r *Reading) points() []r2.Vec {
	var out []r2.Vec
	for _, h := range r.Holes {
		out = append(out, r2.Vec{X: h.X, Y: h.Y})
	}
	return out
}

// undecided is a difference of chi-square between two ways of laying a page,
// which does not tell which is right: odds of 400 to 1.
const undecided = 12

// laid is one way of laying a page on the reference.
type laid struct {
	pairing
	chi, p float64
}

// clearlyBetter says whether l and not o is how the page lies: with more holes
// in their places, or with the same so much nearer that it is no accident.
func (l laid) clearlyBetter(o laid) bool {
	if l.count != o.count {
		return l.count > o.count && l.p > 1e-4
	}
	return l.chi+undecided < o.chi && (l.p > 1e-4 || l.chi < o.chi/4)
}

// match finds which hole of each page is which, and lays the pages for the
// adjustment. Pages that match only as mirror images of most others are turned
// over.
func (c *combiner) match() error {
	ref := 0
	for k, r := range c.in {
		if len(r.Holes) > len(c.in[ref].Holes) {
			ref = k
		}
	}
	reach := reachOf(c.in[ref].Reading)
	ways := make([]laid, len(c.in))
	var mirrored []int
	for k := range c.in {
		if k == ref {
			continue
		}
		plain, alike, err := c.lay(ref, k, reach, false)
		if err != nil {
			return err
		}
		turned, _, err := c.lay(ref, k, reach, true)
		if err != nil {
			return err
		}
		switch {
		case plain == nil && turned == nil:
			return c.noMatch(ref, k)
		case plain == nil || turned != nil && turned.clearlyBetter(*plain):
			mirrored = append(mirrored, k)
			ways[k] = *turned
		default:
			ways[k] = *plain
			if alike > 1 {
				c.notes = append(c.notes, fmt.Sprintf("%s fits %s in %d turns about as well: it was taken to lie %s. If it lay otherwise, say how (--turned); if nobody knows, mark the face and rub it again.", c.in[k].Name, c.in[ref].Name, alike, c.way(ref, k)))
			}
		}
	}
	if len(mirrored) > 0 {
		return c.turnOver(ref, mirrored)
	}
	return c.assemble(ref, ways, reach)
}

// reachOf is how far a hole may be from its partner, well within the distance
// of two holes.
func reachOf(r *Reading) float64 {
	at := r.points()
	near, far := math.Inf(1), 0.0
	for i, v := range at {
		for _, w := range at[:i] {
			near = math.Min(near, r2.Norm(r2.Sub(v, w)))
			far = math.Max(far, r2.Norm(r2.Sub(v, w)))
		}
	}
	return math.Min(0.3*near, math.Max(1, 0.02*far))
}

// lay returns the likeliest way of laying page k on the reference, of those
// that cannot be told apart the one that turns it least, and how many those
// are. It is nil where the holes do not match.
func (c *combiner) lay(ref, k int, reach float64, mirror bool) (*laid, int, error) {
	r := c.in[k].Reading
	if mirror {
		r = turnedOver(r)
	}
	var onto []r2.Vec
	onto = append(onto, c.in[ref].points()...)
	ways := pairings(r.points(), onto, false, reach)
	fewer := min(len(r.Holes), len(onto))
	if len(ways) == 0 || ways[0].count < min(fewer, max(3, (fewer+1)/2)) {
		return nil, 0, nil
	}
	groups := c.groups()
	base, err := newSheet(c.in[ref].Reading)
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", c.in[ref].Name, err)
	}
	page, err := newSheet(r)
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", c.in[k].Name, err)
	}
	var tried []laid
	for _, w := range ways[:min(len(ways), 40)] {
		j := jointly{face: slices.Clone(onto)}
		b, p := *base, *page
		b.group, p.group = groups[ref], groups[k]
		b.to = count0(len(onto))
		p.place(w.rigid)
		p.to = slices.Clone(w.to)
		for i, to := range p.to {
			if to < 0 {
				p.to[i] = len(j.face)
				j.face = append(j.face, w.apply(r.points()[i]))
			}
		}
		j.sheets = []*sheet{&b, &p}
		if j.adjust() == nil {
			look := unlike(c.in[ref].Reading, r, w)
			tried = append(tried, laid{w, j.chi + look, j.p()})
		}
	}
	if len(tried) == 0 {
		return nil, 0, nil
	}
	least := math.Inf(1)
	for _, t := range tried {
		least = math.Min(least, t.chi)
	}
	var best *laid
	alike := 0
	for i, t := range tried {
		if t.chi > least+undecided {
			continue
		}
		alike++
		if best == nil || c.asSaid(ref, k, t) > c.asSaid(ref, k, *best)+1e-6 {
			best = &tried[i]
		}
	}
	return best, alike, nil
}

// way says how page k is taken to lie against the reference.
func (c *combiner) way(ref, k int) string {
	if len(c.opts.Turned) == 0 {
		return "the same way up on the scanner"
	}
	return fmt.Sprintf("about %.0f° further counter-clockwise, as you said", fullTurn(c.opts.Turned[k]-c.opts.Turned[ref]))
}

// asSaid is how well a way of laying page k agrees with how the pages are said
// to lie: the cosine of what they differ by.
func (c *combiner) asSaid(ref, k int, l laid) float64 {
	said := 0.0
	if len(c.opts.Turned) > 0 {
		said = (c.opts.Turned[k] - c.opts.Turned[ref]) * degree
	}
	return math.Cos(-math.Atan2(l.sin, l.cos) - said) // it is laid back
}

// unlike is by how much, as a chi-square, two readings differ in what is not
// the holes' places when one is laid on the other: how large the holes are that
// come together, and where the bore is. It tells the turns of an even pattern
// apart where holes are of several sizes or the bore is off the middle.
func unlike(onto, r *Reading, w pairing) float64 {
	chi := 0.0
	part := func(off, u95, v95 float64) {
		if u2 := (u95*u95 + v95*v95) / (coverage * coverage); u2 > 0 {
			chi += off * off / u2
		}
	}
	for i, to := range w.to {
		if to >= 0 {
			a, b := r.Holes[i], onto.Holes[to]
			part(a.Diameter-b.Diameter, a.DiameterU95, b.DiameterU95)
		}
	}
	if a, b := r.Bore, onto.Bore; a != nil && b != nil {
		off := r2.Sub(w.apply(r2.Vec{X: a.X, Y: a.Y}), r2.Vec{X: b.X, Y: b.Y})
		// Which axis of the page is which after the turn makes no difference
		// to speak of.
		part(r2.Norm(off), math.Hypot(a.XU95, a.YU95)/math.Sqrt2, math.Hypot(b.XU95, b.YU95)/math.Sqrt2)
	}
	return chi
}

func count0(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// place lays the page where m carries its points.
func (s *sheet) place(m rigid) {
	s.turn = -math.Atan2(m.sin, m.cos)
	s.shift = r2.Scale(-1, r2.Vec{X: m.cos*m.shift.X + m.sin*m.shift.Y, Y: -m.sin*m.shift.X + m.cos*m.shift.Y})
}

func (c *combiner) noMatch(ref, k int) error {
	what := ""
	a, b := c.in[ref].PitchCircle, c.in[k].PitchCircle
	if a != nil && b != nil && math.Abs(a.Diameter-b.Diameter) > 0.02*a.Diameter {
		what = fmt.Sprintf(" (their pitch circles are %.2f mm and %.2f mm: is the scale of one wrong?)", a.Diameter, b.Diameter)
	}
	return fmt.Errorf("%w: the %d holes of %s do not lie on the %d of %s, whatever way they are turned%s", ErrNotOneFace,
		len(c.in[k].Holes), c.in[k].Name, len(c.in[ref].Holes), c.in[ref].Name, what)
}

// turnOver turns over the pages that are the mirror image of most others, and
// matches anew; where there is no majority nobody can tell which are right.
func (c *combiner) turnOver(ref int, mirrored []int) error {
	var names, others []string
	for k, r := range c.in {
		if slices.Contains(mirrored, k) {
			names = append(names, r.Name)
		} else {
			others = append(others, r.Name)
		}
	}
	if len(names) == len(others) || slices.Contains(c.over, true) {
		return fmt.Errorf("%w as they stand: %s match the others (%s) only as a mirror image, so that some were read from the wrong side, which would not fit. Find out which, and read it again with or without --from-behind",
			ErrNotOneFace, strings.Join(names, ", "), strings.Join(others, ", "))
	}
	wrong := names
	for k := range c.in {
		if slices.Contains(mirrored, k) == (len(names) < len(others)) {
			c.in[k].Reading, c.over[k] = turnedOver(c.in[k].Reading), true
		}
	}
	if len(names) > len(others) {
		wrong = others
	}
	c.notes = append(c.notes[:0], fmt.Sprintf("%s is the mirror image of the others and was turned over: it seems to have been read from the wrong side. If it was the only one read rightly, everything here is mirrored and will not fit.", strings.Join(wrong, ", ")))
	return c.match()
}

// assemble sets the joint adjustment up. Holes that the reference lacks are
// added to the face as the pages show them.
func (c *combiner) assemble(ref int, ways []laid, reach float64) error {
	c.all = jointly{face: c.in[ref].points()}
	groups := c.groups()
	for k, r := range c.in {
		s, err := newSheet(r.Reading)
		if err != nil {
			return fmt.Errorf("%s: %w", r.Name, err)
		}
		s.group = groups[k]
		s.to = count0(len(r.Holes))
		if k != ref {
			s.place(ways[k].rigid)
			taken := map[int]bool{}
			for _, to := range ways[k].to {
				taken[to] = true
			}
			for i, to := range ways[k].to {
				if to < 0 {
					to = c.extra(ways[k].apply(s.at[i]), len(c.in[ref].Holes), reach, taken)
				}
				s.to[i], taken[to] = to, true
			}
		}
		c.all.sheets = append(c.all.sheets, s)
	}
	return c.separate(len(c.in[ref].Holes))
}

// separate refuses holes beyond those of the reference that overlap another:
// the readings have the same hole in two places.
func (c *combiner) separate(from int) error {
	whose := func(f int) (name string, id int, d float64) {
		for k, s := range c.all.sheets {
			if i := slices.Index(s.to, f); i >= 0 {
				return c.in[k].Name, c.in[k].Holes[i].ID, c.in[k].Holes[i].Diameter
			}
		}
		return "", 0, 0
	}
	for f := from; f < len(c.all.face); f++ {
		for g := range f {
			a, i, d := whose(f)
			b, j, e := whose(g)
			if apart := r2.Norm(r2.Sub(c.all.face[f], c.all.face[g])); apart < (d+e)/2 {
				return fmt.Errorf("%w: laid on one another, hole %d of %s lies %.2f mm from hole %d of %s, and they cannot both be there. Look at both overlays: are the right circles taken, and is it one face?",
					ErrDisagree, i, a, apart, j, b)
			}
		}
	}
	return nil
}

// extra finds a hole beyond those of the reference, or adds it.
func (c *combiner) extra(v r2.Vec, from int, reach float64, taken map[int]bool) int {
	for i := from; i < len(c.all.face); i++ {
		if !taken[i] && r2.Norm(r2.Sub(v, c.all.face[i])) <= reach {
			return i
		}
	}
	c.all.face = append(c.all.face, v)
	return len(c.all.face) - 1
}
