package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// LensView is one picture of a flat sheet with points of known place, in any
// unit: only how they lie to one another counts. A dot grid comes from Grid, a
// chessboard from Corners, a printed frame from its own finder.
type LensView struct {
	Name     string
	Controls []Control
}

// LensViewFit says how well a view agrees with the lens.
type LensViewFit struct {
	Name    string
	Points  int     // used
	RMSPx   float64 // of the points used, as the length of the miss
	TiltDeg float64
	Poor    bool // it agrees much less than most do
}

// LensFit says how the adjustment of a lens went.
type LensFit struct {
	RMSPx    float64 // over all points used, as the length of the miss
	Views    []LensViewFit
	Warnings []string
}

// LensModel says which parameters are fitted besides one focal length, the
// principal point, k1 and k2.
type LensModel struct {
	Aspect     bool // fx and fy apart: for pixels that are not square
	Tangential bool // p1 and p2
	K3         bool
}

// unevenSheet is what points of a good sheet miss by at most, relative to the
// picture's longer side. Those of the published chessboards miss by 0.0003 of
// it, those of a sheet with dots that is bent and unevenly printed by 0.0007.
const unevenSheet = 0.0005

const (
	leastViews = 3
	mostViews  = 60
)

// FitLens adjusts a lens and the place of every view together (bundle
// adjustment), from where Zhang's method puts them (Z. Zhang, "A flexible new
// technique for camera calibration", IEEE TPAMI 22 (2000) 1330–1334). Points
// are weighted by Tukey's biweight of their miss. The centres of marks are
// refined on their sheets as FromControls does.
//
// The covariance rests on the points' scatter: what is wrong with the sheet
// itself, because it is printed unevenly or bent, is told by no figure here
// but the residuals.
func FitLens(views []LensView, widthPx, highPx int, model LensModel) (*Lens, LensFit, error) {
	switch {
	case len(views) < leastViews:
		return nil, LensFit{}, fmt.Errorf("a lens needs %d pictures or more in which the points were found, not %d; eight to fifteen from all sides are good", leastViews, len(views))
	case len(views) > mostViews:
		return nil, LensFit{}, fmt.Errorf("%d pictures are more than needed; give at most %d", len(views), mostViews)
	case widthPx <= 0 || highPx <= 0:
		return nil, LensFit{}, errors.New("the pictures have no size")
	}
	b := &bundle{model: model, w: float64(widthPx), h: float64(highPx)}
	for _, v := range views {
		if err := b.add(v); err != nil {
			return nil, LensFit{}, fmt.Errorf("%s: %w", v.Name, err)
		}
	}
	if err := b.begin(); err != nil {
		return nil, LensFit{}, err
	}
	if err := b.settle(); err != nil {
		return nil, LensFit{}, err
	}
	return b.lens()
}

// bundle is the adjustment of several views. Its parameters are the lens's,
// in the order of Lens.params, then six for each view: how it turns away from
// its first rotation, and where the sheet's middle is.
type bundle struct {
	model LensModel
	w, h  float64
	views []bundleView
	sol   solution
	scale float64 // px, robust standard deviation of a coordinate
}

type bundleView struct {
	name     string
	controls []Control
	sheet    []r2.Vec // the controls' places in units of the sheet's size
	start    [3]r3.Vec
	weight   []float64
	first    int // of its residuals
}

// add takes a view's points.
func (b *bundle) add(v LensView) error {
	set := ControlSet{Controls: v.Controls, WidthPx: int(b.w), HighPx: int(b.h)}
	if err := set.check(); err != nil {
		return err
	}
	k := bundleView{name: v.Name, controls: slices.Clone(v.Controls)}
	for _, c := range v.Controls {
		k.sheet = append(k.sheet, c.MM)
		k.weight = append(k.weight, 1)
	}
	middle, size := extent(k.sheet)
	for i := range k.sheet {
		k.sheet[i] = r2.Scale(1/size, r2.Sub(k.sheet[i], middle))
	}
	for _, other := range b.views {
		k.first += 2 * len(other.controls)
	}
	b.views = append(b.views, k)
	return nil
}

