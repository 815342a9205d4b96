package show

import (
	"fmt"
	"io"
	"strings"

	"boltrose/cmd/internal/read"
)

// ExplainScale says which way of getting scale was taken and why, and how well
// it fits: the residuals of what was fitted, and every known length beside
// what the picture and the others say of it.
func ExplainScale(w io.Writer, res *read.Result) error {
	if res.Scaling == nil {
		return nil
	}
	var b strings.Builder
	head := "Scale by " + Plain(res.Plane.Method)
	if res.Plane.Method == "" {
		head = "Scale"
	}
	wrap(&b, "", head+": "+Plain(res.Scaling.Why)+".")
	for _, n := range res.Scaling.Notes {
		wrap(&b, "  ", Plain(n)+".")
	}
	if res.Adjustment != nil {
		explainLengths(&b, res)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func explainLengths(b *strings.Builder, res *read.Result) {
	var names, off []string
	var known, adjusted, without []figure
	for _, l := range res.Adjustment.Lengths {
		names = append(names, l.Name)
		known = append(known, MM.figure(l.MM, 2*l.U))
		adjusted = append(adjusted, figure{value: decimal(l.Adjusted, MM.decimals)})
		if !l.Told {
			without = append(without, figure{value: "–"})
			off = append(off, "–")
			continue
		}
		without = append(without, MM.figure(l.Without, 2*l.WithoutU))
		off = append(off, fmt.Sprintf("%.1f", l.InSigmas))
	}
	var tab Table
	tab.add("Length", names)
	tab.add("Known mm", column(known))
	tab.add("Adjusted mm", column(adjusted))
	tab.add("Without it mm", column(without))
	tab.add("Off by σ", right(off))
	tab.write(b)
	wrap(b, "", "Without it: what the picture and the other lengths say of it. Off: how many standard uncertainties of the difference it is away from that; beyond 2 one in twenty is, by chance.")
}
