package pattern

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// wheel is a pattern whose holes lie exactly on a circle: where an adjustment
// starts. gap[i] (radians) lies between hole i+1 and the next; all are
// positive and add up to a full turn.
type wheel struct {
	radius, d float64
	gap       []float64
	cost      float64 // squared residuals in units of their uncertainties
}

// arc is the angle from hole a counter-clockwise to hole b (numbers from 1).
func (r wheel) arc(a, b int) float64 {
	sum := 0.0
	for i := a - 1; i != b-1; i = (i + 1) % len(r.gap) {
		sum += r.gap[i]
	}
	return sum
}

func (r wheel) chord(a, b int) float64 { return 2 * r.radius * math.Sin(r.arc(a, b)/2) }

// widest is the widest gap (radians).
func (r wheel) widest() float64 { return slices.Max(r.gap) }

// starts fits wheels to the measurements from many places, since chords do not
// tell an arc from the rest of its circle, and returns the best, followed by
// the others that fit as well and are not the same.
func (n *network) starts() (best wheel, others []wheel) {
	if n.Holes == 2 { // opposite each other, whatever is measured
		return wheel{radius: n.anyLength() / 2, d: math.Max(n.Diameter, n.anyLength()/5), gap: []float64{math.Pi, math.Pi}}, nil
	}
	var found []wheel
	for _, s := range n.places() {
		found = append(found, n.descend(s))
	}
	// A gap of more than half a turn is rare; where the measurements do not
	// ask for one, none is taken.
	slices.SortStableFunc(found, func(a, b wheel) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})
	limit := found[0].cost + nearlyAsGood
	for _, r := range found {
		if r.cost <= limit && (best.gap == nil || n.wide(r) < n.wide(best)) {
			best = r
		}
	}
	rarer := false
	for _, r := range found {
		switch {
		case r.cost > limit || r.same(best) || slices.ContainsFunc(others, r.same):
		case n.wide(r) > n.wide(best):
			rarer = true
		default:
			others = append(others, r)
		}
	}
	if rarer {
		n.notes = append(n.notes, "A pattern with a gap of more than half a turn would fit these measurements too; it was not taken.")
	}
	return best, others
}

// wide says how rare a pattern is for its gaps: 0 where none is more than half
// a turn, 1 where one is that nobody measured, 2 where one is whose chord was.
func (n *network) wide(r wheel) int {
	if r.widest() <= math.Pi {
		return 0
	}
	for _, d := range n.Between {
		if d.neighbours(n.Holes) && r.gap[d.firstOf(n.Holes)-1] > math.Pi {
			return 2
		}
	}
	return 1
}

func (n *network) anyLength() float64 {
	if n.PCD > 0 {
		return n.PCD
	}
	for _, d := range n.Between {
		return d.Value
	}
	return 1
}

// neighbours says whether the distance is that of two neighbours out of n
// holes, and firstOf which of them comes first, counter-clockwise.
func (d Distance) neighbours(n int) bool { return d.From%n+1 == d.To || d.To%n+1 == d.From }

func (d Distance) firstOf(n int) int {
	if d.From%n+1 == d.To {
		return d.From
	}
	return d.To
}

// nearlyAsGood is a difference of costs that measurements cannot decide.
var nearlyAsGood = distuv.ChiSquared{K: 1}.Quantile(0.999)

// same says whether two descents ended at the same place.
func (r wheel) same(o wheel) bool {
	if math.Abs(r.radius/o.radius-1) > 0.02 {
		return false
	}
	for i := range r.gap {
		if math.Abs(r.gap[i]-o.gap[i]) > 2*degree {
			return false
		}
	}
	return true
}

