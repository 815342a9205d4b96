package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// A Hole is a bolt hole in the face. X and Y are its centre in millimetres on
// the face: x right, y up, looking at the face.
type Hole struct {
	X, Y     float64
	Diameter float64 // mm

	// Outer is the diameter of a second concentric edge, mm; 0 for none. It
	// is a chamfer's, or with Counterbore that of a shallow spot face.
	Outer       float64
	Counterbore bool

	Threaded bool // a ragged rim with the start of a thread inside

	// Unrubbed is the share of the rim, 0 to 1, that the pencil is kept away
	// from. Zero: the strokes go wherever strokes go.
	Unrubbed float64

	// Blocked is how much lead was pushed into the hole, 0 none to 1.
	Blocked float64
}

// A Disc is the centre bore or the outer rim of the part.
type Disc struct {
	X, Y     float64 // mm on the face
	Diameter float64 // mm
	Outer    float64 // diameter of a bore's chamfer, mm; 0 for none, as with a keyway
	Keyway   float64 // width of a keyway cut into a bore, mm; 0 for none
}

// A Face is the metal under the paper.
type Face struct {
	Holes []Hole
	Bore  *Disc // nil for none
	Rim   *Disc // nil: the metal goes on beyond the rubbed region

	FeedPitch float64 // mm between the turned rings about the bore's axis; 0 for none
	FeedDepth float64 // how strongly they show, 0 to 1

	Scratches int // straight scratches
	Pits      int // casting marks: blotches where the paper finds no metal
}

// Ring is n holes of one diameter, evenly spaced on a pitch circle (mm), the
// first at twelve o'clock.
func Ring(n int, pcd, diameter float64) Face {
	angles := make([]float64, n)
	for i := range angles {
		angles[i] = 90 + 360*float64(i)/float64(n)
	}
	return Keyed(pcd, angles, diameter)
}

// Keyed is holes of one diameter on a pitch circle (mm) at the given angles,
// in degrees counter-clockwise from right.
func Keyed(pcd float64, angles []float64, diameter float64) Face {
	var f Face
	for _, a := range angles {
		sin, cos := math.Sincos(a * math.Pi / 180)
		f.Holes = append(f.Holes, Hole{X: pcd / 2 * cos, Y: pcd / 2 * sin, Diameter: diameter})
	}
	return f
}

// CiderPress is the open drive end of the cider press's gearbox, whose cover
// is lost: six clearance holes for M8 on a pitch circle of 96 mm, one of them
// seven degrees off the even sixth so that the cover goes on only one way, a
// bore of 52 mm and a rim of 118 mm.
func CiderPress() Face {
	f := Keyed(96, []float64{90, 150, 210, 277, 330, 30}, 9)
	f.Bore = &Disc{Diameter: 52}
	f.Rim = &Disc{Diameter: 118}
	f.FeedPitch, f.FeedDepth = 0.4, 0.25
	f.Scratches = 5
	return f
}

// reach is the radius about the face's origin within which all its holes and
// its bore lie.
func (f Face) reach() float64 {
	reach := 0.0
	for _, h := range f.Holes {
		reach = max(reach, math.Hypot(h.X, h.Y)+max(h.Diameter, h.Outer)/2)
	}
	if f.Bore != nil {
		reach = max(reach, math.Hypot(f.Bore.X, f.Bore.Y)+f.Bore.Diameter/2)
	}
	return reach
}

// axis is the point on the face about which the face was turned.
func (f Face) axis() r2.Vec {
	if f.Bore != nil {
		return r2.Vec{X: f.Bore.X, Y: f.Bore.Y}
	}
	return r2.Vec{}
}
