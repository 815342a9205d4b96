package calib

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Places of a photograph's parameters: the optics, the homography from the
// sheet to directions, and how the sheet is bent (in units of its size, used
// only while outliers are looked for).
const (
	pFx = iota
	pFy
	pCx
	pCy
	pK1
	pK2
	pK3
	pP1
	pP2
	pH
	pBend       = pH + 8
	photoParams = pBend + 3
)

func opticsOf(p []float64) optics {
	return optics{p[pFx], p[pFy], p[pCx], p[pCy], p[pK1], p[pK2], p[pK3], p[pP1], p[pP2]}
}

func homographyOf(p []float64) homography { return homography(p[pH:pBend]) }

// bends are the three simplest ways in which a sheet is not flat: along x,
// along y and twisted, each by how far it lifts a point given in units of the
// sheet's size.
var bends = [3]func(r2.Vec) float64{
	func(q r2.Vec) float64 { return q.X*q.X - 1 },
	func(q r2.Vec) float64 { return q.Y*q.Y - 1 },
	func(q r2.Vec) float64 { return q.X * q.Y },
}

// DefaultLensU is the standard uncertainty of a photograph's k1 when nothing
// is known of the lens: phones correct their lenses themselves, so that at
// the corners of the picture up to about a per cent is left. Common practice.
const DefaultLensU = 0.01

// defaultFocal is what a phone's main camera has, 26 mm where a frame of
// 36 mm × 24 mm is the measure; nearly all lie within 22 mm and 30 mm, and
// longer ones are in use too. Common practice.
const defaultFocal, filmDiagonal = 26, 43.27

// leastDepth: beyond a twentieth of the scale in the controls' middle, a
// photograph says nothing.
const mostDepth = 20

func newPhotoMap(set ControlSet) *controlMap {
	middle, size := r2.Vec{}, 0.0
	mm := make([]r2.Vec, len(set.Controls))
	for i, c := range set.Controls {
		mm[i] = c.MM
	}
	middle, size = extent(mm)
	to := func(mm r2.Vec) r2.Vec { return r2.Scale(1/size, r2.Sub(mm, middle)) }

	w, h := float64(set.WidthPx), float64(set.HighPx)
	focal := set.FocalPx
	if focal == 0 {
		focal = defaultFocal / filmDiagonal * math.Hypot(w, h)
	}
	s := &controlMap{
		start:     make([]float64, photoParams),
		step:      make([]float64, photoParams),
		names:     make([]string, photoParams),
		precision: mat.NewSymDense(photoParams, nil),
		own:       8,
	}
	copy(s.start, []float64{focal, focal, w / 2, h / 2})
	for i := range pH {
		s.names[i] = LensError
	}
	for i := range 8 {
		s.names[pH+i], s.step[pH+i] = EdgeLocation, 1e-6
	}
	for i := range bends {
		s.names[pBend+i] = Flatness
	}
	if set.Lens != nil {
		set.Lens.prepare(s, set.WidthPx, set.HighPx)
	} else {
		s.step[pK1] = 1e-5
		s.precision.SetSym(pK1, pK1, 1/(DefaultLensU*DefaultLensU))
	}
	s.prior = append([]float64(nil), s.start...)

	s.toPx = func(p []float64, mm r2.Vec) (r2.Vec, bool) {
		h, q := homographyOf(p), to(mm)
		if p[pBend] != 0 || p[pBend+1] != 0 || p[pBend+2] != 0 {
			z := 0.0
			for k, lift := range bends {
				z += p[pBend+k] * lift(q)
			}
			o, err := poseOf(h, 1)
			if err != nil {
				return nowhere, false
			}
			q = r2.Add(q, r2.Scale(z/o.at.Z, r2.Sub(q, r2.Vec{X: o.at.X, Y: o.at.Y})))
		}
		n, w := h.apply(q)
		if !(w > 1.0/mostDepth/10) {
			return nowhere, false
		}
		px := opticsOf(p).px(n)
		return px, finite(px)
	}
	s.toMM = func(p []float64, px r2.Vec) (r2.Vec, bool) {
		n, ok := opticsOf(p).direction(px)
		if !ok {
			return nowhere, false
		}
		q, w := homographyOf(p).invert(n)
		if !(w > 1.0/mostDepth) || !finite(q) {
			return nowhere, false
		}
		return r2.Add(middle, r2.Scale(size, q)), true
	}
	s.begin = func(s *controlMap, controls []Control) error {
		var from, dir []r2.Vec
		o := opticsOf(s.start)
		for _, c := range controls {
			n, ok := o.direction(c.Px)
			if !ok {
				return errors.New("the lens profile has no direction for " + c.Name + ": it is of another camera")
			}
			from, dir = append(from, to(c.MM)), append(dir, n)
		}
		h, ok := agreed(from, dir)
		if !ok {
			return errors.New("the known points do not determine how the picture lies over the sheet")
		}
		if err := checkView(h, controls, to); err != nil {
			return err
		}
		copy(s.start[pH:pBend], h[:])
		return nil
	}
	return s
}

