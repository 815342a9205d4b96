package pattern

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// sheet is one reading in a joint adjustment.
type sheet struct {
	at       []r2.Vec // holes on its page, mm
	mirrored bool
	to       []int // each hole's number among the face's holes, from 0
	factor   *mat.Cholesky
	shared   [sharedTerms]float64 // variances of the shared errors
	group    [sharedTerms]int     // readings of one group have one and the same shared error

	// The outcome: where the page lies on the face, and the shared errors.
	turn  float64
	shift r2.Vec
	errs  [sharedTerms]float64
}

func newSheet(r *Reading) (*sheet, error) {
	s := &sheet{mirrored: r.View == FromBehind}
	for _, h := range r.Holes {
		s.at = append(s.at, r2.Vec{X: h.X, Y: h.Y})
	}
	s.shared = sharedOf(r)
	var ok bool
	if s.factor, ok = own(r, s.shared); !ok {
		return nil, errors.New("its covariance is none")
	}
	return s, nil
}

// lay returns where a point of the face is seen on the page, and the matrix by
// which it follows the point.
func (s *sheet) lay(v r2.Vec) (page r2.Vec, by [2][2]float64) {
	sin, cos := math.Sincos(s.turn)
	p := r2.Vec{X: cos*v.X - sin*v.Y, Y: sin*v.X + cos*v.Y}
	m := [2][2]float64{{1, 0}, {0, 1}}
	for t, e := range s.errs {
		x, y := sharedMoves(r2.Vec{X: 1}, s.mirrored)[t], sharedMoves(r2.Vec{Y: 1}, s.mirrored)[t]
		m[0][0] += e * x.X
		m[1][0] += e * x.Y
		m[0][1] += e * y.X
		m[1][1] += e * y.Y
	}
	page = r2.Vec{X: m[0][0]*p.X + m[0][1]*p.Y + s.shift.X, Y: m[1][0]*p.X + m[1][1]*p.Y + s.shift.Y}
	by = [2][2]float64{
		{m[0][0]*cos + m[0][1]*sin, -m[0][0]*sin + m[0][1]*cos},
		{m[1][0]*cos + m[1][1]*sin, -m[1][0]*sin + m[1][1]*cos},
	}
	return page, by
}

// lift is the inverse of lay: where a point of the page is on the face.
func (s *sheet) lift(page r2.Vec) r2.Vec {
	origin, by := s.lay(r2.Vec{})
	v := r2.Sub(page, origin)
	det := by[0][0]*by[1][1] - by[0][1]*by[1][0]
	return r2.Vec{X: (by[1][1]*v.X - by[0][1]*v.Y) / det, Y: (by[0][0]*v.Y - by[1][0]*v.X) / det}
}

// jointly is a joint adjustment of sheets to one face.
type jointly struct {
	sheets []*sheet
	face   []r2.Vec
	cov    *mat.SymDense // of the face's x1, y1, x2, …, without shift and turn of the whole
	chi    float64
	spare  int // degrees of freedom
}

// p is the probability of residuals as large as these or larger.
func (j *jointly) p() float64 {
	if j.spare < 1 {
		return 1
	}
	return distuv.ChiSquared{K: float64(j.spare)}.Survival(j.chi)
}

