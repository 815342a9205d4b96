package pattern

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// Probabilities of a chi-square as large as found, below which measurements
// that are all right are said to agree poorly, and to contradict.
const (
	poorP     = 0.05
	contraryP = 0.001
)

func (s *Solution) contradiction() bool { return s.P < contraryP }

// widen is the factor by which every uncertainty grows because the residuals
// are larger than they should be (Birge 1932); at least 1.
func (s *Solution) widen() float64 {
	if s.P >= poorP || s.Spare < 1 {
		return 1
	}
	return math.Max(1, math.Sqrt(s.ChiSquare/float64(s.Spare)))
}

// judge compares the measurements with what all of them together say.
func (n *network) judge() *Solution {
	s := &Solution{ChiSquare: costOf(n.obs), Notes: n.notes}
	for i, o := range n.obs {
		if o.hole > 0 {
			continue
		}
		_, checked := n.test(n.mismeasured(i))
		if checked < leastChecked {
			checked = 0
		}
		c := HandCheck{Name: o.name, Measured: o.value, U: o.u, Adjusted: o.value - o.residual*o.u, Checked: checked}
		if checked > 0 {
			c.W = o.residual / math.Sqrt(checked)
		}
		s.Checks = append(s.Checks, c)
	}
	s.Spare = n.spare()
	s.P = n.misfits()
	s.Closure = n.closure()
	if s.P < poorP {
		s.Doubt = n.doubt(s)
	}
	return s
}

// spare is the number of conditions less that of unknowns.
func (n *network) spare() int {
	conditions := 0
	for _, o := range n.obs {
		if o.hole == 0 {
			conditions++
		}
	}
	if n.Holes > 3 {
		conditions += n.Holes - 3 // three parameters of the circle follow from the holes
	}
	if n.Even {
		conditions += n.Holes - 1
	}
	return conditions - (n.unknowns() - 3)
}

// misfits is the probability of residuals as large as these or larger.
func (n *network) misfits() float64 {
	return distuv.ChiSquared{K: math.Max(1, float64(n.spare()))}.Survival(costOf(n.obs))
}

// leastChecked is the share of an error that must show for a measurement to
// count as checked.
const leastChecked = 0.01

// closure adds up the gaps, each from its own chord and the pitch circle, the
// mean of them where a chord was measured more than once.
func (n *network) closure() *Closure {
	if n.PCD == 0 {
		return nil
	}
	type gap struct{ sum, weight float64 }
	gaps := make([]gap, n.Holes)
	for _, d := range n.Between {
		if !d.neighbours(n.Holes) {
			continue
		}
		from := d.firstOf(n.Holes)
		reach, byD := n.reach(d, n.d)
		v := d.U * d.U
		if byD != 0 {
			v += n.DiameterU * n.DiameterU
		}
		gaps[from-1].sum += (d.Value - reach) / v
		gaps[from-1].weight += 1 / v
	}
	if n.Holes == 2 {
		return nil // one chord, and both gaps are its own
	}
	c := &Closure{}
	variance, byPCD := 0.0, 0.0
	for i, g := range gaps {
		if g.weight == 0 {
			return nil
		}
		ratio := g.sum / g.weight / n.PCD
		slope := math.Sqrt(math.Max(1-ratio*ratio, 1e-4))
		half := math.Asin(math.Max(-1, math.Min(ratio, 1)))
		a, b := n.at[i], n.at[(i+1)%n.Holes]
		if n.obtuse(a.X, a.Y, b.X, b.Y) {
			half, slope = math.Pi-half, -slope
		}
		c.SumDeg += 2 * half / degree
		byChord := 2 / (n.PCD * slope)
		variance += byChord * byChord / g.weight
		byPCD -= 2 * ratio / (n.PCD * slope)
	}
	variance += byPCD * byPCD * n.PCDU * n.PCDU
	c.U95Deg = coverage * math.Sqrt(variance) / degree
	if c.U95Deg > 3 { // a chord straight across says nothing of its gap
		return nil
	}
	return c
}

