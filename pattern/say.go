package pattern

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// mostNamed is how many holes are named that may be meant in place of another.
const mostNamed = 3

// The verdict in words. As everywhere, angles count
// counter-clockwise seen looking at the face.

// inMM prints a length as a person sets it: hundredths, of long ones tenths.
func inMM(v float64) string {
	if v >= 99.95 {
		return fmt.Sprintf("%.1f mm", v)
	}
	return fmt.Sprintf("%.2f mm", v)
}

// mm prints a length in the unit of the words.
func (j *judge) mm(v float64) string { return j.length(math.Abs(v)) }

func deg(v float64) string { return fmt.Sprintf("%.4g°", math.Round(v*100)/100) }

// degWith prints an angle with its ±, both to two significant digits of the ±.
func degWith(v, u95 float64) string {
	d := 2
	if u95 > 0 {
		d = max(0, min(3, 1-int(math.Floor(math.Log10(u95)))))
	}
	return fmt.Sprintf("%.*f ±%.*f°", d, v, d, u95)
}

func listed(ids []int) string {
	var s []string
	for _, id := range ids {
		s = append(s, fmt.Sprint(id))
	}
	if n := len(s); n > 1 {
		return strings.Join(s[:n-1], ", ") + " and " + s[n-1]
	}
	return strings.Join(s, "")
}

func (j *judge) say() {
	v, n := j.v, len(j.holes)
	switch v.Layout {
	case EvenSpaces:
		v.Text = fmt.Sprintf("Even: the %d holes are equally spaced, %s apart. Drawn even, the worst hole would miss by %s, which is no more than drilling and measuring explain; a hole moved by %s or more would have shown. The part goes on in any of %d positions, either way up.",
			n, deg(360/float64(n)), j.mm(*v.WorstMiss), j.mm(*v.SeenShift), n)
	case SomeEmpty:
		what := "the other " + count(v.Places-n, "place") + " are empty"
		if v.Places-n == 1 {
			what = "one place is empty"
		}
		v.Text = fmt.Sprintf("Uneven, but regular: the %d holes lie in %d equal spaces of %s, and %s (%s). %s",
			n, v.Places, deg(360/float64(v.Places)), what, j.places(), j.goesOn())
		v.Notes = append(v.Notes, "Look whether the empty place on the face is solid metal, or a hole that was plugged, painted over or not rubbed.")
	case OneShifted:
		id := j.holes[j.shifted].ID
		way := "counter-clockwise"
		if j.shift[0] < 0 {
			way = "clockwise"
		}
		even := fmt.Sprintf("Uneven: hole %d sits %s (%s) %s of its even place; the other %d are even. ", id, j.mm(*v.WorstMiss), degWith(math.Abs(j.shift[1]), j.shift[2]), way, n-1)
		if math.Abs(j.shift[0]) < 0.5**v.WorstMiss {
			even = fmt.Sprintf("Uneven: hole %d sits %s off its even place, mostly towards or away from the middle; the other %d are even. ", id, j.mm(*v.WorstMiss), n-1)
		}
		switch k := len(j.doubt); {
		case k > mostNamed:
			even = strings.TrimSuffix(even, " ") + fmt.Sprintf(" (It may be another: each of %d holes moved alone would explain it.) ", k+1)
		case k > 0:
			var ids []int
			for _, i := range j.doubt {
				ids = append(ids, j.holes[i].ID)
			}
			slices.Sort(ids)
			even = strings.TrimSuffix(even, " ") + fmt.Sprintf(" (Hole %s moved instead would explain it too.) ", listedOr(ids))
		}
		v.Text = even + fmt.Sprintf("A part drawn even would miss that hole by %s: drill it to the measured positions. %s", j.mm(*v.WorstMiss), j.goesOn())
		j.little()
	case Interleaved:
		if v.Turns < n/2 || j.radii[0] == 0 {
			v.Text = fmt.Sprintf("Uneven, but regular: the pattern repeats every %s. %s %s", deg(360/float64(v.Turns)), j.drawnEven(), j.goesOn())
			break
		}
		rings := "two even rings"
		if n == 4 {
			rings = "two pairs, each opposite (a rectangle)"
		}
		v.Text = fmt.Sprintf("Uneven, but regular: %s of %d holes, one turned against the other by %s. %s %s",
			rings, n/2, deg(j.odd), j.drawnEven(), j.goesOn())
		if n == 4 {
			a, b := j.r.chordBetween(j.holes[0].ID, j.holes[1].ID), j.r.chordBetween(j.holes[1].ID, j.holes[2].ID)
			v.Text = fmt.Sprintf("Uneven, but regular: the four holes are the corners of a rectangle, %s by %s. %s %s", j.mm(a), j.mm(b), j.drawnEven(), j.goesOn())
		}
	case Irregular:
		g := v.WorstGap
		wide := "wider"
		if g.Off < 0 {
			wide = "narrower"
		}
		v.Text = fmt.Sprintf("Uneven: the gap from hole %d to hole %d is %s %s than its even share of %s. %s %s",
			g.From, g.To, degWith(math.Abs(g.Off), g.U95), wide, deg(360/float64(n)), j.drawnEven(), j.goesOn())
		j.little()
	default:
		j.cannotTell()
	}
}

func listedOr(ids []int) string { return strings.Replace(listed(ids), " and ", " or ", 1) }

func (j *judge) places() string {
	var s []string
	for _, d := range j.missing {
		s = append(s, fmt.Sprintf("%.0f°", d))
	}
	return fmt.Sprintf("at %s from hole %d", strings.Join(s, ", "), j.zeroHole())
}

