package pattern

import (
	"fmt"
	"math"
)

// Over says between what a distance of two holes was measured.
type Over string

const (
	Centres Over = "centres" // centre to centre
	Outside Over = "outside" // from far edge to far edge, or over two pins
	Inside  Over = "inside"  // from near edge to near edge, or between two pins
)

// CaliperU95 (mm) is what a distance taken with hand calipers may be wrong by
// when nobody says better: common practice. The calipers themselves are good
// to 0.02 or 0.03 mm; finding the widest place over pins, burrs and worn edges
// is not.
const CaliperU95 = 0.05

// Distance is one measured between two holes, in mm.
type Distance struct {
	From, To int // the holes' numbers
	Value    float64
	U        float64 // standard uncertainty: half of a stated ±; 0 where none was stated
	Over     Over

	// Pins are the diameters (mm) of the pins in the two holes, or of the
	// holes themselves; zero for centres, and where they are not known.
	Pins [2]float64
}

// Centre returns the distance from centre to centre. It fails where pins of
// unknown diameter are in the way, or where the pins leave nothing.
func (d Distance) Centre() (float64, error) {
	half := (d.Pins[0] + d.Pins[1]) / 2
	if d.Over != Centres && half == 0 {
		return 0, fmt.Errorf("%s was measured %s, which tells nothing without the diameter: say what pins or holes it was measured over", d.Name(), d.Over)
	}
	c := d.Value
	switch d.Over {
	case Outside:
		c -= half
	case Inside:
		c += half
	}
	if !(c > 0) {
		return 0, fmt.Errorf("%s: outside of %g mm there is no room for two pins of %g mm: give the diameter of one", d.Name(), d.Value, half)
	}
	return c, nil
}

// Name is how a distance is called in messages.
func (d Distance) Name() string { return fmt.Sprintf("%d-%d", d.From, d.To) }

// Check finds what no distance can be.
func (d Distance) Check() error {
	for _, v := range []float64{d.Value, d.U, d.Pins[0], d.Pins[1]} {
		if math.IsNaN(v) || v < 0 || v > maxMM {
			return fmt.Errorf("%s: %g mm is no measurement", d.Name(), v)
		}
	}
	switch {
	case d.From < 1 || d.To < 1 || d.From > MaxHoles || d.To > MaxHoles:
		return fmt.Errorf("%s: holes are numbered from 1 to %d", d.Name(), MaxHoles)
	case d.From == d.To:
		return fmt.Errorf("%s names the same hole twice", d.Name())
	case d.Value == 0:
		return fmt.Errorf("%s: two holes are not 0 mm apart", d.Name())
	case d.U >= d.Value/4:
		return fmt.Errorf("%s: ±%g on %g mm is no measurement", d.Name(), 2*d.U, d.Value)
	case d.Over != Centres && d.Over != Outside && d.Over != Inside:
		return fmt.Errorf("%s: a distance is measured between centres, outside or inside, not %.20q", d.Name(), d.Over)
	case d.Over == Centres && d.Pins != [2]float64{}:
		return fmt.Errorf("%s: the diameters of pins go with outside or inside", d.Name())
	case (d.Pins[0] == 0) != (d.Pins[1] == 0):
		return fmt.Errorf("%s: give the diameters of both pins, or one that both have", d.Name())
	}
	if d.Over == Outside && d.Pins[0] > 0 {
		_, err := d.Centre()
		return err
	}
	return nil
}