// places are where to start from: evenly spaced, as the chords of neighbours
// say, with one wide gap, and at random (always the same).
func (n *network) places() []wheel {
	var long, around float64
	for _, d := range n.Between {
		long = math.Max(long, d.Value)
		if d.neighbours(n.Holes) {
			around += d.Value
		}
	}
	sizes := []float64{n.PCD / 2}
	if n.PCD == 0 {
		if long == 0 {
			long = 100
		}
		sizes = []float64{math.Max(long/2, around/(2*math.Pi)), 1.3 * long}
	}
	var out []wheel
	add := func(radius float64, gap []float64) {
		sum := 0.0
		for _, g := range gap {
			sum += g
		}
		r := wheel{radius: radius, d: n.Diameter, gap: gap}
		if r.d == 0 {
			r.d = radius / 5
		}
		for i := range gap {
			gap[i] *= 2 * math.Pi / sum
		}
		out = append(out, r)
	}
	even := func() []float64 {
		g := make([]float64, n.Holes)
		for i := range g {
			g[i] = 2 * math.Pi / float64(n.Holes)
		}
		return g
	}
	random := rand.New(rand.NewPCG(uint64(n.Holes), 360))
	for k, radius := range sizes {
		add(radius, even())
		if n.Even {
			continue
		}
		add(radius, n.gapsAt(radius))
		for i := range min(n.Holes, 12) {
			if k > 0 {
				break
			}
			g := even()
			g[i] = 1.3 * math.Pi
			for k := range g {
				if k != i {
					g[k] = 0.7 * math.Pi / float64(n.Holes-1)
				}
			}
			add(radius, g)
		}
		for range max(3, 10/(1+n.Holes/16)) {
			g := even()
			for i := range g {
				g[i] *= math.Exp(random.NormFloat64())
			}
			add(radius, g)
		}
	}
	return out
}

// gapsAt takes each gap from the chord of its neighbours, and shares what is
// left among those that were not measured.
func (n *network) gapsAt(radius float64) []float64 {
	gap := make([]float64, n.Holes)
	left, unknown := 2*math.Pi, n.Holes
	for _, d := range n.Between {
		if !d.neighbours(n.Holes) {
			continue
		}
		from := d.firstOf(n.Holes)
		if gap[from-1] == 0 {
			c := d.Value - d.sign()*(d.Pins[0]+d.Pins[1])/2
			gap[from-1] = math.Max(2*math.Asin(math.Min(math.Max(c, 0)/(2*radius), 1)), 0.01)
			left -= gap[from-1]
			unknown--
		}
	}
	for i := range gap {
		if gap[i] == 0 {
			gap[i] = math.Max(left/float64(unknown), 0.05)
		}
	}
	return gap
}

// descend fits a wheel by the method of Levenberg and Marquardt. Its
// parameters are the logarithms of the radius and of the holes' diameter and
// those of the gaps' proportions, so that no step leaves what is possible;
// weak pulls towards the start and towards even gaps keep what is not measured
// from drifting.
func (n *network) descend(s wheel) wheel {
	p := make([]float64, n.Holes+2)
	p[0], p[1] = math.Log(s.radius), math.Log(s.d)
	for i, g := range s.gap {
		p[2+i] = math.Log(g)
	}
	first := [2]float64{p[0], p[1]}
	now := n.wheelAt(p)
	residuals, jac := n.misfit(p, first)
	cost := squaredNorm(residuals)
	damp := 1e-3
	for range 200 {
		var normal mat.SymDense
		var pull mat.VecDense
		normal.SymOuterK(1, jac.T())
		pull.MulVec(jac.T(), mat.NewVecDense(len(residuals), residuals))
		moved := false
		for ; damp < 1e12; damp *= 10 {
			damped := mat.NewSymDense(len(p), nil)
			damped.CopySym(&normal)
			for i := range p {
				damped.SetSym(i, i, normal.At(i, i)*(1+damp)+1e-12)
			}
			var chol mat.Cholesky
			var step mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&step, &pull) != nil {
				continue
			}
			q := slices.Clone(p)
			for i := range q {
				q[i] -= math.Max(-2, math.Min(step.AtVec(i), 2))
			}
			r, j := n.misfit(q, first)
			if c := squaredNorm(r); c < cost {
				moved = cost-c > 1e-10*cost+1e-14
				p, residuals, jac, cost = q, r, j, c
				damp = math.Max(damp/30, 1e-12)
				break
			}
		}
		if !moved {
			break
		}
	}
	now = n.wheelAt(p)
	now.cost = squaredNorm(residuals[:len(n.Between)+2])
	return now
}

func squaredNorm(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return sum
}

