package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

const mmPerInch = 25.4

// What an ordinary flatbed scanner's scale may be wrong by, as standard
// uncertainties. The sensor's optics give the scale across and the carriage's
// drive the scale along, so that the two err independently, each by some
// tenths of a per cent; the carriage does not run quite square to the sensor.
// Common practice: no standard gives figures for home scanners.
const (
	DefaultScaleU = 0.002  // relative, of either axis
	shearU        = 0.0006 // radian, how far the axes are from square
)

// Names of the errors that all marks share.
const (
	SharedScale = "scale"
	UnequalAxes = "unequal axes"
	Shear       = "axes not square"
)

// Scan returns the plane of a flatbed scan from its pixels per inch along x
// and y. scaleU is the relative standard uncertainty of the scale of either
// axis, independently.
//
// With s, a and h the errors of the scale, of the ratio of the axes and of
// their squareness, all expected to be zero:
//
//	x = (25.4/dpiX)·(1 + s + a/2)·px + h·(25.4/dpiY)·py
//	y = −(25.4/dpiY)·(1 + s − a/2)·py
func Scan(method string, dpi [2]float64, scaleU float64) (*Plane, error) {
	for _, d := range dpi {
		if !(d > 0) || math.IsInf(d, 0) {
			return nil, errors.New("a scan needs its pixels per inch along both axes, above zero")
		}
	}
	if !(scaleU >= 0) || scaleU > 0.5 {
		return nil, fmt.Errorf("the scale's relative standard uncertainty is a number from 0 to 0.5, not %g", scaleU)
	}
	kx, ky := mmPerInch/dpi[0], mmPerInch/dpi[1]
	// Independent axes: their mean is known better than either, their ratio
	// worse. Someone who knows the scale well knows the angle well too.
	meanU, ratioU := scaleU/math.Sqrt2, scaleU*math.Sqrt2
	squareU := math.Min(shearU, shearU*scaleU/DefaultScaleU)
	p, err := newPlane(method,
		[]string{SharedScale, UnequalAxes, Shear},
		[]float64{0, 0, 0},
		mat.NewSymDense(3, []float64{
			meanU * meanU, 0, 0,
			0, ratioU * ratioU, 0,
			0, 0, squareU * squareU,
		}),
		func(e []float64, px r2.Vec) r2.Vec {
			return r2.Vec{
				X: kx*(1+e[0]+e[1]/2)*px.X + e[2]*ky*px.Y,
				Y: -ky * (1 + e[0] - e[1]/2) * px.Y,
			}
		})
	if err != nil {
		return nil, err
	}
	p.URel = scaleU
	return p, nil
}
