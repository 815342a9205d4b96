package show

import (
	"fmt"
	"math"

	"boltrose/pattern"
)

// Sheet is what is told of a reading, in the order in which it is told. The
// words and the numbers' digits are chosen here; Text and the report lay them
// out. All of it is printable text without line ends.
type Sheet struct {
	Title    string
	Verdict  []string // the verdict, and what else to mind
	Facts    []Fact   // view, scale, pitch circle, what the maker may have drawn
	Holes    Table
	Gaps     Table  // empty without neighbours
	Features []Fact // bore and rim
	Warnings []string
	Known    string // what ± means

	// Bolts is a guess for which bolts the holes may be, "" for none. A page for
	// the job leaves it out: there it is known.
	Bolts string

	OffCircle string   // what the * at a hole's number means, where there is one
	HoleNotes []string // what the columns of Holes mean
}

// Fact is a name with what there is to say of it.
type Fact struct{ Name, Text string }

// NewSheet chooses the words and numbers for a reading.
func NewSheet(r *pattern.Reading, unit Unit) *Sheet {
	t := &text{r: r, unit: unit}
	s := &Sheet{
		Title:   Title(sourceName(r.Source), r),
		Verdict: t.verdict(),
		Facts:   []Fact{{"View", viewText(r)}, {"Scale", t.scale()}},
		Gaps:    spanTable("From–to", r.Gaps, unit),
		Known:   "± is the expanded uncertainty, k = 2: about 95 % of such values are within it.",
	}
	if r.PitchCircle != nil {
		s.Facts = append(s.Facts, Fact{"PCD", t.pcd()})
		if drawn := t.candidates(); drawn != "" {
			s.Facts = append(s.Facts, Fact{"Drawn", drawn})
		}
	} else {
		s.Facts = append(s.Facts, Fact{"PCD", "none: a free set of holes, with no pitch circle forced on them"})
	}
	s.Bolts = t.bolts()
	t.holes(s)
	if r.Bore != nil {
		s.Features = append(s.Features, Fact{"Bore", t.feature(r.Bore)})
	}
	if r.Rim != nil {
		s.Features = append(s.Features, Fact{"Rim", t.feature(r.Rim)})
	}
	for _, w := range r.Warnings {
		s.Warnings = append(s.Warnings, Plain(w))
	}
	switch r.Source.Kind {
	case pattern.ByHand:
	case pattern.ByPhoto:
		s.Known += " A photographed diameter is rough, because light and shade lie on the edge; check it with calipers."
	default:
		s.Known += " A rubbed diameter is rough, because paper bridges the edge; check it with calipers."
	}
	return s
}

// Title is the head of what is told of a reading that is called so.
func Title(name string, r *pattern.Reading) string {
	return fmt.Sprintf("%s: %s", Plain(name), plural(len(r.Holes), "hole"))
}

// text is a sheet while it is written.
type text struct {
	r    *pattern.Reading
	unit Unit
}

// verdict comes first: it is what a person wants to know.
func (t *text) verdict() []string {
	v := t.r.Verdict
	if v == nil {
		return nil
	}
	words, notes := v.Text, v.Notes
	if t.unit != MM {
		words, notes = t.r.VerdictWords(func(mm float64) string {
			return decimal(mm*t.unit.perMM, t.unit.decimals-1) + " " + t.unit.Name
		})
	}
	out := []string{Plain(words)}
	for _, n := range notes {
		out = append(out, Plain(n))
	}
	return out
}

func (t *text) pcd() string {
	c := t.r.PitchCircle
	pcd := fmt.Sprintf("%s %s (pitch circle diameter, also called bolt circle)", t.unit.figure(c.Diameter, c.DiameterU95), t.unit.Name)
	if c.RMS > 0 && (t.r.Source.Kind != pattern.ByHand || c.RMS > 0.0005) {
		pcd += fmt.Sprintf("; the holes lie %s %s off it (rms)", decimal(c.RMS*t.unit.perMM, t.unit.decimals), t.unit.Name)
	}
	return pcd
}

// sourceName is what a reading is called: its file, unless it has none.
func sourceName(s pattern.Source) string {
	switch s.Kind {
	case pattern.ByHand:
		return "By hand"
	case pattern.Combined: // the readings are listed below
		return "Combined"
	}
	return s.File
}

func viewText(r *pattern.Reading) string {
	switch {
	case r.Source.Kind == pattern.ByHand:
		return "looking at the face, with hole 1 at the top and the others counter-clockwise from it. If the holes were numbered clockwise, this is the mirror image, which does not fit where the pattern is uneven."
	case r.View == pattern.FromBehind:
		return "from behind: mirrored, so that all below is as seen looking at the face. If the paper was rubbed on the face and scanned with that side to the glass, leave --from-behind out: the mirror image of an uneven pattern does not fit."
	}
	if r.Source.Kind == pattern.ByPhoto {
		return "looking at the face, as it was photographed. If it was taken through a mirror, or of a rubbing's back, read it with --from-behind: the mirror image of an uneven pattern does not fit."
	}
	return "looking at the face. If the paper was rubbed or scanned from behind, read it with --from-behind: the mirror image of an uneven pattern does not fit."
}

