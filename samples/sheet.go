package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// sheet is the paper on the glass.
type sheet struct {
	all          bool // it covers everything seen
	centre       r2.Vec
	halfW, halfH float64
	sin, cos     float64
}

func newSheet(s *scene) sheet {
	p := sheet{
		all:    s.Paper.Width == 0 || s.Paper.Height == 0,
		centre: r2.Vec{X: s.width / 2, Y: s.height / 2},
		halfW:  s.Paper.Width / 2, halfH: s.Paper.Height / 2,
	}
	p.sin, p.cos = math.Sincos(-s.Paper.Turn * math.Pi / 180)
	return p
}

// outside is how far a point lies off the sheet, mm; negative on it.
func (p sheet) outside(g r2.Vec) float64 {
	if p.all {
		return -1e3
	}
	dx, dy := g.X-p.centre.X, g.Y-p.centre.Y
	x := math.Abs(p.cos*dx+p.sin*dy) - p.halfW
	y := math.Abs(-p.sin*dx+p.cos*dy) - p.halfH
	return math.Hypot(max(x, 0), max(y, 0)) + min(0, max(x, y))
}

// corner maps sheet coordinates, -1 to 1 each, to the glass. Without an edge
// in view the sheet is what is seen.
func (p sheet) corner(s *scene, x, y float64) r2.Vec {
	if p.all {
		return r2.Vec{X: s.width * (1 + x) / 2, Y: s.height * (1 + y) / 2}
	}
	x, y = x*p.halfW, y*p.halfH
	return r2.Vec{X: p.centre.X + p.cos*x - p.sin*y, Y: p.centre.Y + p.sin*x + p.cos*y}
}

// shadeCell is the cell of the map of smudges and folds, mm.
const shadeCell = 0.5

// shading is the brightness of the sheet where it was smudged or folded.
// It is nil when nothing shades it.
func (s *scene) shading() *field {
	if s.Smudges == 0 && s.Folds == 0 {
		return nil
	}
	f := newField(s.width, s.height, shadeCell)
	for i := range f.v {
		f.v[i] = 1
	}
	s.smudge(f)
	for _, l := range s.foldLines() {
		for j := range f.h {
			for i := range f.w {
				// The sheet no longer lies flat: one side of the fold leans
				// towards the lamp, the other away from it.
				d := (f.position(i)-l.at.X)*l.normal.X + (f.position(j)-l.at.Y)*l.normal.Y
				lean := math.Exp(-math.Abs(d) / 5)
				if d > 0 {
					lean = -1.3 * lean
				}
				f.v[j*f.w+i] *= float32(1 + 0.05*lean)
			}
		}
	}
	return f
}

// smudge draws fingers and the side of the hand over the sheet.
func (s *scene) smudge(f *field) {
	rng := newRand(s.Seed, 7)
	for range s.Smudges {
		c := r2.Vec{X: s.width * rng.Float64(), Y: s.height * rng.Float64()}
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		length, width := 6+18*rng.Float64(), 3+6*rng.Float64()
		depth := 0.03 + 0.09*rng.Float64()
		seed := rng.Uint64()
		for j := range f.h {
			for i := range f.w {
				dx, dy := f.position(i)-c.X, f.position(j)-c.Y
				u, v := (cos*dx+sin*dy)/length, (-sin*dx+cos*dy)/width
				d := u*u + v*v
				if d > 6 {
					continue
				}
				streak := 1 + 0.3*noise2(seed, u*length/9, v*width/2.2) + 0.3*noise2(seed+1, dx/5, dy/5)
				f.v[j*f.w+i] *= float32(1 - depth*math.Exp(-d)*max(0, streak))
			}
		}
	}
}

// fold is a straight fold right across the sheet.
type fold struct{ at, normal r2.Vec }

func (s *scene) foldLines() []fold {
	rng := newRand(s.Seed, 8)
	var list []fold
	for k := range s.Folds {
		// Sheets are folded near the middle, first one way, then the other.
		a := math.Pi/2*float64(k) + 0.04*rng.NormFloat64()
		at := s.paper.corner(s, 0.3*(2*rng.Float64()-1), 0.3*(2*rng.Float64()-1))
		sin, cos := math.Sincos(a - s.Paper.Turn*math.Pi/180)
		list = append(list, fold{at: at, normal: r2.Vec{X: cos, Y: sin}})
	}
	return list
}