// obtuse says whether the gap from a to b is more than half a turn about the
// pitch circle's centre.
func (n *network) obtuse(ax, ay, bx, by float64) bool {
	fit, err := pitchCircle(n.at)
	if err != nil {
		return false
	}
	ax, ay, bx, by = ax-fit.Centre.X, ay-fit.Centre.Y, bx-fit.Centre.X, by-fit.Centre.Y
	return ax*by-ay*bx < 0
}

// suspect is an error that, allowed for, lets all agree: of one measurement,
// or of where one hole lies (hole is then its number).
type suspect struct {
	observation
	w       float64
	checked float64
	size    float64 // of the error, mm
}

// test is Baarda's of one error, whose effect on the observations is given in
// units of their uncertainties: w is normally distributed with variance 1 when
// there is no such error, and checked is the share of it that the residuals
// show.
func (n *network) test(effect *mat.VecDense) (w, checked float64) {
	var inside mat.VecDense
	inside.MulVec(n.reached.T(), effect)
	all := mat.Dot(effect, effect)
	seen := all - mat.Dot(&inside, &inside)
	if !(all > 0) || seen < 1e-9*all {
		return 0, 0
	}
	along := 0.0
	for i, o := range n.obs {
		along += effect.AtVec(i) * o.residual
	}
	return along / math.Sqrt(seen), seen / all
}

// mismeasured is an error of the i-th observation.
func (n *network) mismeasured(i int) *mat.VecDense {
	e := mat.NewVecDense(len(n.obs), nil)
	e.SetVec(i, 1)
	return e
}

// misplaced is that hole i lies 1 mm off the pitch circle, or off its even place
// along it, as far as that is taken for granted: the measurements feel nothing
// of it.
func (n *network) misplaced(i int, along bool) *mat.VecDense {
	fit, _ := pitchCircle(n.at)
	out := r2.Unit(r2.Sub(n.at[i], fit.Centre))
	if along {
		out = r2.Vec{X: -out.Y, Y: out.X}
	}
	e := mat.NewVecDense(len(n.obs), nil)
	for k, o := range n.obs {
		if o.hole > 0 && o.along == along {
			e.SetVec(k, -out.X*n.rows.At(k, 2*i)-out.Y*n.rows.At(k, 2*i+1))
		}
	}
	return e
}

// suspects lists the errors of which one alone explains the contradiction, the
// likeliest first. Allowing for one takes its w² off the chi-square.
func (n *network) suspects(s *Solution) []suspect {
	var all []suspect
	try := func(o observation, effect *mat.VecDense) {
		w, checked := n.test(effect)
		if checked < leastChecked {
			return
		}
		rest := s.ChiSquare - w*w
		agrees := rest < 1e-6*s.ChiSquare+0.1
		if s.Spare > 1 {
			agrees = distuv.ChiSquared{K: float64(s.Spare - 1)}.Survival(rest) >= poorP
		}
		if agrees && math.Abs(w) > 1.9 {
			all = append(all, suspect{o, w, checked, w / math.Sqrt(checked) / mat.Norm(effect, 2)})
		}
	}
	for i, o := range n.obs {
		if o.hole == 0 {
			try(o, n.mismeasured(i))
			if len(all) > 0 && all[len(all)-1].observation == o {
				all[len(all)-1].size *= o.u
			}
			continue
		}
		try(o, n.misplaced(o.hole-1, o.along))
	}
	rank := func(c suspect) float64 { return math.Round(1e3 * math.Log(math.Abs(c.w))) } // equal but for rounding
	slices.SortStableFunc(all, func(x, y suspect) int { return cmp.Compare(rank(y), rank(x)) })
	return all
}

