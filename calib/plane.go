// Package calib knows how the pixels of a picture map to millimetres on the
// part's face, and how surely. Every way of getting scale builds a Plane, and
// nothing downstream asks which. It does not know what a pitch circle is.
package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Plane maps pixels to millimetres on the face as seen looking at it: x
// right, y up. The mapping is a model with parameters, of which the joint
// covariance is known: they are the errors that all marks of a picture share.
type Plane struct {
	Method string  // how scale was got, in words, for example "dpi of the file (PNG pHYs)"
	URel   float64 // relative standard uncertainty of a length on the face

	// Names says which error each parameter stands for, Params are their
	// values and Cov their covariance.
	Names  []string
	Params []float64
	Cov    *mat.SymDense

	model  func(params []float64, px r2.Vec) r2.Vec
	mirror bool
	eye    *[3]float64   // where a photograph's camera stood, mm, over the face; nil on a scan
	factor *mat.TriDense // Cholesky factor L of Cov = L Lᵀ; row and column zero where a variance is
}

// newPlane returns the plane of a model at its parameters. A parameter with
// zero variance is taken as exact.
func newPlane(method string, names []string, params []float64, cov *mat.SymDense, model func([]float64, r2.Vec) r2.Vec) (*Plane, error) {
	p := &Plane{Method: method, Names: names, Params: params, Cov: cov, model: model}
	factor, err := semiCholesky(cov)
	if err != nil {
		return nil, fmt.Errorf("scale by %s: %w", method, err)
	}
	p.factor = factor
	return p, nil
}

// Mirrored returns the plane of the same picture taken from behind: what is
// right in the picture is left on the face.
func (p *Plane) Mirrored() *Plane {
	m := *p
	m.mirror = !p.mirror
	return &m
}

// MM returns the place on the face, in mm, of a point of the picture.
func (p *Plane) MM(px r2.Vec) r2.Vec { return p.at(p.Params, px) }

func (p *Plane) at(params []float64, px r2.Vec) r2.Vec {
	mm := p.model(params, px)
	if p.mirror {
		mm.X = -mm.X
	}
	return mm
}

// ByParams returns the 2×k derivatives of the place on the face of px by the
// parameters, by central differences over a thousandth of each parameter's
// standard uncertainty (in which every model is as good as linear).
func (p *Plane) ByParams(px r2.Vec) *mat.Dense {
	jac := mat.NewDense(2, max(len(p.Params), 1), nil)
	moved := append([]float64(nil), p.Params...)
	for i, v := range p.Params {
		h := 1e-3 * math.Sqrt(p.Cov.At(i, i))
		if h == 0 {
			continue
		}
		moved[i] = v + h
		a := p.at(moved, px)
		moved[i] = v - h
		b := p.at(moved, px)
		moved[i] = v
		jac.Set(0, i, (a.X-b.X)/(2*h))
		jac.Set(1, i, (a.Y-b.Y)/(2*h))
	}
	return jac
}

// ByPixel returns the 2×2 derivatives of the place on the face by the
// pixel's x and y, in mm per px.
func (p *Plane) ByPixel(px r2.Vec) [2][2]float64 {
	const h = 0.5
	x1, x0 := p.MM(r2.Vec{X: px.X + h, Y: px.Y}), p.MM(r2.Vec{X: px.X - h, Y: px.Y})
	y1, y0 := p.MM(r2.Vec{X: px.X, Y: px.Y + h}), p.MM(r2.Vec{X: px.X, Y: px.Y - h})
	return [2][2]float64{
		{(x1.X - x0.X) / (2 * h), (y1.X - y0.X) / (2 * h)},
		{(x1.Y - x0.Y) / (2 * h), (y1.Y - y0.Y) / (2 * h)},
	}
}

// MMPerPx returns how many mm one pixel is along x and along y at px.
func (p *Plane) MMPerPx(px r2.Vec) (x, y float64) {
	j := p.ByPixel(px)
	return math.Hypot(j[0][0], j[1][0]), math.Hypot(j[0][1], j[1][1])
}

// Aside returns how far, in mm along x and y of the face, what lies 1 mm below
// it at px is seen aside: towards the foot of the camera. It is zero on a scan.
func (p *Plane) Aside(px r2.Vec) r2.Vec {
	if p.eye == nil {
		return r2.Vec{}
	}
	foot := r2.Vec{X: p.eye[0], Y: p.eye[1]}
	if p.mirror {
		foot.X = -foot.X
	}
	return r2.Scale(1/p.eye[2], r2.Sub(foot, p.MM(px)))
}

// Shared returns how the place of px moves (mm) for each of k independent
// errors of one standard uncertainty that all points of the picture share.
// The covariance that two points have through the plane is the sum of the
// outer products of their displacements: J L (J' L)ᵀ with Cov = L Lᵀ
// (JCGM 100:2008 equation F.2). Where the parameters are uncorrelated, error
// i is that of Names[i].
func (p *Plane) Shared(px r2.Vec) []r2.Vec {
	if len(p.Params) == 0 {
		return nil
	}
	var d mat.Dense
	d.Mul(p.ByParams(px), p.factor)
	out := make([]r2.Vec, len(p.Params))
	for i := range out {
		out[i] = r2.Vec{X: d.At(0, i), Y: d.At(1, i)}
	}
	return out
}

// semiCholesky returns lower triangular L with L Lᵀ = cov; a zero variance
// gives a zero row.
func semiCholesky(cov *mat.SymDense) (*mat.TriDense, error) {
	n := 0
	if cov != nil {
		n = cov.SymmetricDim()
	}
	if n == 0 {
		return nil, nil
	}
	l := mat.NewTriDense(n, mat.Lower, nil)
	for j := range n {
		d := cov.At(j, j)
		for k := range j {
			d -= l.At(j, k) * l.At(j, k)
		}
		switch {
		case math.IsNaN(d) || math.IsInf(d, 0) || d < -1e-9*cov.At(j, j):
			return nil, fmt.Errorf("its uncertainty is not a covariance")
		case d <= 1e-12*cov.At(j, j):
			for i := j + 1; i < n; i++ {
				rest := cov.At(i, j)
				for k := range j {
					rest -= l.At(i, k) * l.At(j, k)
				}
				if !(math.Abs(rest) <= 1e-6*math.Sqrt(cov.At(i, i)*cov.At(j, j))) {
					return nil, fmt.Errorf("its uncertainty is not a covariance")
				}
			}
			continue
		}
		l.SetTri(j, j, math.Sqrt(d))
		for i := j + 1; i < n; i++ {
			v := cov.At(i, j)
			for k := range j {
				v -= l.At(i, k) * l.At(j, k)
			}
			l.SetTri(i, j, v/l.At(j, j))
		}
	}
	return l, nil
}

// Px returns the point of the picture that lies at mm on the face, by Newton
// steps from start, a point near it. ok is false where there is none.
func (p *Plane) Px(mm, start r2.Vec) (px r2.Vec, ok bool) {
	px = start
	for range 50 {
		miss := r2.Sub(mm, p.MM(px))
		j := p.ByPixel(px)
		det := j[0][0]*j[1][1] - j[0][1]*j[1][0]
		if det == 0 || math.IsNaN(det) {
			return px, false
		}
		step := r2.Vec{
			X: (j[1][1]*miss.X - j[0][1]*miss.Y) / det,
			Y: (j[0][0]*miss.Y - j[1][0]*miss.X) / det,
		}
		px = r2.Add(px, step)
		if r2.Norm(step) < 1e-9 {
			return px, true
		}
	}
	return px, false
}
