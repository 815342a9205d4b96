package read_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"boltrose/pattern"
	"boltrose/pattern/circle"
	"boltrose/samples"

	"gonum.org/v1/gonum/spatial/r2"
)

// outcome is how well one rubbing or photograph was read, or many together.
type outcome struct {
	name, effect string
	dpi          float64

	pictures, holes, found, missed, extra int

	squares float64 // mm², of the distances of found centres from the true ones
	worst   float64 // mm, the largest of them
	fitted  int     // coordinates that a fit to the truth has used up

	chords, angles tally // of the gaps
	allChords, pcd tally
	offset         tally // of the bore from the pitch circle's centre
	diameters      tally
	bore, rim      int // missed or made up
	free           int // no pitch circle was claimed

	notes []string // which holes were missed and which made up
}

// rms is the error of a centre's coordinate (x or y), which is what a stated ±
// speaks of. The distance from the true centre is √2 times that.
func (o outcome) rms() float64 { return math.Sqrt(o.squares / float64(2*o.found-o.fitted)) }

// tally counts results that lie within their stated ±.
type tally struct{ within, of int }

func (c *tally) add(got, u95, want float64) {
	c.of++
	if math.Abs(got-want) <= u95 {
		c.within++
	}
}

func (c *tally) join(d tally) { c.within, c.of = c.within+d.within, c.of+d.of }

func (c tally) share() float64 { return float64(c.within) / float64(c.of) }

func (c tally) String() string {
	return fmt.Sprintf("%d of %d (%.1f %%)", c.within, c.of, 100*c.share())
}

// compare holds a reading against the truth. A hole of the reading is a true
// one when its centre is off by less than a quarter of the diameter, and each
// true hole can be found once. A hole is missed only when at least half of
// its rim was rubbed.
func compare(r samples.Rubbing, truth samples.Truth, reading *pattern.Reading) outcome {
	o := outcome{
		name:   fmt.Sprintf("%s (%s; %g dpi)", r.Name, strings.Join(r.Effects, ", "), truth.DPI),
		effect: r.Effects[0], dpi: truth.DPI,
		pictures: 1, holes: len(truth.Holes),
	}
	centreOf := map[int]r2.Vec{} // true, mm, by the reading's number of the hole
	taken := make([]bool, len(truth.Holes))
	for _, h := range reading.Holes {
		best, off := -1, math.Inf(1)
		for i, c := range truth.Holes {
			dx, dy := (h.XPx-c.CentrePx.X)*truth.MMPerPxX, (h.YPx-c.CentrePx.Y)*truth.MMPerPxY
			if d := math.Hypot(dx, dy); !taken[i] && d < c.Diameter/4 && d < off {
				best, off = i, d
			}
		}
		if best < 0 {
			o.extra++
			o.notes = append(o.notes, fmt.Sprintf("made up: %.0f, %.0f px, diameter %.1f mm", h.XPx, h.YPx, h.Diameter))
			continue
		}
		c := truth.Holes[best]
		taken[best] = true
		centreOf[h.ID] = c.CentreMM
		o.found++
		o.squares += off * off
		o.worst = max(o.worst, off)
		o.diameters.add(h.Diameter, h.DiameterU95, c.Diameter)
	}
	for i, c := range truth.Holes {
		if !taken[i] && c.Rubbed >= 0.5 {
			o.missed++
			o.notes = append(o.notes, fmt.Sprintf("missed: %.0f, %.0f px, diameter %.1f mm, %.0f %% of its rim rubbed", c.CentrePx.X, c.CentrePx.Y, c.Diameter, 100*c.Rubbed))
		}
	}
	o.compareGeometry(trueFace{truth.Holes, truth.Bore, truth.Rim}, reading, centreOf)
	return o
}

// trueFace is what a face really has.
type trueFace struct {
	holes     []samples.TrueCircle
	bore, rim *samples.TrueCircle
}

