package show

import (
	"bytes"
	"fmt"
	"io"

	"boltrose/pattern"
)

// MateAbout says in words what a mating is of.
type MateAbout struct {
	Face, Part   string
	Bolts, Holes string
	Floating     bool // the bolts have clearance in the face too
	Made         bool // the part exists
	Unit         Unit // of the lengths that are printed
}

var mateVerdicts = map[pattern.Fits]string{
	pattern.Proven:   "It goes on. Make it as given; try it in cardboard before you cut metal.",
	pattern.Refuted:  "It does not go on. Do not drill it like this: below is what would make it.",
	pattern.Unproven: "Not decided: it may go on, and it may not. Do not drill it yet: below is what would decide it.",
}

// mateMade are the same of a part that exists.
var mateMade = map[pattern.Fits]string{
	pattern.Proven:   "It goes on. Try it by hand, without force, before you rely on it.",
	pattern.Refuted:  "It does not go on. Below is what would make it.",
	pattern.Unproven: "Not decided: it may go on, and it may not. Try it on the face, without force; below is what would make it sure.",
}

// Mate prints whether a part goes on, the verdict first.
func Mate(w io.Writer, m *pattern.Mating, about MateAbout) error {
	var b bytes.Buffer
	u := about.Unit
	size := func(v float64) string { return decimal(v*u.perMM, u.decimals-1) }
	length := func(v float64) string { return size(v) + " " + u.Name }
	verdicts := mateVerdicts
	if about.Made {
		verdicts = mateMade
	}
	wrap(&b, "", verdicts[m.Fits])
	fmt.Fprintln(&b)
	wrap(&b, "Part       ", fmt.Sprintf("%s, %s, %s; onto the face of %s", about.Part, about.Bolts, about.Holes, Plain(about.Face)))
	wrap(&b, "Chance     ", fmt.Sprintf("%s that every bolt passes, ±%s %% for the %d draws", shareText(m.Probability), decimal(200*m.ProbabilityU, 2), m.Draws))
	wrap(&b, "Clearance  ", fmt.Sprintf("%s needed as measured, %s to be 99 %% sure; the holes give %s", length(m.ClearanceNeeded), length(m.ClearanceNeeded99), length(m.Clearance)))
	other := fmt.Sprintf("turned over, it would need %s as measured, and so would", length(m.OtherSide.ClearanceNeeded))
	if m.OtherSide.GoesOn {
		other += " go on"
	} else {
		other += " not go on"
	}
	wrap(&b, "Other side ", other)
	fmt.Fprintln(&b)

	var face, part, off, room, left []string
	for _, h := range m.Holes {
		face = append(face, fmt.Sprint(h.Face))
		part = append(part, fmt.Sprint(h.Part))
		off = append(off, size(h.Off))
		room = append(room, size(h.Room))
		left = append(left, size(h.Room-h.Off))
	}
	var tab Table
	tab.add("Face's hole", face)
	tab.add("Part's hole", part)
	tab.add("Off "+u.Name, right(off))
	tab.add("May be off "+u.Name, right(room))
	tab.add("Left "+u.Name, right(left))
	tab.write(&b)
	wrap(&b, "", "With the part lying where the worst hole is best off, both sides as measured. The part's holes are numbered in the order they were given.")
	if !m.AllOrders {
		wrap(&b, "Note: ", "the two patterns are unlike, or their holes close together: not every way of putting holes over holes was looked at, but those in order round the middle.")
	}

	if len(m.Suggestions) > 0 {
		fmt.Fprintln(&b, "\nWhat would make it go on, with the chance that it then does:")
		for _, s := range m.Suggestions {
			wrap(&b, "- ", s.Words(u.Size))
		}
	} else if m.Probability < 0.99 {
		fmt.Fprintln(&b)
		wrap(&b, "", "Nothing simple would make it 99 %: no holes up to twice the bolts, no single slot, no better measurement. Look whether this is the part, the side and the face that are meant; if so, lay the part out anew where the face's holes were measured (boltrose draw).")
	}
	if len(m.Warnings) > 0 {
		fmt.Fprintln(&b)
	}
	for _, warning := range m.Warnings {
		wrap(&b, "Warning: ", Plain(warning))
	}
	fmt.Fprintln(&b)
	wrap(&b, "", fmt.Sprintf("Decided as ISO 14253-1 does: it goes on where at least %.0f %% of what the uncertainties allow does, and does not where at most %.0f %% does; between, neither is claimed. %s Clearance is the hole's diameter less the bolt's.", 100*m.ProvenFrom, 100*m.RefutedTo, boltsStand(about.Floating)))
	fmt.Fprintln(&b)
	wrap(&b, "", Safety)
	_, err := w.Write(b.Bytes())
	return err
}

func boltsStand(floating bool) string {
	if floating {
		return "The bolts pass through clearance holes in both."
	}
	return "The bolts are taken to stand square in the face at the measured centres, as studs and screws in threads do; one that leans needs more."
}

// shareText prints a probability without claiming certainty.
func shareText(p float64) string {
	switch {
	case p > 0.9995:
		return "over 99.9 %"
	case p < 0.0005:
		return "under 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}
