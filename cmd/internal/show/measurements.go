package show

import (
	"bytes"
	"fmt"
	"io"

	"boltrose/pattern"
)

// Measurements prints what was measured by hand beside what all of it together
// says, and whether it agrees.
func Measurements(w io.Writer, s *pattern.Solution, unit Unit) error {
	var b bytes.Buffer
	var names, checked []string
	var given, adjusted, off []figure
	unchecked := false
	for _, c := range s.Checks {
		u95 := 2 * c.U
		names = append(names, c.Name)
		given = append(given, unit.figure(c.Measured, u95))
		adjusted = append(adjusted, figure{value: decimal(c.Adjusted*unit.perMM, unit.decimals)})
		off = append(off, figure{value: signed((c.Measured-c.Adjusted)*unit.perMM, unit.decimals)})
		if c.Checked == 0 {
			checked, unchecked = append(checked, "no"), true
		} else {
			checked = append(checked, fmt.Sprintf("%.0f %%", 100*c.Checked))
		}
	}
	var tab Table
	tab.add("Measured", names)
	tab.add("Given "+unit.Name, column(given))
	tab.add("Adjusted "+unit.Name, column(adjusted))
	tab.add("Off "+unit.Name, column(off))
	tab.add("Checked", right(checked))
	tab.write(&b)
	wrap(&b, "", "Checked: how much of a wrong measurement the others would show.")
	if unchecked && s.Spare > 0 {
		wrap(&b, "", "Nothing checks the ones with “no”: measure them twice.")
	}
	fmt.Fprintln(&b)
	if c := s.Closure; c != nil {
		closes := "so that they do not close"
		if c.Closes() {
			closes = "so that they close"
		}
		wrap(&b, "Closure ", fmt.Sprintf("with the pitch circle as given, the gaps add up to %s, %s.", c, closes))
	}
	switch {
	case s.Spare < 1 && s.Doubt == "":
		wrap(&b, "Check   ", "none: there are just as many measurements as are needed, so that a wrong one does not show. Measure one distance more.")
	case s.Doubt == "":
		wrap(&b, "Check   ", fmt.Sprintf("%s to spare, and all agree (%s).", plural(s.Spare, "measurement"), chiSquare(s.ChiSquare, s.Spare, s.P)))
	default:
		wrap(&b, "Check   ", fmt.Sprintf("they do not agree (%s): %s.", chiSquare(s.ChiSquare, s.Spare, s.P), s.Doubt))
	}
	for _, n := range s.Notes {
		wrap(&b, "Note    ", n)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// chiSquare is a test's outcome in brackets.
func chiSquare(sum float64, spare int, p float64) string {
	freedom := "1 degree of freedom"
	if spare > 1 {
		freedom = fmt.Sprintf("%d degrees of freedom", spare)
	}
	likely := fmt.Sprintf("p = %.2g", p)
	if p < 0.001 {
		likely = "p below 0.001"
	}
	return fmt.Sprintf("chi-square %.1f with %s, %s", sum, freedom, likely)
}

// signed is decimal with a plus before what is above zero.
func signed(v float64, d int) string {
	text := decimal(v, d)
	if v > 0 && decimal(0, d) != text {
		return "+" + text
	}
	return text
}