// begin finds the focal length that makes every sheet's axes square and of
// one scale, with the principal point in the middle, and the views' places.
func (b *bundle) begin() error {
	guess := math.Hypot(b.w, b.h)
	homographies := make([]homography, len(b.views))
	var top, bottom float64
	for i, v := range b.views {
		var to []r2.Vec
		for _, c := range v.controls {
			to = append(to, r2.Vec{X: (c.Px.X - b.w/2) / guess, Y: (c.Px.Y - b.h/2) / guess})
		}
		h, ok := agreed(v.sheet, to)
		if !ok {
			return fmt.Errorf("%s: the points do not determine how the picture lies over the sheet", v.name)
		}
		if err := checkView(h, b.sheetControls(i), func(p r2.Vec) r2.Vec { return p }); err != nil {
			return fmt.Errorf("%s: %w", v.name, err)
		}
		homographies[i] = h
		// (a·b)/f² + az bz = 0 and (a·a − b·b)/f² + az² − bz² = 0, each in units
		// of the sheet's size in the picture.
		size := math.Abs(h[0]*h[4] - h[1]*h[3])
		for _, e := range [][2]float64{
			{(h[0]*h[1] + h[3]*h[4]) / size, h[6] * h[7] / size},
			{(h[0]*h[0] + h[3]*h[3] - h[1]*h[1] - h[4]*h[4]) / (2 * size), (h[6]*h[6] - h[7]*h[7]) / (2 * size)},
		} {
			top -= e[0] * e[1]
			bottom += e[0] * e[0]
		}
	}
	// 1/f² = top/bottom, in units of the guess.
	focal := guess
	if ratio := top / bottom; ratio > 0.02 && ratio < 25 {
		focal = guess / math.Sqrt(ratio)
	}
	b.sol.params = []float64{focal, focal, b.w / 2, b.h / 2, 0, 0, 0, 0, 0}
	for i, h := range homographies {
		x, y, z, t := axesOf(h, focal/guess)
		b.views[i].start = [3]r3.Vec{x, y, z}
		b.sol.params = append(b.sol.params, 0, 0, 0, t.X, t.Y, t.Z)
	}
	return nil
}

func (b *bundle) sheetControls(i int) []Control {
	out := slices.Clone(b.views[i].controls)
	for k := range out {
		out[k].MM = b.views[i].sheet[k]
	}
	return out
}

// place is a view's rotation and translation at parameters.
func (b *bundle) place(p []float64, i int) (x, y, t r3.Vec) {
	q := p[lensParams+6*i:]
	v := r3.Vec{X: q[0], Y: q[1], Z: q[2]}
	angle := r3.Norm(v)
	x, y = b.views[i].start[0], b.views[i].start[1]
	if angle > 0 {
		turn := r3.NewRotation(angle, v)
		x, y = turn.Rotate(x), turn.Rotate(y)
	}
	return x, y, r3.Vec{X: q[3], Y: q[4], Z: q[5]}
}

// maps are a view's ways from its sheet to the picture and back.
func (b *bundle) maps(p []float64, i int) (toPx, toMM func(r2.Vec) (r2.Vec, bool)) {
	o := opticsOf(p)
	x, y, t := b.place(p, i)
	toPx = func(s r2.Vec) (r2.Vec, bool) {
		at := r3.Add(t, r3.Add(r3.Scale(s.X, x), r3.Scale(s.Y, y)))
		if !(at.Z > 1e-3) {
			return nowhere, false
		}
		px := o.px(r2.Vec{X: at.X / at.Z, Y: at.Y / at.Z})
		return px, finite(px)
	}
	h := homography{x.X / t.Z, y.X / t.Z, t.X / t.Z, x.Y / t.Z, y.Y / t.Z, t.Y / t.Z, x.Z / t.Z, y.Z / t.Z}
	toMM = func(px r2.Vec) (r2.Vec, bool) {
		n, ok := o.direction(px)
		if !ok {
			return nowhere, false
		}
		s, w := h.invert(n)
		return s, w > 1.0/mostDepth && finite(s)
	}
	return toPx, toMM
}