// agreed is the homography that most points agree on: of many drawn from four
// points each, the one with the least median miss (P. J. Rousseeuw, "Least
// median of squares regression", JASA 79 (1984) 871–880). With less than
// eight points, it is that of all.
func agreed(from, to []r2.Vec) (homography, bool) {
	best, ok := direct(from, to)
	if len(from) < 8 {
		return best, ok
	}
	least := math.Inf(1)
	miss := make([]float64, len(from))
	judge := func(h homography) {
		for i := range from {
			q, w := h.apply(from[i])
			miss[i] = math.Inf(1)
			if w > 0 {
				miss[i] = r2.Norm2(r2.Sub(q, to[i]))
			}
		}
		slices.Sort(miss)
		if m := miss[len(miss)*55/100]; m < least {
			best, least = h, m
		}
	}
	if ok {
		judge(best)
	}
	random := rand.New(rand.NewPCG(4, 8)) // the same picture gives the same answer
	var a, b [4]r2.Vec
	for range 60 { // with a third of the points wrong, all miss in 1 of 100,000
		pick := random.Perm(len(from))
		for k := range 4 {
			a[k], b[k] = from[pick[k]], to[pick[k]]
		}
		if h, ok := direct(a[:], b[:]); ok {
			judge(h)
		}
	}
	return best, !math.IsInf(least, 0)
}

// newScanMap is a scan's map to a sheet that lies on the glass anyhow:
//
//	e = ((1 + a/2) u − h v, −(1 − a/2) v),  mm = t + (c e.x − s e.y, s e.x + c e.y)
//
// with (u, v) the pixel from the picture's middle, a by how much the axes
// differ and h by how much they are off square.
func newScanMap(set ControlSet) *controlMap {
	middle := r2.Vec{X: float64(set.WidthPx) / 2, Y: float64(set.HighPx) / 2}
	size := math.Hypot(middle.X, middle.Y)
	mm := make([]r2.Vec, len(set.Controls))
	for i, c := range set.Controls {
		mm[i] = c.MM
	}
	_, unit := extent(mm)
	ratioU := DefaultScaleU * math.Sqrt2
	s := &controlMap{
		names:     []string{EdgeLocation, EdgeLocation, EdgeLocation, EdgeLocation, UnequalAxes, Shear},
		start:     make([]float64, 6),
		step:      []float64{1e-6, 1e-6, 1e-6, 1e-6, 1e-7, 1e-7},
		prior:     make([]float64, 6),
		precision: mat.NewSymDense(6, nil),
		own:       4,
	}
	s.precision.SetSym(4, 4, 1/(ratioU*ratioU))
	s.precision.SetSym(5, 5, 1/(shearU*shearU))
	s.toMM = func(p []float64, px r2.Vec) (r2.Vec, bool) {
		u, v := (px.X-middle.X)/size, (px.Y-middle.Y)/size
		ex, ey := (1+p[4]/2)*u-p[5]*v, -(1-p[4]/2)*v
		q := r2.Vec{X: unit * (p[0] + p[2]*ex - p[3]*ey), Y: unit * (p[1] + p[3]*ex + p[2]*ey)}
		return q, finite(q)
	}
	s.toPx = func(p []float64, mm r2.Vec) (r2.Vec, bool) {
		x, y := mm.X/unit-p[0], mm.Y/unit-p[1]
		det := p[2]*p[2] + p[3]*p[3]
		ex, ey := (p[2]*x+p[3]*y)/det, (-p[3]*x+p[2]*y)/det
		v := -ey / (1 - p[4]/2)
		u := (ex + p[5]*v) / (1 + p[4]/2)
		q := r2.Vec{X: middle.X + size*u, Y: middle.Y + size*v}
		return q, finite(q)
	}
	s.begin = func(s *controlMap, controls []Control) error {
		// The similarity of least squares, in complex numbers: mm = t + z conj(px).
		var px, mm []r2.Vec
		for _, c := range controls {
			px = append(px, r2.Vec{X: (c.Px.X - middle.X) / size, Y: -(c.Px.Y - middle.Y) / size})
			mm = append(mm, r2.Scale(1/unit, c.MM))
		}
		mp, _ := extent(px)
		mq, _ := extent(mm)
		var re, im, mirror, all float64
		for i := range px {
			a, b := r2.Sub(px[i], mp), r2.Sub(mm[i], mq)
			re += r2.Dot(a, b)
			im += r2.Cross(a, b)
			all += r2.Norm2(a)
			mirror += a.X*b.X - a.Y*b.Y
		}
		// What a mirrored sheet would leave.
		var mIm float64
		for i := range px {
			a, b := r2.Sub(px[i], mp), r2.Sub(mm[i], mq)
			mIm += a.X*b.Y + a.Y*b.X
		}
		if len(px) > 2 && math.Hypot(mirror, mIm) > math.Hypot(re, im) {
			return errors.New("the known points go round the other way in the picture than in mm: y in mm is up, and in the picture down; or two of them are exchanged, or the picture is mirrored")
		}
		c, si := re/all, im/all
		s.start[2], s.start[3] = c, si
		s.start[0], s.start[1] = mq.X-(c*mp.X-si*mp.Y), mq.Y-(si*mp.X+c*mp.Y)
		return nil
	}
	return s
}
