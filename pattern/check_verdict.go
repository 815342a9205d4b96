package pattern

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// checkVerdict looks at the verdict, where there is one, for what no verdict
// says. It is not computed anew: another version may judge otherwise.
func (r *Reading) checkVerdict() error {
	v := r.Verdict
	if v == nil {
		return nil
	}
	switch {
	case !slices.Contains([]Spacing{Even, Uneven, Undecided}, v.Spacing):
		return fmt.Errorf("verdict.spacing is %.60q, neither even nor uneven nor undecided", v.Spacing)
	case !slices.Contains([]Layout{EvenSpaces, SomeEmpty, OneShifted, Interleaved, Irregular, OnLine, OnGrid, NoLayout}, v.Layout):
		return fmt.Errorf("verdict.layout cannot be %.60q", v.Layout)
	case !slices.Contains([]Flip{FlipSame, FlipDifferent, FlipUndecided}, v.Flip):
		return fmt.Errorf("verdict.flip is %.60q, neither same nor different nor undecided", v.Flip)
	case r.PitchCircle == nil && v.Spacing != Undecided:
		return errors.New("the verdict finds holes even or uneven that have no pitch circle")
	case v.Places < 0 || v.Turns < 0 || v.DoF < 0:
		return errors.New("the verdict counts less than none")
	case v.Notes == nil:
		return errors.New("verdict.notes is null")
	}
	known := func(id int) bool {
		return slices.ContainsFunc(r.Holes, func(h Hole) bool { return h.ID == id })
	}
	if v.WorstHole != 0 && !known(v.WorstHole) {
		return fmt.Errorf("verdict.worst_hole is %d, and there is no such hole", v.WorstHole)
	}
	if g := v.WorstGap; g != nil {
		if !known(g.From) || !known(g.To) {
			return fmt.Errorf("verdict.worst_gap is from hole %d to hole %d, which are not both there", g.From, g.To)
		}
		if !(math.Abs(g.Off) <= 360) || !(g.U95 >= 0 && g.U95 <= maxDegU) {
			return fmt.Errorf("verdict.worst_gap cannot be %g ±%g°", g.Off, g.U95)
		}
	}
	for _, n := range []struct {
		name string
		v    *float64
		most float64
	}{
		{"p_value", v.PValue, 1},
		{"chi_square", v.ChiSquare, math.MaxFloat64},
		{"drilled_u95_mm", &v.DrilledU95, maxMM},
		{"worst_miss_mm", v.WorstMiss, 4 * maxMM},
		{"worst_miss_u95_mm", v.WorstMissU95, 4 * maxMM},
		{"seen_shift_mm", v.SeenShift, maxMM},
		{"flip_miss_mm", v.FlipMiss, 8 * maxMM},
		{"flip_axis_deg", v.AxisDeg, 180},
	} {
		if n.v != nil && !(*n.v >= 0 && *n.v <= n.most) {
			return fmt.Errorf("verdict.%s cannot be %g", n.name, *n.v)
		}
	}
	return nil
}

// checkCandidates looks at the numbers only: what is round is in the eye of
// the beholder.
func (r *Reading) checkCandidates() error {
	c := r.Candidates
	if c == nil {
		return nil
	}
	if c.PCD == nil || c.Angles == nil {
		return errors.New("a list of candidates is null")
	}
	if c.PCDCount < len(c.PCD) {
		return fmt.Errorf("candidates.pcd_count is %d, and %d are listed", c.PCDCount, len(c.PCD))
	}
	for _, q := range c.PCD {
		if !(q.MM > 0 && q.MM <= 4*maxMM && math.Abs(q.Off) <= 4*maxMM && q.Step > 0 && q.Step <= maxMM && q.Share >= 0 && q.Share <= 1) {
			return fmt.Errorf("the candidate %.60q makes no sense", q.Text)
		}
	}
	for _, a := range c.Angles {
		if !(a.Deg >= 0 && a.Deg < 360 && math.Abs(a.Off) <= 360 && a.Step > 0 && a.Step <= 360 && a.Others >= 0) {
			return fmt.Errorf("the candidate of %g° for hole %d makes no sense", a.Deg, a.Hole)
		}
	}
	return nil
}