// zeroHole is the hole from which angles count.
func (j *judge) zeroHole() int {
	for _, h := range j.r.Holes {
		if h.AngleDeg != nil && *h.AngleDeg == 0 {
			return h.ID
		}
	}
	return j.r.Holes[0].ID
}

func (j *judge) drawnEven() string {
	return fmt.Sprintf("Drawn even, hole %d would miss by %s: drill the part to the measured positions.", j.v.WorstHole, j.mm(*j.v.WorstMiss))
}

// goesOn says in which positions, and which way up.
func (j *judge) goesOn() string {
	v := j.v
	ways := "It goes on in one position only"
	if v.Turns > 1 {
		ways = fmt.Sprintf("It goes on in %d positions", v.Turns)
	}
	switch v.Flip {
	case FlipSame:
		axis := fmt.Sprintf("%.0f°", *v.AxisDeg)
		if axis == "180°" {
			axis = "0°"
		}
		return ways + fmt.Sprintf(", and flipped over too, about the line at %s from hole %d: which side is up makes no difference.", axis, j.zeroHole())
	case FlipDifferent:
		return ways + fmt.Sprintf(" and one way up: flipped over, a hole would miss by %s.", j.mm(*v.FlipMiss))
	}
	return ways + "; whether also flipped over cannot be told, so mark which side is up."
}

// little puts a small unevenness in its place.
func (j *judge) little() {
	if *j.v.WorstMiss < 3*j.v.DrilledU95 {
		j.v.Notes = append(j.v.Notes, fmt.Sprintf("An unevenness of %s is small: rough drilling does it too, not only intent. With holes a millimetre larger than the bolts an even part would still go on.", j.mm(*j.v.WorstMiss)))
	}
}

// cannotTell says why, and what would decide it.
func (j *judge) cannotTell() {
	v, n := j.v, len(j.holes)
	if *v.PValue < perhaps {
		v.Text = fmt.Sprintf("Cannot tell: the %d holes differ from even spaces by up to %s, which careful drilling would do once in %.0f times. ", n, j.mm(*v.WorstMiss), 1 / *v.PValue)
	} else {
		v.Text = fmt.Sprintf("Cannot tell: even spaces are possible, but a hole moved by up to %s might not have shown. ", j.mm(*v.SeenShift))
	}
	long, short := j.r.Gaps[0], j.r.Gaps[0]
	for _, g := range j.r.Gaps {
		if g.Chord > long.Chord {
			long = g
		}
		if g.Chord < short.Chord {
			short = g
		}
	}
	v.Text += fmt.Sprintf("To decide it, set dividers to the chord %d–%d and try them on %d–%d: even holes agree at every step round the circle. Until then, drill the part to the measured positions, not to even ones.",
		long.From, long.To, short.From, short.To)
}

func (r *Reading) chordBetween(a, b int) float64 {
	for _, s := range r.Chords {
		if s.From == a && s.To == b || s.From == b && s.To == a {
			return s.Chord
		}
	}
	return 0
}

// bore says whether the part can be located by the bore.
func (j *judge) bore() {
	b := j.r.Bore
	if b == nil || b.Offset == nil {
		return
	}
	// The bore was turned, and each hole drilled, with the same care.
	u := math.Hypot(*b.OffsetU95/coverage, j.drilledU*math.Sqrt(1+1/float64(len(j.holes))))
	if *b.Offset <= *b.OffsetU95 || *b.Offset < coverage2*u {
		return
	}
	towards := fullTurn(math.Atan2(b.Y, b.X)/degree - *j.r.TurnDeg)
	j.v.Notes = append(j.v.Notes, fmt.Sprintf("The bore is not concentric with the pitch circle: its centre lies %s off, towards %.0f°. A part that is located by the bore must have its pitch circle offset by that.", j.mm(*b.Offset), towards))
}

// secondCircle looks whether the holes off the pitch circle share one of
// their own about the same centre.
func (j *judge) secondCircle() {
	second := &judge{r: j.r, v: &Verdict{}, drilledU: j.drilledU}
	if !second.take(func(h Hole) bool { return !h.OnCircle }) {
		return
	}
	n := len(second.holes)
	if n < 2 || n > mostJudg {
		return
	}
	mean, spread := 0.0, 0.0
	for i := range n {
		l := r2.Norm(second.w.at[i])
		mean += l / float64(n)
	}
	worst := 0.0
	for i := range n {
		v := second.w.at[i]
		l := r2.Norm(v)
		if l == 0 {
			return
		}
		u := uncertainty(second.w.sigma, partial{2 * i, v.X / l}, partial{2*i + 1, v.Y / l})
		worst = math.Max(worst, u)
		spread = math.Max(spread, math.Abs(l-mean)/u)
	}
	if spread > 3 || mean < 3*worst || math.Abs(mean-j.r.PitchCircle.Diameter/2) < 3*worst {
		return
	}
	var ids []int
	for _, h := range second.holes {
		ids = append(ids, h.ID)
	}
	even := ""
	if n >= 3 {
		if c, err := circle.LeastSquares(second.w.at, nil); err == nil {
			mean = c.Radius
		}
		if f, ok := second.w.fit(evenColumns(n)); ok && f.p >= perhaps {
			even = ", equally spaced"
		}
	}
	j.v.Notes = append(j.v.Notes, fmt.Sprintf("There are two pitch circles: holes %s lie on one of their own of %s about the same centre%s.", listed(ids), j.mm(2*mean), even))
}
