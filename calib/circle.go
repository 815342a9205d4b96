package calib

import (
	"math"

	"boltrose/pattern/circle"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Circle is a mark measured on the face.
type Circle struct {
	Centre   r2.Vec // mm
	Diameter float64

	// Sigma is the standard deviation (mm) that independent edge points of
	// unit weight would need in order to wander as slowly along the rim as
	// these do; Cofactor times its square is the covariance of centre x,
	// centre y and radius.
	Sigma    float64
	Cofactor [3][3]float64

	Scatter float64 // mm, robust standard deviation of the edge points about the circle

	Shared         []r2.Vec  // mm, how the centre moves with each error of the plane
	SharedDiameter []float64 // mm, and how the diameter changes
}

// Measure fits a circle to a mark's edge points after they have been put on
// the face: under perspective, the centre of a circle's image is not the
// image of its centre (J. Heikkilä, "Geometric camera calibration using
// circular control points", IEEE TPAMI 22 (2000) 1066–1077).
func (p *Plane) Measure(m vision.Mark) (Circle, error) {
	mm := make([]r2.Vec, len(m.Edge))
	for i, e := range m.Edge {
		mm[i] = p.MM(e)
	}
	kx, ky := p.MMPerPx(m.Centre)
	start := circle.Circle{Centre: p.MM(m.Centre), Radius: m.Radius * (kx + ky) / 2}
	fit, err := circle.Robust(start, mm, m.Weight, 0.05*(kx+ky)/2)
	if err != nil {
		return Circle{}, err
	}
	c := Circle{
		Centre:   fit.Centre,
		Diameter: 2 * fit.Radius,
		Sigma:    fit.SlowSigma(mm),
		Cofactor: fit.Cofactor,
		Scatter:  m.Scatter * (kx + ky) / 2,
	}
	// How the plane's errors move the circle: its rim at four places.
	centre := p.Shared(m.Centre)
	var rim [4][]r2.Vec
	for i := range rim {
		sin, cos := math.Sincos(float64(i) * math.Pi / 2)
		rim[i] = p.Shared(r2.Vec{X: m.Centre.X + m.Radius*cos, Y: m.Centre.Y + m.Radius*sin})
	}
	for k := range centre {
		grow := 0.0
		for i := range rim {
			sin, cos := math.Sincos(float64(i) * math.Pi / 2)
			out := p.ByPixel(m.Centre)
			dir := r2.Unit(r2.Vec{X: out[0][0]*cos + out[0][1]*sin, Y: out[1][0]*cos + out[1][1]*sin})
			grow += r2.Dot(r2.Sub(rim[i][k], centre[k]), dir) / 4
		}
		c.SharedDiameter = append(c.SharedDiameter, 2*grow)
	}
	c.Shared = centre
	return c, nil
}