// adjust finds the face and the pages' places on it by least squares, after
// Gauss and Newton. A shared error is an unknown of its group, expected to be
// zero with its variance: several pages turned to one another on the scanner's
// glass tell what its axes differ by, and none tells its scale.
func (j *jointly) adjust() error {
	m := 2 * len(j.face)
	size := m + 3*len(j.sheets)
	unknown := map[[2]int]int{} // term and group → place among the unknowns
	prior := map[int]float64{}  // that place → variance
	for _, s := range j.sheets {
		for t, v := range s.shared {
			if v <= 0 {
				continue
			}
			key := [2]int{t, s.group[t]}
			if _, ok := unknown[key]; !ok {
				unknown[key] = size
				size++
			}
			prior[unknown[key]] = math.Max(prior[unknown[key]], v)
		}
	}
	errs := make([]float64, size)
	var inverse mat.SymDense
	for range 30 {
		normal := mat.NewSymDense(size, nil)
		right := mat.NewVecDense(size, nil)
		j.chi = 0
		for at, v := range prior {
			normal.SetSym(at, at, 1/v)
			right.SetVec(at, -errs[at]/v)
			j.chi += errs[at] * errs[at] / v
		}
		for k, s := range j.sheets {
			n := 2 * len(s.at)
			jac, miss := mat.NewDense(n, size, nil), mat.NewVecDense(n, nil)
			for i, v := range s.at {
				f := j.face[s.to[i]]
				page, by := s.lay(f)
				miss.SetVec(2*i, v.X-page.X)
				miss.SetVec(2*i+1, v.Y-page.Y)
				turned := r2.Vec{X: -f.Y, Y: f.X}
				for a := range 2 {
					row := 2*i + a
					jac.Set(row, 2*s.to[i], by[a][0])
					jac.Set(row, 2*s.to[i]+1, by[a][1])
					jac.Set(row, m+3*k, by[a][0]*turned.X+by[a][1]*turned.Y)
					jac.Set(row, m+3*k+1+a, 1)
				}
				for t, move := range sharedMoves(r2.Sub(page, s.shift), s.mirrored) {
					if at, ok := unknown[[2]int{t, s.group[t]}]; ok && s.shared[t] > 0 {
						jac.Set(2*i, at, move.X)
						jac.Set(2*i+1, at, move.Y)
					}
				}
			}
			var weighted mat.Dense
			if err := s.factor.SolveTo(&weighted, jac); err != nil && !nearSingular(err) {
				return err
			}
			var part mat.Dense
			part.Mul(jac.T(), &weighted)
			for a := range size {
				for b := a; b < size; b++ {
					normal.SetSym(a, b, normal.At(a, b)+part.At(a, b))
				}
			}
			var pull, w mat.VecDense
			pull.MulVec(weighted.T(), miss)
			right.AddVec(right, &pull)
			if err := s.factor.SolveVecTo(&w, miss); err != nil && !nearSingular(err) {
				return err
			}
			j.chi += mat.Dot(miss, &w)
		}
		for _, g := range j.rigid() {
			wide := mat.NewVecDense(size, nil)
			for i := range m {
				wide.SetVec(i, g.AtVec(i))
			}
			normal.SymRankOne(normal, normal.At(0, 0), wide)
		}
		var chol mat.Cholesky
		if !chol.Factorize(normal) {
			return errors.New("the readings share too few holes to be laid on one another")
		}
		var step mat.VecDense
		if err := chol.SolveVecTo(&step, right); err != nil && !nearSingular(err) {
			return err
		}
		largest := 0.0
		for i := range j.face {
			j.face[i].X += step.AtVec(2 * i)
			j.face[i].Y += step.AtVec(2*i + 1)
			largest = math.Max(largest, math.Hypot(step.AtVec(2*i), step.AtVec(2*i+1)))
		}
		for k, s := range j.sheets {
			s.turn += step.AtVec(m + 3*k)
			s.shift.X += step.AtVec(m + 3*k + 1)
			s.shift.Y += step.AtVec(m + 3*k + 2)
			for t := range s.errs {
				if at, ok := unknown[[2]int{t, s.group[t]}]; ok && s.shared[t] > 0 {
					s.errs[t] += step.AtVec(at)
					errs[at] = s.errs[t]
				}
			}
		}
		if err := chol.InverseTo(&inverse); err != nil && !nearSingular(err) {
			return err
		}
		if largest < 1e-8 {
			break
		}
	}
	j.spare = 3 - m - 3*len(j.sheets)
	for _, s := range j.sheets {
		j.spare += 2 * len(s.at)
	}
	j.cov = j.inner(&inverse)
	return nil
}

// nearSingular says whether an error only warns of a large condition number.
func nearSingular(err error) bool {
	var c mat.Condition
	return errors.As(err, &c)
}

// rigid are a shift along each axis and a turn of the whole face, orthonormal.
func (j *jointly) rigid() [3]*mat.VecDense {
	n := len(j.face)
	var centre r2.Vec
	for _, v := range j.face {
		centre = r2.Add(centre, r2.Scale(1/float64(n), v))
	}
	var g [3]*mat.VecDense
	for k := range g {
		g[k] = mat.NewVecDense(2*n, nil)
	}
	for i, v := range j.face {
		g[0].SetVec(2*i, 1)
		g[1].SetVec(2*i+1, 1)
		g[2].SetVec(2*i, centre.Y-v.Y)
		g[2].SetVec(2*i+1, v.X-centre.X)
	}
	for _, v := range g {
		if l := mat.Norm(v, 2); l > 0 {
			v.ScaleVec(1/l, v)
		}
	}
	return g
}

// inner takes the shift and the turn of the whole out of the covariance of the
// face's holes.
func (j *jointly) inner(all *mat.SymDense) *mat.SymDense {
	m := 2 * len(j.face)
	out := mat.NewSymDense(m, nil)
	for a := range m {
		for b := a; b < m; b++ {
			out.SetSym(a, b, all.At(a, b))
		}
	}
	f, t := mat.NewDense(m, 3, nil), mat.NewDense(3, m, nil)
	for k, g := range j.rigid() {
		for i := range m {
			f.Set(i, k, g.AtVec(i))
			t.Set(k, i, g.AtVec(i))
		}
	}
	return propagateLess(out, f, t)
}