func (b *bundle) adjustment() adjustment {
	last := b.views[len(b.views)-1]
	a := adjustment{
		count: last.first + 2*len(last.controls),
		step:  make([]float64, len(b.sol.params)),
		prior: make([]float64, len(b.sol.params)),
		residuals: func(p, out []float64) bool {
			if !b.model.Aspect {
				p = slices.Clone(p)
				p[pFy] = p[pFx]
			}
			if !(p[pFx] > 0) || !(p[pFy] > 0) {
				return false
			}
			for i, v := range b.views {
				toPx, _ := b.maps(p, i)
				for k, c := range v.controls {
					px, ok := toPx(v.sheet[k])
					if !ok {
						return false
					}
					w := math.Sqrt(v.weight[k])
					out[v.first+2*k], out[v.first+2*k+1] = w*(px.X-c.Px.X), w*(px.Y-c.Px.Y)
				}
			}
			return true
		},
	}
	copy(a.step, []float64{1e-3, 1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-7, 1e-7})
	for i := lensParams; i < len(a.step); i++ {
		a.step[i] = 1e-6
	}
	if !b.model.Aspect {
		a.step[pFy] = 0
	}
	if !b.model.K3 {
		a.step[pK3] = 0
	}
	if !b.model.Tangential {
		a.step[pP1], a.step[pP2] = 0, 0
	}
	// Pictures taken straight on leave the principal point nearly open; no lens
	// has it far from the middle.
	a.prior[pCx], a.prior[pCy] = b.w/2, b.h/2
	u := 0.1 * math.Hypot(b.w, b.h)
	a.precision = mat.NewSymDense(len(a.step), nil)
	a.precision.SetSym(pCx, pCx, 1/(u*u))
	a.precision.SetSym(pCy, pCy, 1/(u*u))
	return a
}

// settle adjusts, reweighs and refines until nothing moves.
func (b *bundle) settle() error {
	for round := range 12 {
		a := b.adjustment()
		if round == 0 {
			// The distortion comes once the places are about right.
			for _, k := range []int{pCx, pCy, pK2, pK3, pP1, pP2} {
				a.step[k] = 0
			}
		}
		sol, err := a.solve(b.sol.params)
		if err != nil {
			return errors.New("the pictures do not determine a lens: take some more, tilted to all sides, so that the sheet fills them")
		}
		if !b.model.Aspect {
			sol.params[pFy] = sol.params[pFx]
		}
		b.sol = sol
		b.reweigh()
		if moved := b.refine(); round >= 4 && moved < 1e-4 {
			break
		}
	}
	a := b.adjustment()
	sol, err := a.solve(b.sol.params)
	if err != nil {
		return err
	}
	if !b.model.Aspect {
		sol.params[pFy] = sol.params[pFx]
	}
	b.sol = sol
	return nil
}

// miss is the length (px) by which a view's point is off.
func (b *bundle) miss(i, k int) float64 {
	toPx, _ := b.maps(b.sol.params, i)
	px, ok := toPx(b.views[i].sheet[k])
	if !ok {
		return math.Inf(1)
	}
	return r2.Norm(r2.Sub(px, b.views[i].controls[k].Px))
}

func (b *bundle) reweigh() {
	var all []float64
	for i, v := range b.views {
		for k := range v.controls {
			all = append(all, b.miss(i, k))
		}
	}
	sorted := slices.Clone(all)
	slices.Sort(sorted)
	b.scale = math.Max(sorted[len(sorted)/2]/1.1774, 1e-6) // Rayleigh's median
	n := 0
	for _, v := range b.views {
		for k := range v.weight {
			u := math.Min(all[n]/(4.685*b.scale), 1)
			v.weight[k] = (1 - u*u) * (1 - u*u)
			n++
		}
	}
}

// refine puts all marks on their sheets and returns how far (px) the farthest
// centre moved.
func (b *bundle) refine() (moved float64) {
	for i, v := range b.views {
		toPx, toMM := b.maps(b.sol.params, i)
		for k := range v.controls {
			c := &v.controls[k]
			if c.Mark == nil {
				continue
			}
			px, _, err := markCentre(*c.Mark, toMM, toPx)
			if err != nil {
				v.weight[k] = 0
				continue
			}
			moved = math.Max(moved, r2.Norm(r2.Sub(px, c.Px)))
			c.Px = px
		}
	}
	return moved
}

