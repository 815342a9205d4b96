package calib

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// What a photograph taken straight from above by hand is off by, as standard
// uncertainties; common practice.
const (
	freehandTilt   = 6 * math.Pi / 180 // about either axis: 5°, and what is left out by the first order
	freehandAxes   = 0.008             // what that foreshortens, which has long tails
	freehandRadial = 0.03              // k1 of a phone's lens, after its own correction
	freehandFocal  = 0.8               // of the longer side: a phone's main camera
)

// Names of the errors of a photograph taken by hand.
const (
	TiltX = "tilt about the upright"
	TiltY = "tilt about the level"
)

// Freehand returns the plane of a photograph of which nothing is known but
// that the camera looked straight at the face, as well as a hand holds it. It
// has no scale: mm are those of a guess, mmPerPx in its middle, and known
// lengths must give them.
//
// The errors are the tilt, which makes one side larger than the other, what
// it foreshortens, and the lens. To first order, with ρ the direction of a
// pixel in units of the focal length, a and b the tilts, k the radial
// distortion and n and h unequal axes and shear:
//
//	x = f·mmPerPx·ρx·(1 + aρx + bρy − k|ρ|² + n/2) + hρy, and y alike.
func Freehand(method string, widthPx, highPx int, mmPerPx float64) (*Plane, error) {
	if widthPx <= 0 || highPx <= 0 || !(mmPerPx > 0) || math.IsInf(mmPerPx, 0) {
		return nil, errors.New("a photograph has a size, and a millimetre per pixel above zero")
	}
	middle := r2.Vec{X: float64(widthPx) / 2, Y: float64(highPx) / 2}
	focal := freehandFocal * float64(max(widthPx, highPx))
	sd := []float64{freehandTilt, freehandTilt, freehandRadial, freehandAxes, freehandAxes}
	cov := mat.NewSymDense(len(sd), nil)
	for i, s := range sd {
		cov.SetSym(i, i, s*s)
	}
	return newPlane(method, []string{TiltX, TiltY, LensError, UnequalAxes, Shear}, make([]float64, len(sd)), cov,
		func(e []float64, px r2.Vec) r2.Vec {
			d := r2.Scale(1/focal, r2.Sub(px, middle))
			grow := 1 + e[0]*d.X + e[1]*d.Y - e[2]*r2.Norm2(d)
			return r2.Vec{
				X: focal * mmPerPx * ((grow+e[3]/2)*d.X + e[4]*d.Y),
				Y: -focal * mmPerPx * (grow - e[3]/2) * d.Y,
			}
		})
}
