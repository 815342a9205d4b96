package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A Camera is where a photograph is taken from and with what lens.
//
// The face is the plane z = 0: x right, y up, z out of the metal towards the
// camera, mm. Picture coordinates are pixels: x right, y down, the picture's
// top-left corner is (0, 0) and the centre of its first pixel (0.5, 0.5).
// Libraries that put (0, 0) at the centre of the first pixel have a principal
// point half a pixel smaller.
//
// The lens model is Brown's radial one as most calibrations use it: with
// (x, y) = (X/Z, Y/Z) in camera coordinates and r² = x² + y²,
//
//	px = Focal · (x, y) · (1 + K1 r² + K2 r⁴) + Principal
//
// (D. C. Brown, "Close-range camera calibration", 1971).
type Camera struct {
	Width, Height int     // px
	Focal         float64 // px
	Principal     r2.Vec  // px
	K1, K2        float64

	// The camera looks at the point Aim of the face from Distance mm away.
	// Tilt is the angle between its axis and the face's normal; the camera has
	// been moved towards Toward for it, a direction on the face in degrees
	// counter-clockwise from right. Turn is how far the camera was rolled
	// about its axis, clockwise, so that the face looks turned
	// counter-clockwise. All in degrees.
	Aim                r2.Vec // mm
	Distance           float64
	Tilt, Toward, Turn float64
}

// NewCamera is a phone's main camera, 12 megapixels, without distortion,
// square above the face's origin.
func NewCamera(distance float64) Camera {
	return Camera{
		Width: 4000, Height: 3000,
		Focal:     3050,
		Principal: r2.Vec{X: 2000, Y: 1500},
		Distance:  distance,
	}
}

// Scaled is the same camera with a sensor of fewer pixels: every length in
// pixels is multiplied by k.
func (c Camera) Scaled(k float64) Camera {
	c.Width = max(1, int(math.Round(float64(c.Width)*k)))
	c.Height = max(1, int(math.Round(float64(c.Height)*k)))
	c.Focal *= k
	c.Principal = r2.Scale(k, c.Principal)
	return c
}

// Project maps a point (mm) to the picture; what lies behind the camera or
// where the lens model folds over has no image, and gives ok false.
func (c Camera) Project(p r3.Vec) (px r2.Vec, ok bool) { return newEye(c).project(p) }

// Unproject is the point at height z (mm) above the face that is seen at px;
// ok is false when there is none.
func (c Camera) Unproject(px r2.Vec, z float64) (p r2.Vec, ok bool) {
	e := newEye(c)
	d, ok := e.ray(px.X, px.Y)
	if !ok || d.Z > -1e-9 {
		return r2.Vec{}, false
	}
	t := (z - e.at.Z) / d.Z
	return r2.Vec{X: e.at.X + t*d.X, Y: e.at.Y + t*d.Y}, t > 0
}

// inside tells whether a point of the picture plane is in the picture.
func (c Camera) inside(px r2.Vec) bool {
	return px.X > 0 && px.Y > 0 && px.X < float64(c.Width) && px.Y < float64(c.Height)
}

// eye is a camera made ready to send rays.
type eye struct {
	Camera
	at                   r3.Vec // mm
	right, down, forward r3.Vec
	limit                float64   // undistorted radius up to which the lens model is one to one
	undo                 []float64 // undistorted over distorted radius, by the latter's square
	undoStep             float64
	undoEnd              float64 // largest distorted radius, squared
}

