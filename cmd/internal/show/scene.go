package show

import (
	"cmp"
	"math"
	"slices"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// Scene is what was found as shapes on the picture, in its pixels, for a page
// that draws them itself.
type Scene struct {
	Marks  []SceneMark  // those taken first
	Chords []SceneChord // as the reading's gaps
	Pitch  *Shape       // the pitch circle; nil without one
	Centre *[2]float64  // its centre
	Zero   *[2]float64  // the hole that angles count from
}

// SceneMark is a mark with its part in the reading.
type SceneMark struct {
	Index int    // in the result's marks
	Name  string // as --drop has it
	Role  string // hole, off (a hole off the pitch circle), outer, bore, rim or left
	Hole  int    // the hole's number; 0 for none
	Why   string // why it was taken or left
	Facts []Fact // what was measured
	Shape Shape
}

// SceneChord is the line from one hole to the next.
type SceneChord struct {
	From, To       int
	X1, Y1, X2, Y2 float64
}

// Shape is a circle of the face as the picture shows it: a circle, or a loop
// of points where it was photographed aslant.
type Shape struct {
	X, Y, R float64
	Loop    [][2]float64 `json:",omitempty"`
}

// NewScene lays out a result. Without a reading it holds the marks alone. A
// result whose millimetres are a guess has no lengths to tell.
func NewScene(res *read.Result, unscaled bool) *Scene {
	s := &Scene{Marks: []SceneMark{}, Chords: []SceneChord{}}
	numbers := holeNumbers(res)
	for _, i := range takenFirst(res) {
		m := SceneMark{
			Index: i, Name: markName(i), Hole: numbers[i], Role: role(res, i), Why: reason(res, i, numbers[i]),
			Facts: markFacts(res, i), Shape: markShape(res, i),
		}
		if unscaled {
			m.Facts = slices.DeleteFunc(m.Facts, func(f Fact) bool { return f.Name == "Diameter mm" || f.Name == "Scatter mm" })
		}
		s.Marks = append(s.Marks, m)
	}
	r := res.Reading
	if r == nil {
		return s
	}
	for _, g := range r.Gaps {
		a, b := r.Holes[g.From-1], r.Holes[g.To-1]
		s.Chords = append(s.Chords, SceneChord{g.From, g.To, a.XPx, a.YPx, b.XPx, b.YPx})
	}
	if c := r.PitchCircle; c != nil {
		px := r2.Vec{X: c.XPx, Y: c.YPx}
		s.Centre = &[2]float64{px.X, px.Y}
		s.Pitch = &Shape{X: px.X, Y: px.Y, R: meanDistance(r, func(px r2.Vec) r2.Vec { return px })}
		if aslant(res) {
			s.Pitch.Loop = looped(onFace(res, res.Plane.MM(px), meanDistance(r, res.Plane.MM), px))
		}
		zero := r.Holes[zeroHole(r)-1]
		s.Zero = &[2]float64{zero.XPx, zero.YPx}
	}
	return s
}

func markShape(res *read.Result, i int) Shape {
	m := res.Marks[i]
	s := Shape{X: m.Centre.X, Y: m.Centre.Y, R: m.Radius}
	if aslant(res) {
		s.Loop = looped(onFace(res, res.Rings[i].Centre, res.Rings[i].Diameter/2, m.Centre))
	}
	return s
}

func looped(points []r2.Vec) [][2]float64 {
	loop := make([][2]float64, len(points))
	for i, p := range points {
		loop[i] = [2]float64{math.Round(p.X*100) / 100, math.Round(p.Y*100) / 100}
	}
	return loop
}

func role(res *read.Result, i int) string {
	c := res.Choice
	if len(c.Reasons) == 0 { // no choice was made
		return "left"
	}
	switch {
	case slices.Contains(c.OffCircle, i):
		return "off"
	case slices.Contains(c.Holes, i):
		return "hole"
	case i == c.Bore:
		return "bore"
	case i == c.Rim:
		return "rim"
	}
	for _, outer := range c.Outer {
		if outer == i {
			return "outer"
		}
	}
	return "left"
}

// PairTable is the table of every pair of holes.
func PairTable(r *pattern.Reading, unit Unit) Table { return spanTable("Pair", r.Chords, unit) }

// UsualRadius is that (px) of the holes in the middle of their sizes; without
// any, a hundredth of the picture's shorter side.
func UsualRadius(res *read.Result) float64 {
	var radii []float64
	for _, i := range res.Choice.Holes {
		radii = append(radii, res.Marks[i].Radius)
	}
	if len(radii) == 0 {
		size := res.Picture.Grey.Rect.Size()
		return float64(min(size.X, size.Y)) / 100
	}
	slices.SortFunc(radii, cmp.Compare[float64])
	return radii[len(radii)/2]
}

// aslant tells whether a circle of the face may be an ellipse in the picture.
func aslant(res *read.Result) bool {
	return res.Reading != nil && res.Reading.Source.Kind == pattern.ByPhoto
}

// onFace is a circle of the face (mm) as the picture shows it, in its pixels;
// near is a point of the picture not far from it. It is nil where the circle
// leaves what the picture sees.
func onFace(res *read.Result, centre r2.Vec, radius float64, near r2.Vec) []r2.Vec {
	const n = 240
	points := make([]r2.Vec, n)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		px, ok := res.Plane.Px(r2.Vec{X: centre.X + radius*cos, Y: centre.Y + radius*sin}, near)
		if !ok {
			return nil
		}
		points[i] = px
	}
	return points
}

// meanDistance is how far the holes on the pitch circle lie from its centre on
// average, where to turns the picture's pixels into what that is measured in.
func meanDistance(r *pattern.Reading, to func(px r2.Vec) r2.Vec) float64 {
	centre, sum, n := to(r2.Vec{X: r.PitchCircle.XPx, Y: r.PitchCircle.YPx}), 0.0, 0
	for _, h := range r.Holes {
		if h.OnCircle {
			sum += r2.Norm(r2.Sub(to(r2.Vec{X: h.XPx, Y: h.YPx}), centre))
			n++
		}
	}
	return sum / float64(max(n, 1))
}
