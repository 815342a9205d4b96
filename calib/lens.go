package calib

import (
	"fmt"
	"math"
	"strings"

	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Lens is the profile of a camera at one focal length: how directions become
// pixels, in Brown's terms (see optics), and how surely. ControlSet.Lens takes
// it; nothing of a photograph must be resampled for it.
type Lens struct {
	Make, Model   string  // the camera's, as EXIF gives them; "" where it does not
	FocalLengthMM float64 // as EXIF gives it; 0 where it does not
	MadeFrom      string  // in words, for example "9 photographs of a chessboard"

	WidthPx, HighPx int // of the pictures it was made from; the focal lengths are in their pixels

	FX, FY, CX, CY float64 // px
	K1, K2, K3     float64
	P1, P2         float64

	// Cov is the covariance of FX, FY, CX, CY, K1, K2, K3, P1, P2, zero for
	// those that were not fitted.
	Cov *mat.SymDense

	RMSPx    float64 // by how much the points that it was made from were off, as the length of the miss
	Pictures int     // how many it was made from
}

// lensParams is how many parameters a profile has, in the order of Cov.
const lensParams = pH

func (l *Lens) params() []float64 {
	return []float64{l.FX, l.FY, l.CX, l.CY, l.K1, l.K2, l.K3, l.P1, l.P2}
}

// U returns the standard uncertainties of the focal length (px, along x), k1
// and k2.
func (l *Lens) U() (focal, k1, k2 float64) {
	u := func(i int) float64 { return math.Sqrt(math.Max(l.Cov.At(i, i), 0)) }
	return u(pFx), u(pK1), u(pK2)
}

// Matches says why a photograph was not taken with this lens as its EXIF has
// it, or nil where it was: the same camera, the same focal length (to 1 %) and
// the same proportions of the picture. A picture of another size is taken for
// the whole one made smaller: cut-out parts and digital zoom cannot be told.
func (l *Lens) Matches(pic *vision.Picture) error {
	if err := l.Fits(pic.Grey.Rect.Dx(), pic.Grey.Rect.Dy()); err != nil {
		return err
	}
	c := pic.Camera
	same := func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
	switch {
	case l.Make == "" && l.Model == "":
		return fmt.Errorf("the lens profile does not say which camera it is of")
	case c == nil:
		return fmt.Errorf("the picture does not say which camera took it")
	case !same(l.Make, c.Make) || !same(l.Model, c.Model):
		return fmt.Errorf("the lens profile is of a %s %s, and the picture was taken with a %s %s", l.Make, l.Model, c.Make, c.Model)
	case !(math.Abs(l.FocalLengthMM-c.FocalLengthMM) <= 0.01*l.FocalLengthMM):
		return fmt.Errorf("the lens profile is for a focal length of %g mm, and the picture was taken with %g mm", l.FocalLengthMM, c.FocalLengthMM)
	}
	return nil
}

// Fits says why a picture of w × h pixels cannot have been taken with this
// lens, whatever camera it was: its proportions differ, lying or upright.
func (l *Lens) Fits(w, h int) error {
	ratio := float64(max(w, h)) / float64(max(min(w, h), 1))
	own := float64(max(l.WidthPx, l.HighPx)) / float64(max(min(l.WidthPx, l.HighPx), 1))
	if w <= 0 || h <= 0 || math.Abs(ratio/own-1) > 0.01 {
		return fmt.Errorf("the lens profile is for pictures of %d × %d pixels, and one of %d × %d has other proportions: it was cut, or taken with another setting", l.WidthPx, l.HighPx, w, h)
	}
	return nil
}

// scaled returns the parameters and their covariance for a picture of w × h
// pixels. Where one is upright and the other lies, it cannot be told to which
// side the camera was turned, so that the principal point is anywhere about
// the middle.
func (l *Lens) scaled(w, h int) ([]float64, *mat.SymDense) {
	p := l.params()
	cov := mat.NewSymDense(lensParams, nil)
	if l.Cov != nil {
		cov.CopySym(l.Cov)
	}
	wide, high := float64(l.WidthPx), float64(l.HighPx)
	if (w > h) != (l.WidthPx > l.HighPx) && w != h && l.WidthPx != l.HighPx {
		for _, v := range []struct {
			at     int
			middle float64
		}{{pCx, wide / 2}, {pCy, high / 2}} {
			off := p[v.at] - v.middle
			cov.SetSym(v.at, v.at, cov.At(v.at, v.at)+off*off)
			p[v.at] = v.middle
		}
		p[pP1], p[pP2] = 0, 0
		order := [lensParams]int{pFy, pFx, pCy, pCx, pK1, pK2, pK3, pP2, pP1}
		q, c := make([]float64, lensParams), mat.NewSymDense(lensParams, nil)
		for i := range order {
			q[i] = p[order[i]]
			for j := i; j < lensParams; j++ {
				c.SetSym(i, j, cov.At(order[i], order[j]))
			}
		}
		p, cov = q, c
		wide, high = high, wide
	}
	sx, sy := float64(w)/wide, float64(h)/high
	by := [lensParams]float64{sx, sy, sx, sy, 1, 1, 1, 1, 1}
	for i := range by {
		p[i] *= by[i]
		for j := i; j < lensParams; j++ {
			cov.SetSym(i, j, cov.At(i, j)*by[i]*by[j])
		}
	}
	return p, cov
}

// prepare makes the lens known beforehand to the fit of a picture of w × h
// pixels.
func (l *Lens) prepare(m *controlMap, w, h int) {
	p, known := l.scaled(w, h)
	var open []int
	for i, v := range p {
		m.start[i], m.step[i] = v, 0
		if u := math.Sqrt(known.At(i, i)); u > 0 {
			open = append(open, i)
			m.step[i] = 1e-3 * u
		}
	}
	if len(open) == 0 {
		return
	}
	// fx and fy may be one and the same, so that their covariance is singular: a
	// millionth makes it regular.
	cov := mat.NewSymDense(len(open), nil)
	for a, i := range open {
		for b := a; b < len(open); b++ {
			v := known.At(i, open[b])
			if a == b {
				v *= 1 + 1e-6
			}
			cov.SetSym(a, b, v)
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(cov) || chol.InverseTo(&inverse) != nil {
		// No joint covariance; each for itself is on the safe side.
		for _, i := range open {
			m.precision.SetSym(i, i, 1/known.At(i, i))
		}
		return
	}
	for a, i := range open {
		for b := a; b < len(open); b++ {
			m.precision.SetSym(i, open[b], inverse.At(a, b))
		}
	}
}

// CornerPx returns how far (px) from the principal point the farthest corner
// of the picture lies, and how far an ideal lens would show the same thing.
func (l *Lens) CornerPx() (seen, ideal float64) {
	o := opticsOf(l.params())
	corner := r2.Vec{}
	for _, c := range []r2.Vec{{}, {X: float64(l.WidthPx)}, {Y: float64(l.HighPx)}, {X: float64(l.WidthPx), Y: float64(l.HighPx)}} {
		if d := math.Hypot(c.X-l.CX, c.Y-l.CY); d > seen {
			seen, corner = d, c
		}
	}
	n, ok := o.direction(corner)
	if !ok {
		return seen, math.NaN()
	}
	return seen, math.Hypot(l.FX*n.X, l.FY*n.Y)
}