func (n *network) wheelAt(p []float64) wheel {
	r := wheel{radius: math.Exp(p[0]), d: math.Exp(p[1]), gap: make([]float64, n.Holes)}
	top := slices.Max(p[2:])
	sum := 0.0
	for i := range r.gap {
		r.gap[i] = math.Exp(p[2+i] - top)
		sum += r.gap[i]
	}
	for i := range r.gap {
		r.gap[i] *= 2 * math.Pi / sum
	}
	return r
}

// weak is the weight of the pulls, next to nothing beside a measurement.
const weak = 1e-3

// misfit returns the residuals at the parameters p and their derivatives: of
// the distances, the pitch circle's diameter, the holes' diameter, and then of
// the pulls.
func (n *network) misfit(p []float64, first [2]float64) ([]float64, *mat.Dense) {
	r := n.wheelAt(p)
	m := len(n.Between)
	out := make([]float64, m+4+n.Holes)
	jac := mat.NewDense(len(out), len(p), nil)
	for k, d := range n.Between {
		u := math.Hypot(d.U, n.OnCircleU)
		arc := r.arc(d.From, d.To)
		chord := 2 * r.radius * math.Sin(arc/2)
		reach, byD := n.reach(d, r.d)
		out[k] = (chord + reach - d.Value) / u
		jac.Set(k, 0, chord/u)
		jac.Set(k, 1, byD*r.d/u)
		bend := r.radius * math.Cos(arc/2) / u
		for i, g := range r.gap {
			jac.Set(k, 2+i, -bend*g*arc/(2*math.Pi))
		}
		for i := d.From - 1; i != d.To-1; i = (i + 1) % n.Holes {
			jac.Set(k, 2+i, jac.At(k, 2+i)+bend*r.gap[i])
		}
	}
	if n.PCD > 0 {
		u := math.Hypot(n.PCDU, n.OnCircleU)
		out[m] = (2*r.radius - n.PCD) / u
		jac.Set(m, 0, 2*r.radius/u)
	}
	if n.Diameter > 0 {
		out[m+1] = (r.d - n.Diameter) / n.DiameterU
		jac.Set(m+1, 1, r.d/n.DiameterU)
	}
	for i := range 2 {
		out[m+2+i] = weak * (p[i] - first[i])
		jac.Set(m+2+i, i, weak)
	}
	together := weak
	if n.Even {
		together = 1e4
	}
	mean := 0.0
	for _, t := range p[2:] {
		mean += t / float64(n.Holes)
	}
	for i := range n.Holes {
		out[m+4+i] = together * (p[2+i] - mean)
		for j := range n.Holes {
			jac.Set(m+4+i, 2+j, -together/float64(n.Holes))
		}
		jac.Set(m+4+i, 2+i, together*(1-1/float64(n.Holes)))
	}
	return out, jac
}

// reach is what the pins or holes of the diameter d add to the distance of
// the centres, and its derivative by d.
func (n *network) reach(d Distance, hole float64) (mm, byD float64) {
	if d.overHoles() {
		return d.sign() * hole, d.sign()
	}
	return d.sign() * (d.Pins[0] + d.Pins[1]) / 2, 0
}

// unambiguous refuses measurements that two patterns fit, and says which one
// more would tell them apart.
func (n *network) unambiguous(best wheel, others []wheel) error {
	if len(others) == 0 {
		return nil
	}
	o := others[0]
	var from, to int
	apart := 0.0
	for a := 1; a <= n.Holes; a++ {
		for b := a + 1; b <= n.Holes; b++ {
			if d := math.Abs(best.chord(a, b) - o.chord(a, b)); d > apart {
				from, to, apart = a, b, d
			}
		}
	}
	if from == 0 {
		return nil
	}
	return fmt.Errorf("%w: two patterns fit them, one with gaps of %s° and PCD %.4g mm, the other with gaps of %s° and PCD %.4g mm. Measure %d-%d as well: it is %.4g mm in the one and %.4g mm in the other",
		ErrUndetermined, best.gapList(), 2*best.radius, o.gapList(), 2*o.radius, from, to, best.chord(from, to), o.chord(from, to))
}

func (r wheel) gapList() string {
	s := ""
	for i, g := range r.gap {
		if i > 0 {
			s += ", "
		}
		if i == 12 {
			return s + "…"
		}
		s += fmt.Sprintf("%.0f", g/degree)
	}
	return s
}
