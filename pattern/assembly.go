package pattern

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// part is a ring with its place in the pattern.
type part struct {
	Ring
	on    bool // takes part in the pitch circle
	outer int  // index of its chamfer among the parts, −1 without one
}

// assembly is a pattern while it is computed. Its parts are the holes, in
// the reading's order once number has run, then chamfers, bore and rim.
type assembly struct {
	opts      Options
	parts     []part
	holes     int
	bore, rim int // indices into parts, −1 without one

	// In the source's coordinates, adjusted to the known lengths: the origin,
	// the pitch circle, whose diameter has the standard uncertainty fittedU,
	// and the covariance of x1, y1, x2, … of all parts and then of all
	// diameters.
	hasCircle bool
	origin    r2.Vec
	fitted    circle.Circle
	fittedU   float64
	joint     *mat.SymDense

	originPx r2.Vec      // where the origin is in the picture
	adjusted *Adjustment // nil without known lengths
	notes    []string    // what there is to say of them

	// For the budget: how the coordinates move with the shared errors, and
	// the adjustment to known lengths with the covariance of their errors.
	shared     *mat.Dense
	given      *conditioned
	givenNoise *mat.SymDense

	// In the reading's coordinates: the centres and diameters of the parts
	// and the covariance of x1, y1, x2, … of all parts and then of all
	// diameters.
	at  []r2.Vec
	d   []float64
	cov *mat.SymDense
}

// gather takes the rings of the choice and refuses what cannot be computed
// with.
func gather(rings []Ring, choice Choice) (*assembly, error) {
	switch n := len(choice.Holes); {
	case n == 0:
		return nil, errors.New("no holes were found")
	case n > MaxHoles:
		return nil, fmt.Errorf("%d holes are more than the %d that a reading holds: take fewer, by size for instance", n, MaxHoles)
	}
	p := &assembly{holes: len(choice.Holes), bore: -1, rim: -1, hasCircle: choice.Circle}
	seen := map[int]bool{}
	take := func(i int) error {
		if i < 0 || i >= len(rings) {
			return fmt.Errorf("there is no ring %d among the %d", i, len(rings))
		}
		if seen[i] {
			return fmt.Errorf("ring %d is taken twice", rings[i].ID)
		}
		seen[i] = true
		if err := rings[i].check(len(rings[choice.Holes[0]].Shared)); err != nil {
			return fmt.Errorf("ring %d: %w", rings[i].ID, err)
		}
		p.parts = append(p.parts, part{Ring: rings[i], outer: -1})
		return nil
	}
	for _, i := range choice.Holes {
		if err := take(i); err != nil {
			return nil, err
		}
		hole := &p.parts[len(p.parts)-1]
		hole.doubt(choice.Doubt[i])
		hole.on = choice.Circle && !slices.Contains(choice.OffCircle, i)
	}
	for k, i := range choice.Holes {
		if outer, ok := choice.Outer[i]; ok {
			if err := take(outer); err != nil {
				return nil, err
			}
			p.parts[k].outer = len(p.parts) - 1
		}
	}
	for _, f := range []struct {
		ring  int
		index *int
	}{{choice.Bore, &p.bore}, {choice.Rim, &p.rim}} {
		if f.ring >= 0 {
			if err := take(f.ring); err != nil {
				return nil, err
			}
			*f.index = len(p.parts) - 1
			p.parts[*f.index].doubt(choice.Doubt[f.ring])
		}
	}
	return p, nil
}

// doubt adds a covariance to that of the ring's centre.
func (r *Ring) doubt(more [2][2]float64) {
	for a, row := range more {
		for b, v := range row {
			r.CentreCov[a][b] += v
		}
	}
}

// check finds what no propagation can work on.
func (r Ring) check(terms int) error {
	numbers := []float64{r.Centre.X, r.Centre.Y, r.Diameter, r.DiameterU,
		r.CentreCov[0][0], r.CentreCov[0][1], r.CentreCov[1][0], r.CentreCov[1][1],
		r.CentrePx.X, r.CentrePx.Y, r.RimSeen}
	for _, v := range r.Shared {
		numbers = append(numbers, v.X, v.Y)
	}
	numbers = append(numbers, r.SharedDiameter...)
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > maxMM {
			return fmt.Errorf("a value of %g is no measurement", v)
		}
	}
	c := r.CentreCov
	switch {
	case r.Diameter <= 0:
		return errors.New("its diameter is not positive")
	case c[0][0] < 0, c[1][1] < 0, r.DiameterU < 0,
		c[0][0]*c[1][1] < c[0][1]*c[1][0]*(1-1e-9),
		math.Abs(c[0][1]-c[1][0]) > 1e-9*(c[0][0]+c[1][1]):
		return errors.New("its covariance is none")
	case len(r.Shared) != terms, len(r.SharedDiameter) != terms:
		return fmt.Errorf("it has %d and %d shared terms where the first hole has %d", len(r.Shared), len(r.SharedDiameter), terms)
	}
	return nil
}

// locate finds the origin: the pitch circle's centre or the centroid.
func (p *assembly) locate() error {
	if p.hasCircle {
		c, err := pitchCircle(pitchCentres(p.parts[:p.holes]))
		p.fitted, p.origin = c, c.Centre
		return err
	}
	p.origin = centroid(p.parts[:p.holes])
	return nil
}

// sameDirection is the angle (rad) below which rounding alone tells two
// directions apart.
const sameDirection = 1e-9

// number sorts the holes counter-clockwise from the one nearest to twelve
// o'clock. With a pitch circle that one is on it. Of two equally near, the
// one to the right is first.
func (p *assembly) number() {
	holes := p.parts[:p.holes]
	fromTwelve := func(h part) float64 { // (−π, π], positive to the left
		v := r2.Sub(h.Centre, p.origin)
		return math.Atan2(-v.X, v.Y)
	}
	first := math.Inf(1)
	for _, h := range holes {
		a := fromTwelve(h)
		nearer := math.Abs(first) - math.Abs(a)
		if h.on == p.hasCircle && (nearer > sameDirection || nearer > -sameDirection && a < first) {
			first = a
		}
	}
	turn := func(h part) float64 {
		return math.Floor(math.Mod(fromTwelve(h)-first+sameDirection/2+4*math.Pi, 2*math.Pi) / sameDirection)
	}
	radius := func(h part) float64 { return r2.Norm(r2.Sub(h.Centre, p.origin)) }
	slices.SortStableFunc(holes, func(a, b part) int {
		if turn(a) == turn(b) && a.on != b.on {
			if a.on {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(turn(a), turn(b)), cmp.Compare(radius(a), radius(b)), cmp.Compare(a.ID, b.ID))
	})
}