// lens turns the solution into a profile.
func (b *bundle) lens() (*Lens, LensFit, error) {
	var fit LensFit
	squares, used, rows := 0.0, 0, 0
	var each []float64
	for i, v := range b.views {
		sum, n := 0.0, 0
		for k := range v.controls {
			if m := b.miss(i, k); v.weight[k] > 0 {
				sum += m * m
				n++
			}
		}
		squares += sum
		used += n
		rows += 2 * n
		x, y, _ := b.place(b.sol.params, i)
		f := LensViewFit{Name: v.name, Points: n, TiltDeg: math.Acos(math.Min(math.Abs(r3.Cross(x, y).Z), 1)) * 180 / math.Pi}
		if n > 0 {
			f.RMSPx = math.Sqrt(sum / float64(n))
			each = append(each, f.RMSPx)
		}
		f.Poor = 5*n < 4*len(v.controls)
		fit.Views = append(fit.Views, f)
	}
	a := b.adjustment()
	open := 6 * len(b.views)
	for _, s := range a.step[:lensParams] {
		if s > 0 {
			open++
		}
	}
	if rows <= open {
		return nil, fit, errors.New("too few points agree with one another to determine a lens")
	}
	slices.Sort(each)
	tilted := 0
	for i := range fit.Views {
		v := &fit.Views[i]
		if v.RMSPx > 2.5*each[len(each)/2] {
			v.Poor = true
		}
		if v.TiltDeg > 12 {
			tilted++
		}
	}
	fit.RMSPx = math.Sqrt(squares / float64(used))
	// The biweight takes some of the residuals away; their own scale does not.
	cov, err := a.cov(b.sol, math.Max(b.sol.cost/float64(rows-open), b.scale*b.scale))
	p := b.sol.params
	if err != nil || !(p[pFx] > 0.2*b.w) || !(p[pFx] < 50*b.w) {
		return nil, fit, errors.New("the pictures do not determine a lens: take some more, tilted to all sides, so that the sheet fills them")
	}
	l := &Lens{
		WidthPx: int(b.w), HighPx: int(b.h),
		FX: p[pFx], FY: p[pFy], CX: p[pCx], CY: p[pCy],
		K1: p[pK1], K2: p[pK2], K3: p[pK3], P1: p[pP1], P2: p[pP2],
		Cov: mat.NewSymDense(lensParams, nil), RMSPx: fit.RMSPx, Pictures: len(b.views),
	}
	for i := range lensParams {
		for j := i; j < lensParams; j++ {
			// One focal length: both are the first.
			from, to := i, j
			if !b.model.Aspect {
				if from == pFy {
					from = pFx
				}
				if to == pFy {
					to = pFx
				}
			}
			l.Cov.SetSym(i, j, cov.At(from, to))
		}
	}
	if u := math.Sqrt(l.Cov.At(pFx, pFx)) / l.FX; u > 0.05 {
		return nil, fit, fmt.Errorf("the pictures leave the focal length open (±%.0f %%): take some more, tilted by 20 to 40 degrees to all sides", 200*u)
	}
	if most := unevenSheet * math.Max(b.w, b.h); fit.RMSPx > most {
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("the points miss by %.2f px, and a good sheet's by less than %.2f px: it was not flat, or is not as even as it should be, and the lens is no better known than that; take a flat, well printed one", fit.RMSPx, most))
	}
	if tilted < 2 {
		fit.Warnings = append(fit.Warnings, "nearly all pictures were taken straight on; tilt the camera by 20 to 40 degrees in most of them")
	}
	if c := b.covered(); c < 0.6 {
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("the points reach only %.0f %% of the way from the picture's middle to its corners; farther out the lens is guessed: fill the picture with the sheet", 100*c))
	}
	return l, fit, nil
}

// covered is how far out points were seen, as a share of the way to the
// corners.
func (b *bundle) covered() float64 {
	var out []float64
	for _, v := range b.views {
		for k, c := range v.controls {
			if v.weight[k] > 0 {
				out = append(out, math.Hypot(c.Px.X-b.w/2, c.Px.Y-b.h/2)/(math.Hypot(b.w, b.h)/2))
			}
		}
	}
	slices.Sort(out)
	return out[len(out)*98/100]
}