// compareGeometry tallies what follows from the centres: true chords are those
// of the true centres, true angles stand about the least-squares circle
// through them.
func (o *outcome) compareGeometry(truth trueFace, reading *pattern.Reading, centreOf map[int]r2.Vec) {
	var centres []r2.Vec
	for _, c := range truth.holes {
		centres = append(centres, c.CentreMM)
	}
	pitch, err := circle.LeastSquares(centres, nil)
	if err != nil {
		panic(err) // no sample has its holes on a line
	}
	direction := func(p r2.Vec) float64 { return math.Atan2(p.Y-pitch.Centre.Y, p.X-pitch.Centre.X) }
	span := func(s pattern.Span, chords, angles *tally) {
		a, ok := centreOf[s.From]
		b, ok2 := centreOf[s.To]
		if !ok || !ok2 {
			return
		}
		chords.add(s.Chord, s.ChordU95, r2.Norm(r2.Sub(a, b)))
		if s.AngleDeg != nil && angles != nil {
			want := math.Mod((direction(b)-direction(a))*180/math.Pi+360, 360)
			angles.add(*s.AngleDeg, *s.AngleU95Deg, want)
		}
	}
	for _, g := range reading.Gaps {
		span(g, &o.chords, &o.angles)
	}
	for _, c := range reading.Chords {
		span(c, &o.allChords, nil)
	}
	if reading.PitchCircle != nil {
		o.pcd.add(reading.PitchCircle.Diameter, reading.PitchCircle.DiameterU95, 2*pitch.Radius)
	} else {
		o.free++
	}
	o.bore = differs(truth.bore, reading.Bore)
	o.rim = differs(truth.rim, reading.Rim)
	if o.bore == 0 && truth.bore != nil && reading.Bore.Offset != nil {
		o.offset.add(*reading.Bore.Offset, *reading.Bore.OffsetU95, r2.Norm(r2.Sub(truth.bore.CentreMM, pitch.Centre)))
	}
}

// differs counts a feature that is missing, made up, or off by more than a
// millimetre and a half in its diameter.
func differs(want *samples.TrueCircle, got *pattern.Feature) int {
	if (want == nil) != (got == nil) || want != nil && math.Abs(want.Diameter-got.Diameter) > 1.5 {
		return 1
	}
	return 0
}

func effectOf(o outcome) string { return o.effect }
func dpiOf(o outcome) string    { return fmt.Sprintf("%.0f dpi", o.dpi) }

func everyOne(outcome) bool { return true }

// sum joins those outcomes that are wanted.
func sum(outcomes []outcome, wanted func(outcome) bool) outcome {
	var s outcome
	for _, o := range outcomes {
		if !wanted(o) {
			continue
		}
		s.pictures += o.pictures
		s.holes += o.holes
		s.found += o.found
		s.missed += o.missed
		s.extra += o.extra
		s.squares += o.squares
		s.fitted += o.fitted
		s.worst = max(s.worst, o.worst)
		s.chords.join(o.chords)
		s.angles.join(o.angles)
		s.allChords.join(o.allChords)
		s.pcd.join(o.pcd)
		s.offset.join(o.offset)
		s.diameters.join(o.diameters)
		s.bore += o.bore
		s.rim += o.rim
		s.free += o.free
	}
	return s
}

// tableOf lists the outcomes by a key, in the order in which each key first
// comes, and their sum.
func tableOf(outcomes []outcome, key func(outcome) string) string {
	var keys []string
	for _, o := range outcomes {
		if !slices.Contains(keys, key(o)) {
			keys = append(keys, key(o))
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%-24s %8s %6s %6s %7s %6s %12s %9s %5s %4s %5s\n",
		"", "pictures", "holes", "found", "missed", "extra", "rms x,y mm", "worst mm", "bore?", "rim?", "free?")
	row := func(name string, o outcome) {
		fmt.Fprintf(&b, "%-24s %8d %6d %6d %7d %6d %12.4f %9.4f %5d %4d %5d\n",
			name, o.pictures, o.holes, o.found, o.missed, o.extra, o.rms(), o.worst, o.bore, o.rim, o.free)
	}
	for _, k := range keys {
		row(k, sum(outcomes, func(o outcome) bool { return key(o) == k }))
	}
	row("all", sum(outcomes, everyOne))
	return b.String()
}

// coverageOf lists the shares that lie within their stated ±, and the worst
// read rubbings.
func coverageOf(outcomes []outcome) string {
	var b strings.Builder
	s := sum(outcomes, everyOne)
	b.WriteString("within the stated ±:\n")
	for _, c := range []struct {
		what string
		held tally
	}{
		{"chords of gaps", s.chords}, {"angles of gaps", s.angles}, {"chords of all pairs", s.allChords},
		{"pitch circle diameters", s.pcd}, {"offsets of bores", s.offset}, {"hole diameters", s.diameters},
	} {
		fmt.Fprintf(&b, "  %-24s %s\n", c.what, c.held)
	}
	worst := slices.Clone(outcomes)
	slices.SortFunc(worst, func(a, b outcome) int { return cmp.Compare(b.worst, a.worst) })
	b.WriteString("largest centre errors:\n")
	for _, o := range worst[:min(8, len(worst))] {
		fmt.Fprintf(&b, "  %.4f mm (rms %.4f)  %s\n", o.worst, o.rms(), o.name)
	}
	return b.String()
}
