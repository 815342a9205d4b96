package show

import (
	"bytes"
	"fmt"
	"io"

	"boltrose/pattern"
)

// Combination prints how the combined readings agree.
func Combination(w io.Writer, c *pattern.Combination, unit Unit) error {
	var b bytes.Buffer
	var names, turns, off, worst, p []string
	for _, part := range c.Parts {
		name := Plain(part.Name)
		if part.Outlier {
			name += " *"
		}
		names = append(names, name)
		turn := decimal(part.TurnDeg, 1)
		if part.Mirrored {
			turn += ", over"
		}
		turns = append(turns, turn)
		off = append(off, decimal(part.RMS*unit.perMM, unit.decimals))
		worst = append(worst, fmt.Sprintf("%s at hole %d", decimal(part.WorstMM*unit.perMM, unit.decimals), part.Worst))
		switch {
		case part.P < 0:
			p = append(p, "–")
		case part.P < 0.001:
			p = append(p, "below 0.001")
		default:
			p = append(p, fmt.Sprintf("%.2g", part.P))
		}
	}
	var tab Table
	tab.add("Off "+unit.Name, column(values(off)))
	tab.add("Most", worst)
	tab.add("Turned °", right(turns))
	tab.add("Agrees, p", p)
	tab.add("Reading", names)
	tab.write(&b)
	wrap(&b, "", "Off: how far its holes lie from the combined ones (rms), the papers laid on one another. Turned: against the first one's paper.")
	fmt.Fprintln(&b)
	if c.RepeatMM > 0 {
		line := fmt.Sprintf("a hole's x or y differs by %s %s from one rubbing to the next (standard deviation, less what the scale is wrong by)", decimal(c.RepeatMM*unit.perMM, unit.decimals), unit.Name)
		if c.RepeatDeg > 0 {
			line += fmt.Sprintf(", its direction by %s°", decimal(c.RepeatDeg, 3))
		}
		wrap(&b, "Repeats ", line+".")
	}
	test := chiSquare(c.ChiSquare, c.Spare, c.P)
	if c.Doubt == "" {
		wrap(&b, "Check   ", fmt.Sprintf("the readings agree within their ± (%s).", test))
	} else {
		wrap(&b, "Check   ", fmt.Sprintf("they do not agree within their ± (%s): %s.", test, Plain(c.Doubt)))
	}
	for _, n := range c.Notes {
		wrap(&b, "Note    ", Plain(n))
	}
	_, err := w.Write(b.Bytes())
	return err
}

func values(texts []string) []figure {
	out := make([]figure, len(texts))
	for i, t := range texts {
		out[i] = figure{value: t}
	}
	return out
}
