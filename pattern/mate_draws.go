package pattern

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// scatter draws the errors of one side's places (JCGM 101 clause 6.4.8: a
// multivariate normal distribution; 6.4.2 for the zone, a uniform one).
type scatter struct {
	n    int
	root *mat.Dense // 2n×r, its product with r standard normal numbers; nil without a covariance
	zone float64
	z    []float64
	out  *mat.VecDense
}

func newScatter(h Holes, factor float64) *scatter {
	s := &scatter{n: len(h.At), zone: h.Zone, out: mat.NewVecDense(2*len(h.At), nil)}
	if h.Cov == nil || factor == 0 {
		return s
	}
	var e mat.EigenSym
	if !e.Factorize(h.Cov, true) {
		return s // a checked covariance has eigenvalues
	}
	values := e.Values(nil)
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	largest := values[len(values)-1]
	var columns []int
	for k, v := range values {
		if v > 1e-14*largest {
			columns = append(columns, k)
		}
	}
	if len(columns) == 0 {
		return s
	}
	s.root = mat.NewDense(2*s.n, len(columns), nil)
	for c, k := range columns {
		for i := range 2 * s.n {
			s.root.Set(i, c, factor*math.Sqrt(values[k])*vectors.At(i, k))
		}
	}
	s.z = make([]float64, len(columns))
	return s
}

// draw adds errors to the places and returns the largest of them.
func (s *scatter) draw(random *rand.Rand, places, to []r2.Vec) (largest float64) {
	copy(to, places)
	if s.root != nil {
		for k := range s.z {
			s.z[k] = random.NormFloat64()
		}
		s.out.MulVec(s.root, mat.NewVecDense(len(s.z), s.z))
		for i := range to {
			to[i].X += s.out.AtVec(2 * i)
			to[i].Y += s.out.AtVec(2*i + 1)
		}
	}
	if s.zone > 0 {
		for i := range to {
			sin, cos := math.Sincos(2 * math.Pi * random.Float64())
			r := s.zone / 2 * math.Sqrt(random.Float64())
			to[i].X += r * cos
			to[i].Y += r * sin
		}
	}
	for i, p := range to {
		largest = math.Max(largest, math.Sqrt(r2.Norm2(r2.Sub(p, places[i]))))
	}
	return largest
}

// ensemble draws both sides of a joint over and over, always the same.
type ensemble struct {
	face, part     []r2.Vec // nominal
	faceRoom       []float64
	partRoom       []float64
	drawFace, draw *scatter
	draws          int
	seed           uint64
}

// newEnsemble makes one in which the face's errors are factor times what they
// are stated to be.
func (j Joint) newEnsemble(factor float64, draws int, seed uint64) *ensemble {
	e := &ensemble{draws: draws, seed: seed}
	e.face, e.part = j.laid()
	e.faceRoom, e.partRoom = j.rooms()
	e.drawFace = newScatter(j.Face, factor)
	part := j.Part
	if j.Flip && part.Cov != nil {
		part.Cov = mirroredCov(part.Cov)
	}
	e.draw = newScatter(part, 1)
	return e
}

// mirroredCov is the covariance after every x is reversed.
func mirroredCov(cov mat.Symmetric) mat.Symmetric {
	n := cov.SymmetricDim()
	out := mat.NewSymDense(n, nil)
	for a := range n {
		for b := a; b < n; b++ {
			out.SetSym(a, b, cov.At(a, b)*float64(1-2*((a+b)%2)))
		}
	}
	return out
}

// each calls do with the places of every draw and the most by which a hole of
// the face and one of the part are together off their nominal places.
func (e *ensemble) each(do func(face, part []r2.Vec, off float64)) {
	random := rand.New(rand.NewPCG(e.seed, 0x9e3779b97f4a7c15))
	face, part := make([]r2.Vec, len(e.face)), make([]r2.Vec, len(e.part))
	for range e.draws {
		off := e.drawFace.draw(random, e.face, face)
		off += e.draw.draw(random, e.part, part)
		do(face, part, off)
	}
}

// reach is how much worse than the best at the nominal places an assignment
// can be and yet be the best in a draw.
func (e *ensemble) reach() (mm float64) {
	e.each(func(_, _ []r2.Vec, off float64) { mm = math.Max(mm, 2*off) })
	return mm
}

// drawTolerance (mm) is how closely each draw is solved.
const drawTolerance = 1e-5

// misfits returns the smallest misfit of every draw over the matches, which
// must be all within reach and the best first. The part goes on where it is
// not positive.
func (e *ensemble) misfits(matches []match) []float64 {
	out := make([]float64, 0, e.draws)
	turns := make([]turning, len(matches))
	for k, m := range matches {
		turns[k] = turningOf(m.to, e.face, e.part, e.faceRoom, e.partRoom)
	}
	e.each(func(face, part []r2.Vec, off float64) {
		best := math.Inf(1)
		for k := range matches {
			if matches[k].f-off >= best {
				break
			}
			turns[k].place(matches[k].to, face, part)
			s, _ := turns[k].best(matches[k].theta, drawTolerance, best)
			best = math.Min(best, s.f)
		}
		out = append(out, best)
	})
	return out
}

// turningOf is the problem of one assignment.
func turningOf(to []int, face, part []r2.Vec, faceRoom, partRoom []float64) turning {
	var t turning
	t.set(to, face, part, faceRoom, partRoom)
	return t
}

func (p *turning) set(to []int, face, part []r2.Vec, faceRoom, partRoom []float64) {
	p.to, p.from, p.room = p.to[:0], p.from[:0], p.room[:0]
	for i, j := range to {
		p.to = append(p.to, face[i])
		p.from = append(p.from, part[j])
		p.room = append(p.room, faceRoom[i]+partRoom[j])
	}
}

// place sets the places of a problem that exists.
func (p *turning) place(to []int, face, part []r2.Vec) {
	copy(p.to, face)
	for i, j := range to {
		p.from[i] = part[j]
	}
}
