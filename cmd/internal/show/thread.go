package show

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"boltrose/pattern/thread"
)

// side is how many candidates stand side by side: more do not fit a screen.
const side = 3

// Thread prints what thread it may be, the verdict first. all lists more of
// the threads that are out.
func Thread(w io.Writer, r *thread.Result, all bool) error {
	var b bytes.Buffer
	name := "By hand"
	if r.Source != nil {
		name = r.Source.File
	}
	wrap(&b, "", Plain(fmt.Sprintf("%s: %s", name, threadVerdict(r))))
	fmt.Fprintln(&b)
	wrap(&b, "Measured  ", threadMeasured(r.Measured))
	if r.Source != nil {
		wrap(&b, "          ", fmt.Sprintf("over %s of the thread", plural(r.Source.Turns, "turn")))
		wrap(&b, "Scale     ", Plain(r.Source.Scale))
	}
	if n := min(len(r.Candidates), side); n > 0 {
		fmt.Fprintln(&b)
		threadTable(r.Candidates[:n]).write(&b)
		notes := "Diameters in mm, of bolts and holes as the class allows them. Tap drill: the drill, and how much of the full thread it leaves."
		if n < len(r.Candidates) {
			var more []string
			for _, c := range r.Candidates[n:] {
				more = append(more, c.Designation)
			}
			notes += fmt.Sprintf(" It may also be %s.", joined(more, 12))
		}
		wrap(&b, "", notes)
		fmt.Fprintln(&b, "\nChase it with:")
		for _, c := range r.Candidates[:n] {
			wrap(&b, "- ", c.Chase+".")
		}
		if said := recalled(r.Candidates[:n]); said != "" {
			fmt.Fprintln(&b)
			wrap(&b, "", said)
		}
	}
	if len(r.Decides) > 0 {
		fmt.Fprintln(&b, "\nWhat decides:")
		for _, d := range r.Decides {
			wrap(&b, "- ", fmt.Sprintf("%s or %s: %s.", d.Between[0], d.Between[1], d.By))
		}
		wrap(&b, "", "Turns are reckoned for clean threads turned by hand, both in the middle of their tolerances; at most, both as slack as those allow.")
	}
	if missing := threadMissing(r); missing != "" {
		fmt.Fprintln(&b)
		wrap(&b, "", missing)
	}
	if n := len(r.Out); n > 0 {
		if !all {
			n = min(n, 4)
		}
		fmt.Fprintln(&b, "\nOut, the nearest first:")
		for _, o := range r.Out[:n] {
			wrap(&b, "- ", fmt.Sprintf("%s: %s", o.Designation, o.Why))
		}
	}
	if len(r.Warnings) > 0 {
		fmt.Fprintln(&b)
	}
	for _, warning := range r.Warnings {
		wrap(&b, "Warning: ", Plain(warning))
	}
	fmt.Fprintln(&b)
	wrap(&b, "", "A worn bolt measures small, a worn hole large and a strained bolt long: that much is allowed. "+ThreadCautions)
	_, err := w.Write(b.Bytes())
	return err
}

// ThreadCautions is what everyone who names a thread for a part must be told.
const ThreadCautions = "Threads of pressure parts, lifting gear and whatever lives depend on are not for guessing: have them gauged. Standards that nearly fit strip or fail when they are mixed: stop when a nut gets stiff after some turns. Local codes and a licensed practice decide."

// threadVerdict says in one sentence what it is.
func threadVerdict(r *thread.Result) string {
	switch {
	case len(r.Candidates) == 0:
		return "no thread of the tables is like that; it may be of another standard, have two starts, or be measured wrong"
	case len(r.Ambiguous) > 0:
		return fmt.Sprintf("%s; these measurements cannot tell them apart", joined(r.Ambiguous[0], 6))
	}
	return r.Candidates[0].Designation
}

// threadMissing says what to measure where many threads are left.
func threadMissing(r *thread.Result) string {
	if len(r.Candidates) < 4 {
		return ""
	}
	m := r.Measured
	switch {
	case m.Pitch == nil:
		return "Hold a pitch gauge against it and give --pitch or --tpi: that leaves few."
	case m.Major == nil && m.Minor == nil:
		return "Measure over the bolt's crests (--major) or between the hole's (--minor): that leaves few."
	}
	return ""
}

// joined lists names with commas, and the last with or.
func joined(names []string, most int) string {
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" or one of %d more", len(names)-most)
	}
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

