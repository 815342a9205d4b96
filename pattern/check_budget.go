package pattern

import (
	"errors"
	"fmt"
	"math"
)

// checkBudget asks whether the terms add up to what is stated.
func (r *Reading) checkBudget() error {
	if len(r.Budget) == 0 {
		return nil
	}
	spans := r.Neighbours()
	sums := make([]float64, 1+len(spans))
	for _, t := range r.Budget {
		if (t.PCDU95 == nil) != (r.PitchCircle == nil) {
			return fmt.Errorf("the budget's %.60q: pcd_u95_mm and pitch_circle do not go together", t.Term)
		}
		if len(t.ChordsU95) != len(spans) {
			return fmt.Errorf("the budget's %.60q has %d chords where there are %d neighbours", t.Term, len(t.ChordsU95), len(spans))
		}
		if u := t.BoreOffsetU95; u != nil && !(*u >= 0 && *u <= maxMM) {
			return fmt.Errorf("the budget's %.60q cannot add %g mm to the bore's offset", t.Term, *u)
		}
		for k := range sums {
			u := t.of(k - 1)
			if !(u >= 0 && u <= maxMM) {
				return fmt.Errorf("the budget's %.60q cannot be %g mm", t.Term, u)
			}
			sums[k] += u * u
		}
	}
	near := func(got, want float64) bool { return math.Abs(got-want) <= 1e-4+1e-3*want }
	if r.PitchCircle != nil && !near(math.Sqrt(sums[0]), r.PitchCircle.DiameterU95) {
		return errors.New("the budget does not add up to the uncertainty of the PCD: it was edited by hand")
	}
	return nil
}