func newEye(c Camera) *eye {
	e := &eye{Camera: c}
	tiltSin, tiltCos := math.Sincos(c.Tilt * math.Pi / 180)
	sin, cos := math.Sincos(c.Toward * math.Pi / 180)
	back := r3.Vec{X: tiltSin * cos, Y: tiltSin * sin, Z: tiltCos}
	e.forward = r3.Scale(-1, back)
	e.at = r3.Add(r3.Vec{X: c.Aim.X, Y: c.Aim.Y}, r3.Scale(c.Distance, back))

	// The straight view's axes, brought over by the shortest turn.
	axis := r3.Vec{X: -sin, Y: cos}
	over := func(v r3.Vec) r3.Vec {
		return r3.Add(r3.Add(r3.Scale(tiltCos, v), r3.Scale(tiltSin, r3.Cross(axis, v))),
			r3.Scale(r3.Dot(axis, v)*(1-tiltCos), axis))
	}
	right, down := over(r3.Vec{X: 1}), over(r3.Vec{Y: -1})
	sin, cos = math.Sincos(c.Turn * math.Pi / 180)
	e.right = r3.Add(r3.Scale(cos, right), r3.Scale(sin, down))
	e.down = r3.Sub(r3.Scale(cos, down), r3.Scale(sin, right))

	e.invertLens()
	return e
}

// bend is the factor of the lens at an undistorted radius, squared.
func (c Camera) bend(r2 float64) float64 { return 1 + r2*(c.K1+r2*c.K2) }

// undoCells is fine enough for errors far below a thousandth of a pixel.
const undoCells = 8192

// invertLens tabulates the inverse of the lens by Newton's method.
func (e *eye) invertLens() {
	// Distorted radius grows with undistorted radius until its slope,
	// 1 + 3 K1 r² + 5 K2 r⁴, is zero.
	slope := func(r float64) float64 { return 1 + r*r*(3*e.K1+5*e.K2*r*r) }
	const far = 3.0
	e.limit = far
	for r := 0.0; r < far; r += 0.001 {
		if slope(r) < 0.02 {
			e.limit = r
			break
		}
	}
	w, h := float64(e.Width), float64(e.Height)
	reach := math.Hypot(max(e.Principal.X, w-e.Principal.X), max(e.Principal.Y, h-e.Principal.Y))/e.Focal + 0.02
	end := min(reach, e.limit*e.bend(e.limit*e.limit))
	e.undoEnd = end * end
	e.undoStep = e.undoEnd / undoCells
	e.undo = make([]float64, undoCells+2)
	e.undo[0] = 1
	r := 0.0
	for i := 1; i < len(e.undo); i++ {
		d := math.Sqrt(float64(i) * e.undoStep)
		for range 20 {
			step := (r*e.bend(r*r) - d) / slope(r)
			r = min(max(r-step, 0), e.limit)
			if math.Abs(step) < 1e-15 {
				break
			}
		}
		e.undo[i] = r / d
	}
}

// ray is the direction in which the picture point (x, y) looks, with a part
// of one along the camera's axis.
func (e *eye) ray(x, y float64) (d r3.Vec, ok bool) {
	x, y = (x-e.Principal.X)/e.Focal, (y-e.Principal.Y)/e.Focal
	q := x*x + y*y
	if q > e.undoEnd {
		return r3.Vec{}, false
	}
	t := q / e.undoStep
	k := int(t)
	f := e.undo[k] + (e.undo[k+1]-e.undo[k])*(t-float64(k))
	x, y = x*f, y*f
	return r3.Vec{
		X: e.forward.X + x*e.right.X + y*e.down.X,
		Y: e.forward.Y + x*e.right.Y + y*e.down.Y,
		Z: e.forward.Z + x*e.right.Z + y*e.down.Z,
	}, true
}

func (e *eye) project(p r3.Vec) (r2.Vec, bool) {
	v := r3.Sub(p, e.at)
	z := r3.Dot(v, e.forward)
	if z < 1e-6 {
		return r2.Vec{}, false
	}
	x, y := r3.Dot(v, e.right)/z, r3.Dot(v, e.down)/z
	q := x*x + y*y
	if q > e.limit*e.limit {
		return r2.Vec{}, false
	}
	f := e.Focal * e.bend(q)
	return r2.Vec{X: e.Principal.X + f*x, Y: e.Principal.Y + f*y}, true
}