func threadMeasured(m thread.ResultMeasured) string {
	var all []string
	mm := func(name string, v, u *float64) {
		if v != nil {
			all = append(all, fmt.Sprintf("%s %s mm", name, MM.figure(*v, *u)))
		}
	}
	if m.Pitch != nil {
		all = append(all, fmt.Sprintf("pitch %s mm (%s threads per inch)", measured(*m.Pitch, *m.PitchU95, 4), measured(25.4 / *m.Pitch, 25.4 / *m.Pitch * *m.PitchU95 / *m.Pitch, 3)))
	}
	mm("major diameter", m.Major, m.MajorU95)
	mm("minor diameter of the hole", m.Minor, m.MinorU95)
	if m.Flank != nil {
		all = append(all, fmt.Sprintf("%s° between the flanks", measured(*m.Flank, *m.FlankU95, 1)))
	}
	return strings.Join(all, ", ")
}

// threadTable has a column for each candidate.
func threadTable(candidates []thread.ResultCandidate) *Table {
	rows := []struct {
		name string
		cell func(thread.ResultCandidate) string
	}{
		{"Series", func(c thread.ResultCandidate) string { return c.SeriesName }},
		{"Pitch", func(c thread.ResultCandidate) string {
			if c.TPI != nil {
				return fmt.Sprintf("%g/in, %.4f mm", *c.TPI, c.Pitch)
			}
			return fmt.Sprintf("%g mm", c.Pitch)
		}},
		{"Flanks", func(c thread.ResultCandidate) string { return fmt.Sprintf("%g°", c.Flank) }},
		{"Off by", offBy},
		{"Diameters", func(c thread.ResultCandidate) string {
			return fmt.Sprintf("%.3f, %.3f", c.Major, c.PitchDia)
		}},
		{"Bolt", func(c thread.ResultCandidate) string { return "class " + c.Bolt.Class }},
		{"  major", func(c thread.ResultCandidate) string { return limitsText(c.Bolt.Major) }},
		{"  pitch dia.", func(c thread.ResultCandidate) string { return limitsText(c.Bolt.Pitch) }},
		{"Hole", func(c thread.ResultCandidate) string { return "class " + c.Nut.Class }},
		{"  pitch dia.", func(c thread.ResultCandidate) string { return limitsText(c.Nut.Pitch) }},
		{"  minor", func(c thread.ResultCandidate) string { return limitsText(c.Nut.Minor) }},
		{"Tap drill", func(c thread.ResultCandidate) string { return drillText(c.TapDrills[0]) }},
		{"  or", func(c thread.ResultCandidate) string { return drillText(c.TapDrills[1]) }},
		{"Clearance", func(c thread.ResultCandidate) string {
			if h := c.Clearance; h != nil {
				return fmt.Sprintf("%.2f, %.2f, %.2f", h.Close, h.Normal, h.Loose)
			}
			return "in no table"
		}},
		{"Across flats", flatsText},
	}
	var names []string
	for _, r := range rows {
		names = append(names, r.name)
	}
	t := &Table{}
	t.add("", names)
	for _, c := range candidates {
		var cells []string
		for _, r := range rows {
			cells = append(cells, short(r.cell(c), 21))
		}
		t.add(c.Designation, cells)
	}
	return t
}

// short keeps a table of three columns on the screen.
func short(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// offBy is how far the measures are off nominal.
func offBy(c thread.ResultCandidate) string {
	var all []string
	for _, m := range c.Misfit {
		switch m.Measure {
		case "pitch":
			all = append(all, fmt.Sprintf("p %+.3f", m.Off))
		case "major":
			all = append(all, fmt.Sprintf("d %+.2f", m.Off))
		case "minor":
			all = append(all, fmt.Sprintf("D1 %+.2f", m.Off))
		case "flank":
			all = append(all, fmt.Sprintf("%+.0f°", m.Off))
		}
	}
	if len(all) == 0 {
		return "–"
	}
	return strings.Join(all, " ")
}

func limitsText(l *[2]float64) string {
	if l == nil {
		return "–"
	}
	return fmt.Sprintf("%.3f–%.3f", l[0], l[1])
}

func drillText(d thread.ResultDrill) string { return fmt.Sprintf("%s, %.0f %%", d.Name, d.Percent) }

func flatsText(c thread.ResultCandidate) string {
	var all []string
	for _, f := range c.AcrossFlats {
		text := fmt.Sprintf("%g mm", f.MM)
		if c.TPI != nil {
			text = fmt.Sprintf("%.3f in", f.MM/25.4)
		}
		all = append(all, text)
	}
	if len(all) == 0 {
		return "in no table"
	}
	return strings.Join(all, ", ")
}

// recalled says which rows nobody has compared with a print of their standard.
func recalled(candidates []thread.ResultCandidate) string {
	var names []string
	for _, c := range candidates {
		if c.How == "memory" {
			names = append(names, c.Designation)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Of %s the table was not compared with a print of %s: check before you buy.", joined(names, side), candidates[0].Standard)
}
