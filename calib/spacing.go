package calib

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Row is a row of equally spaced points in a picture: each with its number.
type Row struct {
	Number []int
	Px     []r2.Vec
}

// Spacing is how far apart equally spaced points lie on the face.
type Spacing struct {
	MM     float64 // from one number to the next
	U      float64 // mm, its standard uncertainty by how the points scatter
	UPlane float64 // mm, that by the plane's errors, which all points share
	Steps  int     // numbers between the first point and the last, the longer row
}

// Spacing fits the spacing that several rows along one direction (in the
// picture, px) share, by least squares with Tukey's weights. Where the points
// lie is taken to the face first, so that a photograph's perspective is out of
// it.
func (p *Plane) Spacing(along r2.Vec, rows ...Row) (Spacing, error) {
	type point struct {
		row  int
		n, x float64
	}
	var all []point
	var s Spacing
	first, last := r2.Vec{}, r2.Vec{}
	for _, row := range rows {
		if len(row.Px) != len(row.Number) || len(row.Px) < 3 {
			return s, errors.New("a row of equally spaced points has at least three, each with its number")
		}
		if steps := slices.Max(row.Number) - slices.Min(row.Number); steps > s.Steps {
			s.Steps = steps
			first, last = row.Px[0], row.Px[len(row.Px)-1]
		}
	}
	if s.Steps == 0 {
		return s, errors.New("equally spaced points have different numbers")
	}
	direction := r2.Unit(p.along(along, r2.Scale(0.5, r2.Add(first, last))))
	for k, row := range rows {
		for i, px := range row.Px {
			all = append(all, point{k, float64(row.Number[i]), r2.Dot(p.MM(px), direction)})
		}
	}
	weight := make([]float64, len(all))
	for i := range weight {
		weight[i] = 1
	}
	off := make([]float64, len(all))
	var sxx float64
	for range 15 {
		sw, mn, mx := make([]float64, len(rows)), make([]float64, len(rows)), make([]float64, len(rows))
		for i, a := range all {
			sw[a.row] += weight[i]
			mn[a.row] += weight[i] * a.n
			mx[a.row] += weight[i] * a.x
		}
		sxx = 0
		sxy := 0.0
		for i, a := range all {
			if sw[a.row] == 0 {
				return s, errors.New("the points are not equally spaced")
			}
			dn := a.n - mn[a.row]/sw[a.row]
			sxx += weight[i] * dn * dn
			sxy += weight[i] * dn * (a.x - mx[a.row]/sw[a.row])
		}
		if sxx == 0 {
			return s, errors.New("equally spaced points have different numbers")
		}
		slope := sxy / sxx
		abs := make([]float64, len(all))
		for i, a := range all {
			off[i] = a.x - mx[a.row]/sw[a.row] - slope*(a.n-mn[a.row]/sw[a.row])
			abs[i] = math.Abs(off[i])
		}
		slices.Sort(abs)
		scale := math.Max(1.4826*abs[len(abs)/2], 1e-9)
		for i := range weight {
			u := math.Min(math.Abs(off[i])/(4.7*scale), 1)
			weight[i] = (1 - u*u) * (1 - u*u)
		}
		s.MM = math.Abs(slope)
	}
	// Neighbours err together where the thing is worn or dirty for a stretch:
	// the scatter of means over stretches counts too.
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, a := range all {
		lo, hi = math.Min(lo, a.x), math.Max(hi, a.x)
	}
	const blocks = 6
	sum, total := make([]float64, blocks*len(rows)), make([]float64, blocks*len(rows))
	var squares, sw float64
	for i, a := range all {
		b := a.row*blocks + min(int(blocks*(a.x-lo)/(hi-lo)), blocks-1)
		sum[b] += weight[i] * off[i]
		total[b] += weight[i]
		squares += weight[i] * off[i] * off[i]
		sw += weight[i]
	}
	free := math.Max(sw-float64(len(rows))-1, 1)
	each := squares / free
	var over, filled float64
	for b := range sum {
		if total[b] > 0 {
			over += sum[b] * sum[b] / total[b]
			filled++
		}
	}
	if filled > float64(len(rows))+1 {
		each = math.Max(each, over/(filled-float64(len(rows))-1))
	}
	s.U = math.Sqrt(each / sxx)
	s.UPlane = s.MM * math.Sqrt(p.lengthVar(first, last))
	return s, nil
}

// along is the direction on the face of a direction in the picture at px; its
// length is how many mm a pixel in that direction is.
func (p *Plane) along(direction, px r2.Vec) r2.Vec {
	j := p.ByPixel(px)
	return r2.Vec{X: j[0][0]*direction.X + j[0][1]*direction.Y, Y: j[1][0]*direction.X + j[1][1]*direction.Y}
}

// Across is the distance on the face between two lines that run along a
// direction of the picture through the points a and b (px), with its standard
// uncertainty by the plane's errors.
func (p *Plane) Across(along, a, b r2.Vec) (mm, uPlane float64) {
	d := r2.Unit(p.along(along, r2.Scale(0.5, r2.Add(a, b))))
	mm = math.Abs(r2.Cross(d, r2.Sub(p.MM(b), p.MM(a))))
	return mm, mm * math.Sqrt(p.lengthVar(a, b))
}

// Leans is how the camera looks at px past a body whose axis runs along a
// direction of the picture: the tangents of the angles by which the view leans
// along the axis and across it. Both are 0 on a scan.
//
// A round body is seen where rays touch it, and so wider than it is by the
// secant of the angle across.
func (p *Plane) Leans(along, px r2.Vec) (alongTan, acrossTan float64) {
	d, aside := r2.Unit(p.along(along, px)), p.Aside(px)
	return math.Abs(r2.Dot(d, aside)), math.Abs(r2.Cross(d, aside))
}

// Angle is the angle on the face between two directions of the picture at px,
// from 0 to 180 degrees.
func (p *Plane) Angle(a, b, px r2.Vec) float64 {
	u, v := p.along(a, px), p.along(b, px)
	return math.Atan2(math.Abs(r2.Cross(u, v)), r2.Dot(u, v)) * 180 / math.Pi
}
