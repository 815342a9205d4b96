package main

import (
	"math"

	"boltrose/pattern"
	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// truth is where a face's holes and its bore are, mm.
type truth struct {
	holes []r2.Vec
	bore  *r2.Vec
	seen  []seen
}

// seen is where a hole's centre is in the picture and how near to it (px) a
// measured one is taken for it.
type seen struct {
	at   r2.Vec
	near float64
}

// pitchCircle is the least-squares circle through the true centres.
func (t truth) pitchCircle() circle.Circle {
	fit, err := circle.LeastSquares(t.holes, nil)
	if err != nil {
		panic(err) // no face has its holes on a line
	}
	return fit.Circle
}

// match returns the true place of each hole of a picture's reading, by its
// number; what was made up has none.
func (t truth) match(r *pattern.Reading) map[int]r2.Vec {
	at := map[int]r2.Vec{}
	for k, s := range t.seen {
		for _, h := range r.Holes {
			if _, taken := at[h.ID]; !taken && r2.Norm(r2.Sub(r2.Vec{X: h.XPx, Y: h.YPx}, s.at)) < s.near {
				at[h.ID] = t.holes[k]
				break
			}
		}
	}
	return at
}

// interval is one that a reading states, and the truth.
type interval struct{ got, u95, truth float64 }

func (i interval) holds() bool { return math.Abs(i.got-i.truth) <= i.u95 }

// quantities are what the intervals are of, in the table's order.
var quantities = [...]string{"PCD", "angles", "chords", "bore offset"}

const (
	ofPCD = iota
	ofAngle
	ofChord
	ofOffset
)

// outcome is one reading, or the want of one.
type outcome struct {
	source, kind string
	seed         uint64
	holes        int
	read         bool
	wrong        bool // it misses a hole or made one up
	note         string
	intervals    [len(quantities)][]interval
}

// compare holds a picture's reading, nil where there is none, against the
// truth.
func (j job) compare(source string, t truth, r *pattern.Reading) outcome {
	if r == nil {
		return j.hold(source, t, nil, nil)
	}
	return j.hold(source, t, r, t.match(r))
}

// hold does the same where it is known which hole is which. Angles are those
// of the gaps about the pitch circle's centre, chords those from each hole to
// the next.
func (j job) hold(source string, t truth, r *pattern.Reading, at map[int]r2.Vec) outcome {
	o := outcome{source: source, kind: j.kind.name, seed: j.seed, holes: len(t.holes)}
	if r == nil {
		return o
	}
	o.read = true
	o.wrong = len(at) != len(t.holes) || len(r.Holes) != len(t.holes)
	add := func(q int, got, u95, truth float64) {
		o.intervals[q] = append(o.intervals[q], interval{got, u95, truth})
	}
	pitch := t.pitchCircle()
	if r.PitchCircle == nil {
		o.note = "no pitch circle"
	} else {
		add(ofPCD, r.PitchCircle.Diameter, r.PitchCircle.DiameterU95, 2*pitch.Radius)
	}
	direction := func(p r2.Vec) float64 { return math.Atan2(p.Y-pitch.Centre.Y, p.X-pitch.Centre.X) }
	for _, g := range r.Gaps {
		a, ok := at[g.From]
		b, ok2 := at[g.To]
		if !ok || !ok2 {
			continue
		}
		add(ofChord, g.Chord, g.ChordU95, r2.Norm(r2.Sub(a, b)))
		if g.AngleDeg != nil {
			want := *g.AngleDeg + math.Remainder((direction(b)-direction(a))*180/math.Pi-*g.AngleDeg, 360)
			add(ofAngle, *g.AngleDeg, *g.AngleU95Deg, want)
		}
	}
	if t.bore != nil && r.Bore != nil && r.Bore.Offset != nil {
		add(ofOffset, *r.Bore.Offset, *r.Bore.OffsetU95, r2.Norm(r2.Sub(*t.bore, pitch.Centre)))
	}
	return o
}