func (t *text) scale() string {
	s := t.r.Scale
	line := Plain(s.Method)
	x, y := s.MMPerPxX, s.MMPerPxY
	switch {
	case x <= 0 || y <= 0:
	case math.Abs(x-y) < 1e-6*x:
		line += fmt.Sprintf(": %.4g dpi, %.5f mm/px", 25.4/x, x)
	default:
		line += fmt.Sprintf(": %.4g × %.4g dpi, %.5f × %.5f mm/px", 25.4/x, 25.4/y, x, y)
	}
	switch {
	case s.URel > 0 && t.r.Source.Kind == pattern.Combined:
		line += fmt.Sprintf("; all lengths together are known to ±%.2g %%", 200*s.URel)
	case s.URel > 0:
		line += fmt.Sprintf("; each axis is known to ±%.2g %%", 200*s.URel)
	}
	return line
}

// pictured says whether the reading was taken from a picture, so that rims
// were seen.
func (t *text) pictured() bool { return t.r.Source.WidthPx > 0 }

// holes fills in the table of holes.
func (t *text) holes(s *Sheet) {
	var (
		ids, seen                 []string
		angles, xs, ys, ds, outer []figure
		chamfered, off            bool
	)
	for _, h := range t.r.Holes {
		id := fmt.Sprint(h.ID)
		if !h.OnCircle && t.r.PitchCircle != nil {
			id, off = id+"*", true
		}
		ids = append(ids, id)
		angles = append(angles, angle(h.AngleDeg, h.AngleU95Deg))
		xs = append(xs, t.unit.figure(h.X, h.XU95))
		ys = append(ys, t.unit.figure(h.Y, h.YU95))
		ds = append(ds, t.unit.figure(h.Diameter, h.DiameterU95))
		o := figure{value: "–"}
		if h.OuterDiameter != nil {
			o, chamfered = t.unit.figure(*h.OuterDiameter, *h.OuterDiameterU95), true
		}
		outer = append(outer, o)
		seen = append(seen, fmt.Sprintf("%.0f %%", 100*h.RimSeen))
	}
	tab := &s.Holes
	tab.add("Hole", ids)
	if t.r.PitchCircle != nil {
		tab.add("Angle °", column(angles))
	}
	tab.add("x "+t.unit.Name, column(xs))
	tab.add("y "+t.unit.Name, column(ys))
	tab.add("Diameter "+t.unit.Name, column(ds))
	if chamfered {
		tab.add("Outer "+t.unit.Name, column(outer))
	}
	if t.pictured() {
		tab.add("Rim seen", right(seen))
	}
	if off {
		s.OffCircle = "not on the pitch circle of the others, and left out of it"
	}
	if chamfered {
		s.HoleNotes = append(s.HoleNotes, "Outer: of the chamfer or counterbore round the hole.")
	}
	if t.r.PitchCircle != nil {
		s.HoleNotes = append(s.HoleNotes, fmt.Sprintf("Angles counter-clockwise from hole %d; x right and y up from the pitch circle's centre.", zeroHole(t.r)))
	} else {
		s.HoleNotes = append(s.HoleNotes, "x right and y up from the middle of all holes.")
	}
}

// zeroHole is the number of the hole that angles count from.
func zeroHole(r *pattern.Reading) int {
	for _, h := range r.Holes {
		if h.AngleDeg != nil && *h.AngleDeg == 0 {
			return h.ID
		}
	}
	return 1
}

func spanTable(head string, spans []pattern.Span, unit Unit) Table {
	if len(spans) == 0 {
		return Table{}
	}
	var ends []string
	var angles, chords []figure
	known := false
	for _, s := range spans {
		ends = append(ends, fmt.Sprintf("%d–%d", s.From, s.To))
		angles = append(angles, angle(s.AngleDeg, s.AngleU95Deg))
		chords = append(chords, unit.figure(s.Chord, s.ChordU95))
		known = known || s.AngleDeg != nil
	}
	var tab Table
	tab.add(head, ends)
	if known {
		tab.add("Angle °", column(angles))
	}
	tab.add("Chord "+unit.Name, column(chords))
	return tab
}

func (t *text) feature(f *pattern.Feature) string {
	unit := t.unit.Name
	line := fmt.Sprintf("diameter %s %s", t.unit.figure(f.Diameter, f.DiameterU95), unit)
	if t.pictured() {
		line += fmt.Sprintf(", %.0f %% of it seen", 100*f.RimSeen)
	}
	line += "; centre "
	if f.Offset == nil {
		return line + fmt.Sprintf("at x %s, y %s %s", t.unit.figure(f.X, f.XU95), t.unit.figure(f.Y, f.YU95), unit)
	}
	line += fmt.Sprintf("%s %s from the pitch circle's centre", t.unit.figure(*f.Offset, *f.OffsetU95), unit)
	if *f.Offset <= *f.OffsetU95 {
		return line + ", which may well be none"
	}
	direction := math.Atan2(f.Y, f.X)*180/math.Pi - *t.r.TurnDeg
	direction = math.Mod(math.Mod(direction, 360)+360, 360)
	return line + fmt.Sprintf(", towards %.0f°", direction)
}

// Safety is what everyone who measures for a guard or cover must be told.
const Safety = "Switch rotating machinery off and lock it out before a hand or paper goes near it. Whether a guard made from these numbers is safe is for its maker to judge; local codes and a licensed practice decide."

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
