package pattern

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// known is a length on the face that is known from elsewhere: a distance
// between two holes, or, with the zero Distance.From and To, the pitch
// circle's diameter.
type known struct {
	Distance
	assumed bool // nobody stated a ±
}

// known gathers the lengths that the pattern can be held against.
func (p *assembly) known() ([]known, error) {
	var out []known
	for _, d := range p.opts.Between {
		if err := d.Check(); err != nil {
			return nil, fmt.Errorf("the known distance %w", err)
		}
		k := known{Distance: d}
		if d.U == 0 {
			k.U, k.assumed = CaliperU95/coverage, true
		}
		if max(d.From, d.To) > p.holes {
			return nil, fmt.Errorf("the %s: there is no such hole, they are numbered 1 to %d counter-clockwise, hole 1 nearest to twelve o'clock; --overlay shows the numbers", k, p.holes)
		}
		out = append(out, k)
	}
	if p.opts.KnownPCD != 0 && p.hasCircle {
		out = append(out, known{Distance: Distance{Value: p.opts.KnownPCD, U: p.opts.KnownPCDU, Over: Centres}})
	}
	return out, nil
}

func (k known) isPCD() bool { return k.From == 0 }

// String names the length for a person.
func (k known) String() string {
	if k.isPCD() {
		return "known pitch circle"
	}
	s := "known distance " + k.Name()
	if k.Over != Centres {
		s += " " + string(k.Over)
	}
	return s
}

// side is how many mean diameters a length is longer than the distance
// between the centres.
func (k known) side() float64 {
	switch k.Over {
	case Outside:
		return 1
	case Inside:
		return -1
	}
	return 0
}

// onEdges says whether the length ends at edges of the holes themselves.
func (k known) onEdges() bool { return k.Over != Centres && k.Pins == [2]float64{} }

// pinned is the part of the length that no scale changes.
func (k known) pinned() float64 { return k.side() * (k.Pins[0] + k.Pins[1]) / 2 }

// of returns what the length is among the parts, of which the first are the
// holes, and its derivatives by x1, y1, x2, … of all parts and then all
// diameters.
func (k known) of(parts []part, holes int) (mm float64, by []partial, err error) {
	if k.isPCD() {
		return pitchDiameter(parts[:holes])
	}
	i, j := k.From-1, k.To-1
	v := r2.Sub(parts[j].Centre, parts[i].Centre)
	mm = r2.Norm(v)
	if mm == 0 {
		return 0, nil, fmt.Errorf("the %s: both holes have the same centre", k)
	}
	u := r2.Scale(1/mm, v)
	by = []partial{{2 * i, -u.X}, {2*i + 1, -u.Y}, {2 * j, u.X}, {2*j + 1, u.Y}}
	if !k.onEdges() {
		return mm + k.pinned(), by, nil
	}
	half, m := k.side()/2, len(parts)
	mm += half * (parts[i].Diameter + parts[j].Diameter)
	return mm, append(by, partial{2*m + i, half}, partial{2*m + j, half}), nil
}

// pitchDiameter is the diameter of the pitch circle of holes.
func pitchDiameter(holes []part) (mm float64, by []partial, err error) {
	c, err := pitchCircle(pitchCentres(holes))
	if err != nil {
		return 0, nil, err
	}
	jac, err := pitchCircleJacobian(c, holes)
	if err != nil {
		return 0, nil, err
	}
	for i := range 2 * len(holes) {
		by = append(by, partial{i, jac.At(2, i)})
	}
	return 2 * c.Radius, by, nil
}

// pitchCentres lists the centres of the holes that determine the pitch circle.
func pitchCentres(holes []part) []r2.Vec {
	var on []r2.Vec
	for _, h := range holes {
		if h.on {
			on = append(on, h.Centre)
		}
	}
	return on
}

// noise is the covariance of the errors of lengths, whose own uncertainties
// are widened so many times. What a rubbed diameter is wrong by is taken to
// be common to all holes: it lengthens what is measured outside and shortens
// what is measured inside, so that both together give the distance between
// centres whatever it is.
func (p *assembly) noise(lengths []known, widen float64) *mat.SymDense {
	edge := func(k known) float64 {
		if !k.onEdges() {
			return 0
		}
		return k.side() * p.opts.DiameterBiasU
	}
	cov := mat.NewSymDense(len(lengths), nil)
	for i, a := range lengths {
		for j := i; j < len(lengths); j++ {
			cov.SetSym(i, j, edge(a)*edge(lengths[j]))
		}
		u := math.Max(widen*a.U, exactU)
		cov.SetSym(i, i, cov.At(i, i)+u*u)
	}
	return cov
}

// exactU (mm) stands for no uncertainty at all: so that the same exact length
// may be given twice.
const exactU = 1e-7

// ErrNoScale says that the source has no scale and that no length gives one.
var ErrNoScale = errors.New("nothing gives the scale: a known pitch circle does so only where a pitch circle is found; measure the distance between two holes")
