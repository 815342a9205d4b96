package calib

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// pose is the camera over the sheet, in the sheet's normalised coordinates.
type pose struct {
	at   r3.Vec // z towards the camera
	tilt float64
}

// poseOf takes the camera's place from a homography from the sheet to
// directions, of which the focal length is to be multiplied by focal
// (Z. Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22
// (2000) 1330–1334, section 3.1).
func poseOf(h homography, focal float64) (pose, error) {
	x, y, z, t := axesOf(h, focal)
	t = r3.Scale(-1, t)
	at := r3.Vec{X: r3.Dot(x, t), Y: r3.Dot(y, t), Z: r3.Dot(z, t)}
	if !(at.Z > 0) || math.IsInf(at.Z+math.Abs(at.X)+math.Abs(at.Y), 0) || math.IsNaN(at.X+at.Y) {
		return pose{}, errors.New("the known points put the camera behind the sheet")
	}
	return pose{at: at, tilt: math.Acos(math.Min(math.Abs(z.Z), 1))}, nil
}

// axesOf returns the sheet's axes, and its origin, in the camera's axes.
func axesOf(h homography, focal float64) (x, y, z, origin r3.Vec) {
	a := r3.Vec{X: h[0] / focal, Y: h[3] / focal, Z: h[6]}
	b := r3.Vec{X: h[1] / focal, Y: h[4] / focal, Z: h[7]}
	t := r3.Vec{X: h[2] / focal, Y: h[5] / focal, Z: 1}
	size := (r3.Norm(a) + r3.Norm(b)) / 2
	z = r3.Unit(r3.Cross(a, b))
	// Both axes give way alike until they are square.
	u, v := r3.Unit(a), r3.Unit(b)
	p, q := r3.Unit(r3.Add(u, v)), r3.Unit(r3.Sub(u, v))
	x, y = r3.Scale(math.Sqrt2/2, r3.Add(p, q)), r3.Scale(math.Sqrt2/2, r3.Sub(p, q))
	return x, y, z, r3.Scale(1/size, t)
}

// focalOf finds by which factor the focal length that directions suppose must
// be multiplied, from what is known (it is 1, with standard uncertainty u of
// its logarithm) and from what a tilted view says of it: the sheet's axes are
// equally scaled and square (Zhang 2000, equations 3 and 4). It returns the
// factor and the standard uncertainty of its logarithm. cov is that of the
// homography.
func focalOf(h homography, cov mat.Symmetric, u float64) (factor, uLog float64) {
	miss := func(h homography, shift r2.Vec, s float64) [2]float64 {
		ax, ay := (h[0]+shift.X*h[6])/s, (h[3]+shift.Y*h[6])/s
		bx, by := (h[1]+shift.X*h[7])/s, (h[4]+shift.Y*h[7])/s
		size := (ax*ax + ay*ay + bx*bx + by*by + h[6]*h[6] + h[7]*h[7]) / 2
		return [2]float64{
			(ax*bx + ay*by + h[6]*h[7]) / size,
			(ax*ax + ay*ay + h[6]*h[6] - bx*bx - by*by - h[7]*h[7]) / size,
		}
	}
	const reach, parts = 1.5, 600 // of the logarithm
	var sum, first, second float64
	least := math.Inf(1)
	at := make([]float64, 2*parts+1)
	for i := range at {
		x := reach * float64(i-parts) / parts
		s := math.Exp(x)
		m := miss(h, r2.Vec{}, s)
		// What the miss is uncertain by: the homography, and where the lens's
		// axis meets the picture.
		var v [2][2]float64
		j := mat.NewDense(2, 8, nil)
		for k := range 8 {
			hi, lo := h, h
			hi[k] += 1e-6
			lo[k] -= 1e-6
			a, b := miss(hi, r2.Vec{}, s), miss(lo, r2.Vec{}, s)
			j.Set(0, k, (a[0]-b[0])/2e-6)
			j.Set(1, k, (a[1]-b[1])/2e-6)
		}
		var c mat.Dense
		c.Product(j, cov, j.T())
		for r := range 2 {
			for q := range 2 {
				v[r][q] = c.At(r, q)
			}
		}
		for _, d := range []r2.Vec{{X: axisU}, {Y: axisU}} {
			a := miss(h, d, s)
			e := [2]float64{a[0] - m[0], a[1] - m[1]}
			for r := range 2 {
				for q := range 2 {
					v[r][q] += e[r] * e[q]
				}
			}
		}
		v[0][0] += 1e-12
		v[1][1] += 1e-12
		det := v[0][0]*v[1][1] - v[0][1]*v[1][0]
		at[i] = (m[0]*m[0]*v[1][1]-2*m[0]*m[1]*v[0][1]+m[1]*m[1]*v[0][0])/det + math.Log(det) + x*x/(u*u)
		least = math.Min(least, at[i])
	}
	for i, c := range at {
		x := reach * float64(i-parts) / parts
		w := math.Exp(-(c - least) / 2)
		sum += w
		first += w * x
		second += w * x * x
	}
	mean := first / sum
	step := reach / parts
	return math.Exp(mean), math.Sqrt(math.Max(second/sum-mean*mean, 0) + step*step/12)
}

// axisU is how far from the picture's middle a lens's axis may be, in focal
// lengths, one standard uncertainty. Common practice.
const axisU = 0.01

// How well a focal length is known, relative standard uncertainties: focusing
// changes what a profile says by some tenths of a per cent, EXIF rounds, and
// phones differ.
const (
	profileFocalU = 0.005
	exifFocalU    = 0.03
	assumedFocalU = 0.35
)
