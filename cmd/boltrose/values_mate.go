package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"boltrose/pattern/thread"
)

// millimetres reads a length in mm, or in inches with in behind it.
func millimetres(s string) (float64, error) {
	digits, inch := strings.CutSuffix(strings.ToLower(strings.TrimSpace(s)), "in")
	v, err := number(strings.TrimSuffix(digits, "mm"))
	if inch {
		v *= 25.4
	}
	if err != nil || !(v > 0 && v <= 1e6) {
		return 0, errors.New("give a length above zero in mm as 9, or in inches as 0.344in")
	}
	return v, nil
}

func mmValue(to *float64) value {
	return value{"mm", func(s string) (err error) {
		*to, err = millimetres(s)
		return err
	}}
}

// mmListValue is one length, or one for each hole.
func mmListValue(to *[]float64) value {
	return value{"mm", func(s string) error {
		*to = nil
		for _, p := range strings.Split(s, ",") {
			v, err := millimetres(p)
			if err != nil {
				return err
			}
			*to = append(*to, v)
		}
		return nil
	}}
}

func anglesValue(to *[]float64) value {
	return value{"degrees", func(s string) error {
		*to = nil
		for _, p := range strings.Split(s, ",") {
			v, err := number(strings.TrimSuffix(strings.TrimSpace(p), "°"))
			if err != nil || math.Abs(v) > 360 {
				return errors.New("give the angle of each hole in degrees, counter-clockwise, as 0,58,120,180,240,300")
			}
			for k, before := range *to {
				if math.Abs(math.Remainder(v-before, 360)) < 1e-6 {
					return fmt.Errorf("holes %d and %d are both at %g°", k+1, len(*to)+1, v)
				}
			}
			*to = append(*to, v)
		}
		if len(*to) < 2 {
			return errors.New("give the angle of every hole, as 0,58,120,180,240,300")
		}
		return nil
	}}
}

// turnsValue is how far each of several papers was turned.
func turnsValue(to *[]float64) value {
	return value{"degrees", func(s string) error {
		*to = nil
		for _, p := range strings.Split(s, ",") {
			v, err := number(strings.TrimSuffix(strings.TrimSpace(p), "°"))
			if err != nil || math.Abs(v) > 360 {
				return errors.New("say how far each paper lay turned on the scanner, counter-clockwise in degrees, as 0,90,180")
			}
			*to = append(*to, v)
		}
		return nil
	}}
}

// boltsValue is one bolt size, or one for each hole: a name that a table of
// clearance holes has, a diameter, or the file of boltrose thread --json.
func boltsValue(to *[]bolt) value {
	return value{"size", func(s string) error {
		*to = nil
		for _, p := range strings.Split(s, ",") {
			b, err := parseBolt(p)
			if err != nil {
				return err
			}
			*to = append(*to, b)
		}
		return nil
	}}
}

func parseBolt(s string) (bolt, error) {
	if strings.HasSuffix(strings.ToLower(s), ".json") {
		return boltOfThread(s)
	}
	if d, err := millimetres(s); err == nil {
		return bolt{name: short(d) + " mm", diameter: d}.tabulated(), nil
	}
	c, err := thread.ClearanceOf(s)
	if err != nil {
		return bolt{}, fmt.Errorf("%w; or give the diameter in mm as 8, or in inches as 0.25in", err)
	}
	name := c.Size
	if !strings.HasPrefix(name, "M") {
		name += " inch"
	}
	return bolt{name: name, diameter: c.Diameter, table: &c}, nil
}

// tabulated finds the table's row of a bolt given by its diameter.
func (b bolt) tabulated() bolt {
	for _, c := range thread.Clearances() {
		if math.Abs(c.Diameter-b.diameter) < 1e-6 {
			b.table = &c
			break
		}
	}
	return b
}