// doubt says which measurement is likely wrong: Baarda's data snooping ("A
// testing procedure for use in geodetic networks", 1968).
func (n *network) doubt(s *Solution) string {
	var b strings.Builder
	all := n.suspects(s)
	measured := slices.DeleteFunc(slices.Clone(all), func(c suspect) bool { return c.hole > 0 })
	slip, at := n.slip(measured)
	const clear = 6 // of w², which is odds of 20 to 1
	switch {
	case len(all) == 0 && s.Spare < 1:
		b.WriteString("no pattern has these distances: one is longer than the others allow. Measure again")
	case len(all) == 0:
		b.WriteString("no one measurement explains it, so that more than one is wrong. Measure again")
	case len(measured) == 0 || all[0].hole > 0 && (len(all) == 1 || all[0].w*all[0].w-all[1].w*all[1].w > clear):
		where := "off the pitch circle of the others"
		if all[0].along {
			where = "away from its even place"
		}
		fmt.Fprintf(&b, "hole %d seems to lie %.2f mm %s, more than the ±%.2g mm allowed (--on-circle)", all[0].hole, math.Abs(all[0].size), where, coverage*n.OnCircleU)
	case len(measured) == 1 || all[0].w*all[0].w-all[1].w*all[1].w > clear:
		c := measured[0]
		fmt.Fprintf(&b, "%s is likely wrong: it was given as %.6g mm, and the others say %.2f mm. Measure it again", c.name, c.value, n.othersSay(c))
	case at >= 0:
		c := measured[at]
		fmt.Fprintf(&b, "%s may be wrong: it was given as %.6g mm, and the others say %.2f mm. Measure it again", c.name, c.value, n.othersSay(c))
	default:
		var names []string
		for _, c := range measured {
			if len(names) == 8 {
				names = append(names, "…")
				break
			}
			names = append(names, c.name)
		}
		fmt.Fprintf(&b, "any one of these may be wrong: %s. Measure them again, or one distance more across the circle, so that the wrong one shows", strings.Join(names, ", "))
	}
	if slip != "" {
		b.WriteString(" (" + slip + ")")
	}
	return b.String()
}

// othersSay is what a suspected measurement should have been (mm), adjusted
// without it.
func (n *network) othersSay(c suspect) float64 {
	i := slices.IndexFunc(n.obs, func(o observation) bool { return o == c.observation })
	again := *n
	switch {
	case i < len(n.Between):
		again.Between = slices.Delete(slices.Clone(n.Between), i, i+1)
	case c.name == pcdName:
		again.PCD = 0
	default:
		again.Diameter = 0
	}
	if again.adjust(n.now()) != nil {
		return c.value - c.size
	}
	switch {
	case i < len(n.Between):
		d := n.Between[i]
		reach, _ := again.reach(d, again.d)
		return r2.Norm(r2.Sub(again.at[d.From-1], again.at[d.To-1])) + reach
	case c.name == pcdName:
		return 2 * again.now().radius
	}
	return again.d
}

