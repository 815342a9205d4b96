package pattern

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// observation is one equation of the adjustment, in units of its standard
// uncertainty.
type observation struct {
	name     string
	hole     int     // the hole that it says lies on the circle; 0 for a measurement
	along    bool    // that it lies at its even place along it
	value, u float64 // what was measured (mm)
	residual float64 // measured less computed, in units of u
}

const pcdName = "PCD"

// adjust moves the holes, from the wheel of the start, to where the squared
// residuals are least, by the method of Gauss and Newton. The network floats:
// of all solutions, which differ by a shift and a turn of the whole, each step
// is the shortest, and the covariance is that of the inner constraints
// (Meissl 1962): it blames no hole for where the page lies.
func (n *network) adjust(start wheel) error {
	n.at = make([]r2.Vec, n.Holes)
	for i := range n.at {
		sin, cos := math.Sincos(start.arc(1, i+1) + math.Pi/2)
		n.at[i] = r2.Vec{X: start.radius * cos, Y: start.radius * sin}
	}
	n.d = start.d
	if !n.freeD {
		if n.d = n.Diameter; n.d == 0 {
			n.d = n.standIn()
		}
	}
	obs, a, err := n.observe()
	if err != nil {
		return err
	}
	for range 50 {
		step, _, _, err := n.step(obs, a)
		if err != nil {
			return err
		}
		at, d, cost := n.at, n.d, costOf(obs)
		better := false
		for share := 1.0; share > 1e-6; share /= 2 {
			n.at = make([]r2.Vec, n.Holes)
			for i := range n.at {
				n.at[i] = r2.Vec{X: at[i].X + share*step.AtVec(2*i), Y: at[i].Y + share*step.AtVec(2*i+1)}
			}
			if n.freeD {
				n.d = d + share*step.AtVec(2*n.Holes)
			}
			if o, j, err := n.observe(); err == nil && costOf(o) < cost {
				obs, a, better = o, j, cost-costOf(o) > 1e-12*cost+1e-18
				break
			}
			n.at, n.d = at, d
		}
		if !better {
			break
		}
	}
	if n.d <= 0 || n.d > maxMM {
		return fmt.Errorf("%w: the distances outside and inside make the holes %.4g mm wide", ErrContradiction, n.d)
	}
	n.obs, n.rows = obs, a
	_, n.cov, n.reached, err = n.step(obs, a)
	return err
}

// standIn is a diameter for drawing holes whose own is not known.
func (n *network) standIn() float64 {
	short := math.Inf(1)
	for i, p := range n.at {
		for _, q := range n.at[:i] {
			short = math.Min(short, r2.Norm(r2.Sub(p, q)))
		}
	}
	return math.Max(short/5, 1e-3)
}

func costOf(obs []observation) float64 {
	sum := 0.0
	for _, o := range obs {
		sum += o.residual * o.residual
	}
	return sum
}

// unknowns is the number of coordinates and, with freeD, the diameter.
func (n *network) unknowns() int {
	if n.freeD {
		return 2*n.Holes + 1
	}
	return 2 * n.Holes
}

// observe computes every observation at the present place, and the
// derivatives of what is computed.
func (n *network) observe() ([]observation, *mat.Dense, error) {
	fit, err := pitchCircle(n.at)
	if err != nil {
		return nil, nil, err
	}
	parts := make([]part, n.Holes)
	for i, p := range n.at {
		parts[i] = part{Ring: Ring{Centre: p}, on: true}
	}
	datum, err := pitchCircleJacobian(fit, parts)
	if err != nil {
		return nil, nil, err
	}
	var obs []observation
	var rows []float64
	// add takes an observation and its row, both in mm.
	add := func(o observation, computed float64, row []float64) {
		o.residual = (o.value - computed) / o.u
		for i := range row {
			row[i] /= o.u
		}
		obs, rows = append(obs, o), append(rows, row...)
	}
	for _, d := range n.Between {
		row := make([]float64, n.unknowns())
		v := r2.Sub(n.at[d.To-1], n.at[d.From-1])
		l := math.Max(r2.Norm(v), 1e-12)
		row[2*d.To-2], row[2*d.To-1] = v.X/l, v.Y/l
		row[2*d.From-2], row[2*d.From-1] = -v.X/l, -v.Y/l
		reach, byD := n.reach(d, n.d)
		if n.freeD {
			row[2*n.Holes] = byD
		}
		name := d.Name()
		if d.Over != Centres {
			name += " " + string(d.Over)
		}
		add(observation{name: name, value: d.Value, u: d.U}, l+reach, row)
	}
	if n.PCD > 0 {
		row := make([]float64, n.unknowns())
		mat.Row(row[:2*n.Holes], 2, datum)
		add(observation{name: pcdName, value: n.PCD, u: n.PCDU}, 2*fit.Radius, row)
	}
	if n.freeD && n.Diameter > 0 {
		row := make([]float64, n.unknowns())
		row[2*n.Holes] = 1
		add(observation{name: "hole diameter", value: n.Diameter, u: n.DiameterU}, n.d, row)
	}
	if n.Holes > 3 {
		for i, p := range n.at {
			row := make([]float64, n.unknowns())
			v := r2.Sub(p, fit.Centre)
			l := math.Max(r2.Norm(v), 1e-12)
			for j := range 2 * n.Holes {
				row[j] = -(v.X*datum.At(0, j)+v.Y*datum.At(1, j))/l - datum.At(2, j)/2
			}
			row[2*i] += v.X / l
			row[2*i+1] += v.Y / l
			add(observation{hole: i + 1, u: n.OnCircleU}, l-fit.Radius, row)
		}
	}
	if n.Even {
		n.observeEven(fit.Centre, fit.Radius, datum, add)
	}
	return obs, mat.NewDense(len(obs), n.unknowns(), rows), nil
}

