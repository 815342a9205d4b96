package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"boltrose/pattern"
)

// plusMinus cuts a number from the ± behind it, which may be typed in ASCII.
func plusMinus(s string) (size, pm string, found bool) {
	for _, sign := range []string{"±", "+-", "+/-"} {
		if size, pm, found = strings.Cut(s, sign); found {
			return size, pm, true
		}
	}
	return s, "", false
}

// parseDistance reads A-B=VALUE[±U][,outside|inside[,D[,D]]]: the distance of
// two holes, centre to centre or over pins or holes of the diameter D (or of
// two). A stated ± is an expanded uncertainty (k = 2). Without one the
// distance's U is 0, and without D its Pins are.
func parseDistance(s string) (pattern.Distance, error) {
	form := fmt.Errorf("%q is no distance: give two holes and how far apart they are as 1-2=48.3±0.05 (or +-), over pins of 8 mm as 1-2=56.3±0.05,outside,8", s)
	holes, rest, ok := strings.Cut(s, "=")
	from, to, ok2 := strings.Cut(holes, "-")
	if !ok || !ok2 {
		return pattern.Distance{}, form
	}
	d := pattern.Distance{Over: pattern.Centres}
	var err1, err2 error
	d.From, err1 = strconv.Atoi(strings.TrimSpace(from))
	d.To, err2 = strconv.Atoi(strings.TrimSpace(to))
	if err1 != nil || err2 != nil {
		return pattern.Distance{}, form
	}
	parts := strings.Split(rest, ",")
	size, pm, stated := plusMinus(parts[0])
	if d.Value, err1 = number(size); err1 != nil {
		return pattern.Distance{}, form
	}
	if stated {
		if d.U, err1 = number(pm); err1 != nil || d.U <= 0 {
			return pattern.Distance{}, fmt.Errorf("%q: give what the distance may be wrong by, above zero, behind the ±", s)
		}
		d.U /= 2
	}
	if len(parts) > 1 {
		switch word := strings.TrimSpace(parts[1]); word {
		case "outside":
			d.Over = pattern.Outside
		case "inside":
			d.Over = pattern.Inside
		default:
			return pattern.Distance{}, fmt.Errorf("%q: a distance is outside or inside, or between centres when nothing is said, not %q (write a decimal point, not a comma)", s, word)
		}
	}
	switch pins := parts[min(2, len(parts)):]; len(pins) {
	case 0:
	case 1, 2:
		for i, p := range pins {
			if d.Pins[i], err1 = number(p); err1 != nil || d.Pins[i] <= 0 {
				return pattern.Distance{}, fmt.Errorf("%q: %q is no diameter of a pin or hole", s, p)
			}
		}
		if len(pins) == 1 {
			d.Pins[1] = d.Pins[0]
		}
	default:
		return pattern.Distance{}, form
	}
	if err := d.Check(); err != nil {
		return pattern.Distance{}, err
	}
	return d, nil
}

// distancesValue is a flag that may be repeated.
func distancesValue(to *[]pattern.Distance) value {
	return value{"distance", func(s string) error {
		if strings.TrimSpace(s) == "" {
			return errors.New("give two holes and their distance, as 1-2=48.3±0.05")
		}
		d, err := parseDistance(s)
		if err == nil {
			*to = append(*to, d)
		}
		return err
	}}
}

// sizeValue is a diameter with or without a ±.
func sizeValue(to, u95 *float64) value {
	return value{"mm", func(s string) error {
		size, pm, stated := plusMinus(s)
		v, err := number(size)
		u := 0.0
		if err == nil && stated {
			u, err = number(pm)
		}
		if err != nil || v <= 0 || u < 0 || u >= v {
			return errors.New("give the diameter as 9, or with what it may be wrong by as 9±0.1 or 9+-0.1")
		}
		*to, *u95 = v, u
		return nil
	}}
}

// lengthValue is a length above zero.
func lengthValue(to *float64) value {
	return value{"mm", func(s string) error {
		v, err := number(s)
		if err != nil || v <= 0 {
			return errors.New("give a length above zero, as 0.1")
		}
		*to = v
		return nil
	}}
}