// slip looks for a usual one that explains the contradiction: calipers read
// over the outside of the holes and given as centre to centre or the other way
// round, and two digits swapped. It names the measurement, by its index, where
// one slip of one measurement does, or else where one gap is the odd one out
// of gaps that are alike.
func (n *network) slip(suspects []suspect) (words string, at int) {
	type slip struct {
		at    int
		words string
		over  bool
	}
	var found []slip
	if len(suspects) > 20 {
		return "", -1
	}
	for k, c := range suspects {
		i := slices.IndexFunc(n.obs, func(o observation) bool { return o == c.observation })
		if i >= len(n.Between) {
			continue
		}
		d := n.Between[i]
		if n.Diameter > 0 || n.freeD {
			for _, other := range []Over{Centres, Outside, Inside} {
				// What it would have read, had it been taken the way it was given.
				instead := c.value + (d.sign()-Distance{Over: other}.sign())*n.d
				if other != d.Over && n.explains(c, i, instead) {
					found = append(found, slip{k, fmt.Sprintf("was it measured %s?", map[Over]string{
						Centres: "centre to centre", Outside: "over the outer edges", Inside: "between the inner edges"}[other]), true})
				}
			}
		}
		for _, swapped := range swaps(c.value) {
			if n.explains(c, i, swapped) {
				found = append(found, slip{k, fmt.Sprintf("were two of its digits swapped, %.6g for %.6g?", c.value, swapped), false})
			}
		}
	}
	odd := n.oddGap(suspects)
	mine := slices.DeleteFunc(slices.Clone(found), func(s slip) bool { return s.at != odd })
	switch {
	case len(found) == 1:
		return found[0].words, found[0].at
	case len(mine) == 1:
		return "it differs from the other gaps, which are alike; " + mine[0].words, odd
	case odd >= 0:
		return "it differs from the other gaps, which are alike", odd
	case len(found) > 1 && !slices.ContainsFunc(found, func(s slip) bool { return !s.over }):
		return fmt.Sprintf("the misfit is the %.4g mm of a hole: was one of them measured over the edges?", n.d), -1
	}
	return "", -1
}

// explains says whether all agree once the i-th distance reads instead.
func (n *network) explains(c suspect, i int, instead float64) bool {
	u := c.u / math.Sqrt(c.checked)
	change := c.value - instead
	if math.Abs(change) < 3.3*u || math.Abs(c.size-change) > 2.5*u+0.15*math.Abs(change) {
		return false
	}
	again := *n
	again.Between = slices.Clone(n.Between)
	again.Between[i].Value = instead
	if again.Between[i].Check() != nil || again.adjust(n.now()) != nil {
		return false
	}
	return again.misfits() >= poorP
}

// now is the wheel nearest to the adjusted holes.
func (n *network) now() wheel {
	w := wheel{d: n.d, gap: make([]float64, n.Holes)}
	fit, _ := pitchCircle(n.at)
	w.radius = fit.Radius
	for i, p := range n.at {
		a, b := r2.Sub(p, fit.Centre), r2.Sub(n.at[(i+1)%n.Holes], fit.Centre)
		w.gap[i] = math.Mod(math.Atan2(b.Y, b.X)-math.Atan2(a.Y, a.X)+4*math.Pi, 2*math.Pi)
	}
	return w
}

// oddGap is the index of the one suspected gap that is unlike all others
// measured, which are alike, three at least; −1 without one.
func (n *network) oddGap(suspects []suspect) int {
	var gaps []suspect
	for _, c := range suspects {
		i := slices.IndexFunc(n.obs, func(o observation) bool { return o == c.observation })
		if i < len(n.Between) && n.Between[i].neighbours(n.Holes) {
			gaps = append(gaps, c)
		}
	}
	if len(gaps) < 4 {
		return -1
	}
	values := make([]float64, len(gaps))
	for i, g := range gaps {
		values[i] = g.value
	}
	slices.Sort(values)
	middle := values[len(values)/2]
	odd := -1
	for _, g := range gaps {
		if math.Abs(g.value-middle) > 4*(g.u+n.OnCircleU) {
			if odd >= 0 {
				return -1
			}
			odd = slices.IndexFunc(suspects, func(c suspect) bool { return c == g })
		}
	}
	return odd
}

// swaps are the values with two neighbouring digits of v exchanged.
func swaps(v float64) []float64 {
	text := []byte(strconv.FormatFloat(v, 'f', -1, 64))
	var out []float64
	last := -1
	for i, c := range text {
		if c == '.' {
			continue
		}
		if last >= 0 && text[last] != c {
			s := slices.Clone(text)
			s[last], s[i] = s[i], s[last]
			if w, err := strconv.ParseFloat(string(s), 64); err == nil && w > 0 {
				out = append(out, w)
			}
		}
		last = i
	}
	return out
}