// observeEven adds that each hole lies at its even place along the circle,
// counted from where all of them together say.
func (n *network) observeEven(centre r2.Vec, radius float64, datum *mat.Dense, add func(observation, float64, []float64)) {
	off := make([]float64, n.Holes) // along the circle, mm
	rows := make([][]float64, n.Holes)
	mean, meanRow := 0.0, make([]float64, n.unknowns())
	first := 0.0
	for i, p := range n.at {
		v := r2.Sub(p, centre)
		l2 := math.Max(r2.Norm2(v), 1e-12)
		a := math.Atan2(v.Y, v.X) - 2*math.Pi*float64(i)/float64(n.Holes)
		if i == 0 {
			first = a
		}
		off[i] = radius * math.Remainder(a-first, 2*math.Pi)
		row := make([]float64, n.unknowns())
		for j := range 2 * n.Holes {
			row[j] = radius * (v.Y*datum.At(0, j) - v.X*datum.At(1, j)) / l2
		}
		row[2*i] -= radius * v.Y / l2
		row[2*i+1] += radius * v.X / l2
		rows[i] = row
		mean += off[i] / float64(n.Holes)
		for j := range row {
			meanRow[j] += row[j] / float64(n.Holes)
		}
	}
	for i, row := range rows {
		for j := range row {
			row[j] -= meanRow[j]
		}
		add(observation{hole: i + 1, along: true, u: n.OnCircleU}, off[i]-mean, row)
	}
}

// step returns the shortest step to the least squares of the linearised
// observations, the unknowns' covariance, and an orthonormal basis of what the
// unknowns can do to the observations, in columns. A shift and a turn of the whole are left out: the three least singular values.
func (n *network) step(obs []observation, a *mat.Dense) (*mat.VecDense, *mat.SymDense, *mat.Dense, error) {
	rank := n.unknowns() - 3
	var svd mat.SVD
	if len(obs) < rank || !svd.Factorize(a, mat.SVDThin) {
		return nil, nil, nil, fmt.Errorf("%w: too few measurements", ErrUndetermined)
	}
	s := svd.Values(nil)
	if s[rank-1]*n.span()*looseShare < 1 {
		return nil, nil, nil, fmt.Errorf("%w: they leave a hole free to move by a large part of the circle; measure more distances", ErrUndetermined)
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	step := mat.NewVecDense(n.unknowns(), nil)
	cov := mat.NewSymDense(n.unknowns(), nil)
	for k := range rank {
		along := 0.0
		for i, o := range obs {
			along += u.At(i, k) * o.residual
		}
		step.AddScaledVec(step, along/s[k], v.ColView(k))
		cov.SymRankOne(cov, 1/(s[k]*s[k]), v.ColView(k))
	}
	return step, cov, mat.DenseCopyOf(u.Slice(0, len(obs), 0, rank)), nil
}

// looseShare is the standard uncertainty, as a share of the pitch circle's
// radius, beyond which a place is not known at all: the derivatives do not
// hold so far.
const looseShare = 0.15

// span is the radius about the holes' centroid.
func (n *network) span() float64 {
	var c r2.Vec
	for _, p := range n.at {
		c = r2.Add(c, r2.Scale(1/float64(n.Holes), p))
	}
	far := 0.0
	for _, p := range n.at {
		far = math.Max(far, r2.Norm(r2.Sub(p, c)))
	}
	return far
}
