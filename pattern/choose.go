// Package pattern turns circular edges measured on a face, in millimetres,
// into a hole pattern with honest uncertainty: which rings are holes, the
// pitch circle, angles, chords and the covariance that joins them. It is pure
// arithmetic: no pictures and no files.
package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// ErrNoPattern says that the rings hold nothing that can be trusted as a hole
// pattern. It is wrapped with what was seen and what to try.
var ErrNoPattern = errors.New("no hole pattern")

// Choice says what each ring is.
type Choice struct {
	Holes []int       // indices of the rings taken as holes, in no order
	Outer map[int]int // hole's ring index → index of its chamfer's or counterbore's ring
	Bore  int         // index of the centre bore's ring, −1 when there is none
	Rim   int         // index of the part's outer rim, −1 when there is none

	// Mouth is the ring that is the bore's edge in the face, where it can be told
	// from others; −1 where it cannot. The bore itself may lie in a chamfer.
	Mouth int

	// OffCircle lists the holes, among Holes, that do not lie on the pitch
	// circle of the others. They are reported and take no part in its fit.
	OffCircle []int

	// Doubt is, for holes and a bore that may lie elsewhere than their ring, the covariance
	// (mm²) of that: it adds to what is known of the ring's centre.
	Doubt map[int][2][2]float64

	// Circle is false when no pitch circle is claimed: the holes are then a
	// free set of circular marks.
	Circle bool

	Reasons  []string // for each ring, why it was taken or left, in words
	Warnings []string
}

// ChooseOptions is what a person knows about the face beforehand.
type ChooseOptions struct {
	Holes       int     // how many holes there are; 0 when not known
	MinDiameter float64 // mm; only rings of at least this size are holes
	MaxDiameter float64 // mm; and of at most this; 0 for no limit
	PCD         float64 // mm, the pitch circle diameter when known; 0 when not
	Free        bool    // do not look for a pitch circle
	Drop        []int   // IDs of rings that are not holes
	Added       []int   // IDs of rings that are holes whatever they look like
}

// Choose tells which rings are the bolt holes, the bore and the rim, by how
// they look (a rim seen all round, of the size of the others) and by geometry
// (the holes of a pattern share a circle; they do not overlap; the bore lies
// within the circle and the part's rim round it).
//
// It fails with ErrNoPattern when nothing can be trusted.
func Choose(rings []Ring, opts ChooseOptions) (Choice, error) {
	c := &chooser{rings: rings, opts: opts, out: Choice{
		Outer: map[int]int{}, Doubt: map[int][2][2]float64{}, Bore: -1, Rim: -1, Mouth: -1, Reasons: make([]string, len(rings)),
	}}
	c.admit()
	if !opts.Free {
		if best, ok := c.bestCircle(); ok {
			if best = c.oneCopy(best); !c.takeRows(best) && !c.takeStrewn(best) {
				c.take(best)
			}
			return c.out, c.check()
		}
		if opts.PCD > 0 {
			return c.out, fmt.Errorf("%w: no marks of like size share a circle of %g mm", ErrNoPattern, opts.PCD)
		}
		c.out.Warnings = append(c.out.Warnings, "no pitch circle was found that three or more marks of like size share: every circular mark is reported as a hole, with no circle forced on them")
	}
	c.takeFree(nil)
	return c.out, c.check()
}

type chooser struct {
	rings    []Ring
	opts     ChooseOptions
	evidence []float64 // 0 where a ring cannot be a hole
	dropped  []bool    // by the person
	bore     []bool    // in the middle of a face that other clear marks lie in
	out      Choice
}

// admit gives each ring the weight of its evidence as a hole.
func (c *chooser) admit() {
	steepest := 0.0
	for _, r := range c.rings {
		if !r.Either && r.evidence() >= clearEvidence {
			steepest = math.Max(steepest, math.Abs(r.Contrast))
		}
	}
	c.evidence = make([]float64, len(c.rings))
	c.dropped = make([]bool, len(c.rings))
	for i, r := range c.rings {
		c.dropped[i] = c.isDropped(r)
		switch {
		case c.dropped[i]:
			c.out.Reasons[i] = "left: dropped by you"
		case slices.Contains(c.opts.Added, r.ID):
			c.evidence[i] = 1
		case r.Diameter < c.opts.MinDiameter || c.opts.MaxDiameter > 0 && r.Diameter > c.opts.MaxDiameter:
			c.out.Reasons[i] = "left: not of the size asked for"
		case r.Either: // no hole
		case math.Abs(r.Contrast) < leastContrast*steepest:
			c.out.Reasons[i] = "left: next to nothing beside the clear edges of this picture"
		default:
			c.evidence[i] = r.evidence()
		}
	}
	c.bore = make([]bool, len(c.rings))
	for i := range c.rings {
		c.bore[i] = !c.isAdded(i) && c.inMiddleOfFace(i)
	}
}

// isDropped says whether the person dropped the ring, or another edge of the
// same hole.
func (c *chooser) isDropped(r Ring) bool {
	for _, d := range c.rings {
		if slices.Contains(c.opts.Drop, d.ID) && (d.ID == r.ID ||
			r2.Norm(r2.Sub(d.Centre, r.Centre)) < d.radius()/2 && r.radius() < 2*d.radius() && !slices.Contains(c.opts.Added, r.ID)) {
			return true
		}
	}
	return false
}

func (c *chooser) isAdded(i int) bool { return slices.Contains(c.opts.Added, c.rings[i].ID) }

// check holds the outcome against what the person expected.
func (c *chooser) check() error {
	for i, reason := range c.out.Reasons {
		if reason == "" {
			c.out.Reasons[i] = "left: not on the pattern, or weaker than its holes"
			if !c.out.Circle {
				c.out.Reasons[i] = "left: too little of a rim, or overlaps a stronger mark"
			}
		}
	}
	found := len(c.out.Holes) - len(c.out.OffCircle)
	if c.opts.Holes > 0 && found < c.opts.Holes {
		found += len(c.out.OffCircle) // a person may count those too
	}
	switch {
	case found == 0 && len(c.rings) == 0:
		return fmt.Errorf("%w: no circular mark was seen", ErrNoPattern)
	case found == 0:
		return fmt.Errorf("%w: %s seen, but none stands out as a hole", ErrNoPattern, count(len(c.rings), "circular mark"))
	case c.opts.Holes > 0 && found != c.opts.Holes:
		return fmt.Errorf("%w: you expect %s, and %d can be trusted", ErrNoPattern, count(c.opts.Holes, "hole"), found)
	}
	return nil
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
