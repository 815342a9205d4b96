package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Errors that come after the fit, in their places behind its parameters: they
// cannot be seen in the picture.
const (
	eScale = iota
	eAxes
	eHeight
	eFocal
	eBend       // three of them
	laterErrors = eBend + 3
)

// plane turns the fit into a Plane and says how it went.
func (f *controlFit) plane(method string) (*Plane, ControlFit, error) {
	rep := ControlFit{Factor: 1, Outliers: f.outliers, LensFitted: f.lensFitted, Warnings: f.warnings}
	factor := f.factor()
	rep.Factor = math.Sqrt(factor)
	adjustment := f.adjustment()
	cov, err := adjustment.cov(f.sol, factor)
	if err != nil {
		return nil, rep, fmt.Errorf("the known points do not determine the picture's place over the sheet")
	}
	f.residuals(&rep)

	// Camera, heights and bending; sd are the later errors' standard
	// uncertainties.
	var sd [laterErrors]float64
	sd[eScale], sd[eAxes] = f.set.ScaleU, f.set.AxesU
	view := viewer{sheet: f.sheet, n: len(f.sol.params), above: f.set.AboveMM}
	if !f.set.Scan {
		if err := f.camera(&rep, &view, &sd, cov); err != nil {
			return nil, rep, err
		}
		if err := f.bending(&rep, &view, &sd, cov, factor); err != nil {
			return nil, rep, err
		}
		// A bent sheet touches the face somewhere and is off it elsewhere, on
		// average by about as much again as it is bent.
		sd[eHeight] = math.Hypot(f.set.AboveU, math.Max(f.set.FlatU, bentHeight*rep.BendMM))
		if view.above == 0 && sd[eHeight] == 0 {
			sd[eFocal] = 0
		}
	}

	// The plane has those parameters only that may be wrong.
	full := append(append([]float64(nil), f.sol.params...), make([]float64, laterErrors)...)
	scaleName := f.set.ScaleName
	if scaleName == "" {
		scaleName = PrintScale
	}
	names := append(append([]string(nil), f.sheet.names...), scaleName, UnequalAxes, HeightOffset, FocalLength, Flatness, Flatness, Flatness)
	variance := func(i, j int) float64 {
		switch n := len(f.sol.params); {
		case i < n && j < n:
			return cov.At(i, j)
		case i == j:
			return sd[i-n] * sd[i-n]
		}
		return 0
	}
	var places []int
	for i := range full {
		if variance(i, i) > 0 {
			places = append(places, i)
		}
	}
	params, called := make([]float64, len(places)), make([]string, len(places))
	c := mat.NewSymDense(len(places), nil)
	for a, i := range places {
		params[a], called[a] = full[i], names[i]
		for b := a; b < len(places); b++ {
			c.SetSym(a, b, variance(i, places[b]))
		}
	}
	p, err := newPlane(method, called, params, c, func(moved []float64, px r2.Vec) r2.Vec {
		all := append(make([]float64, 0, photoParams+laterErrors), full...)
		for a, i := range places {
			all[i] = moved[a]
		}
		return view.mm(all, px)
	})
	if err != nil {
		return nil, rep, err
	}
	if !f.set.Scan {
		p.eye = &[3]float64{rep.Camera[0], rep.Camera[1], rep.Camera[2] + f.set.AboveMM}
	}
	p.URel = f.relative(p)
	if !(p.URel < 0.2) {
		return nil, rep, fmt.Errorf("the known points leave the scale open (%.0f %%): they lie too close together, or too nearly on a line", 100*math.Min(p.URel, 9.99))
	}
	return p, rep, nil
}

// viewer is the way from a pixel to the face.
type viewer struct {
	sheet *controlMap
	n     int // parameters of the sheet
	above float64
	eye   func(p []float64, focal float64) ([3]float64, bool) // the camera, in mm of the sheet
	bend  [3][]float64                                        // how a millimetre of each bend moves the fit
}

func (v viewer) mm(all []float64, px r2.Vec) r2.Vec {
	p, e := all[:v.n], all[v.n:]
	for k, by := range v.bend {
		if e[eBend+k] != 0 {
			p = append([]float64(nil), p...)
			for i := range by {
				p[i] += e[eBend+k] * by[i]
			}
		}
	}
	at, ok := v.sheet.toMM(p, px)
	if !ok {
		return nowhere
	}
	if above := v.above + e[eHeight]; above != 0 {
		eye, ok := v.eye(p, 1+e[eFocal])
		if !ok || eye[2]+above <= 0 {
			return nowhere
		}
		at = r2.Add(at, r2.Scale(above/eye[2], r2.Sub(at, r2.Vec{X: eye[0], Y: eye[1]})))
	}
	return r2.Vec{X: at.X * (1 + e[eScale] + e[eAxes]/2), Y: at.Y * (1 + e[eScale] - e[eAxes]/2)}
}

// residuals fills in how far the controls are off.
func (f *controlFit) residuals(rep *ControlFit) {
	n, dof := f.count()
	var px2, mm2 float64
	for i, c := range f.controls {
		r := ControlResidual{Name: c.Name, At: c.Px, Used: f.used[i], Px: nowhere, MM: nowhere}
		if px, ok := f.sheet.toPx(f.sol.params, c.MM); ok {
			r.Px = r2.Sub(c.Px, px)
		}
		if mm, ok := f.sheet.toMM(f.sol.params, c.Px); ok {
			r.MM = r2.Sub(mm, c.MM)
		}
		if r.Used {
			px2 += r2.Norm2(r.Px)
			mm2 += r2.Norm2(r.MM)
		}
		rep.Residuals = append(rep.Residuals, r)
	}
	_ = n
	if dof > 0 {
		rep.RMSPx, rep.RMSMM = math.Sqrt(px2/float64(dof)), math.Sqrt(mm2/float64(dof))
	}
}

// camera finds where the camera stood.
func (f *controlFit) camera(rep *ControlFit, view *viewer, sd *[laterErrors]float64, cov *mat.SymDense) error {
	p := f.sol.params
	mm := make([]r2.Vec, len(f.set.Controls))
	for i, c := range f.set.Controls {
		mm[i] = c.MM
	}
	middle, size := extent(mm)
	known := assumedFocalU
	rep.FocalFrom = FocalAssumed
	switch {
	case f.set.Lens != nil:
		known, rep.FocalFrom = profileFocalU, FocalProfile
	case f.set.FocalPx > 0:
		known, rep.FocalFrom = exifFocalU, FocalEXIF
	}
	hCov := mat.NewSymDense(8, nil)
	for i := range 8 {
		for j := i; j < 8; j++ {
			hCov.SetSym(i, j, cov.At(pH+i, pH+j))
		}
	}
	factor, u := focalOf(homographyOf(p), hCov, known)
	if rep.FocalFrom == FocalAssumed && u < known/2 {
		rep.FocalFrom = FocalEstimated
	}
	view.eye = func(p []float64, focal float64) ([3]float64, bool) {
		o, err := poseOf(homographyOf(p), factor*focal)
		return [3]float64{middle.X + size*o.at.X, middle.Y + size*o.at.Y, size * o.at.Z}, err == nil
	}
	o, err := poseOf(homographyOf(p), factor)
	if err != nil {
		return err
	}
	sd[eFocal] = u
	rep.Camera, _ = view.eye(p, 1)
	rep.TiltDeg = o.tilt * 180 / math.Pi
	rep.MMPerMMHeight = 1 / rep.Camera[2]
	rep.FocalPx, rep.FocalURel = factor*(p[pFx]+p[pFy])/2, u
	rep.K1, rep.K2 = p[pK1]*factor*factor, p[pK2]*math.Pow(factor, 4)
	return nil
}

// bending finds how the fit would move if the sheet were bent, and whether
// the residuals say that it is. A point that is lifted by z is seen where its
// line of sight meets the flat sheet, z·(X − C)/C_z aside.
func (f *controlFit) bending(rep *ControlFit, view *viewer, sd *[laterErrors]float64, cov *mat.SymDense, factor float64) error {
	n, dof := f.count()
	var mm []r2.Vec
	for i, c := range f.controls {
		if f.used[i] {
			mm = append(mm, c.MM)
		}
	}
	if n < 6 {
		return nil // anything that a bend does, a homography can do as well
	}
	middle, size := extent(mm)
	count := 2 * len(f.controls)
	// Behind the bends, what a lens does whose middle is not the picture's.
	design := mat.NewDense(count, 3+2, nil)
	eye := rep.Camera
	for k, lift := range bends {
		rms := 0.0
		z := make([]float64, len(f.controls))
		for i, c := range f.controls {
			q := r2.Scale(1/size, r2.Sub(c.MM, middle))
			z[i] = lift(q)
			if f.used[i] {
				rms += z[i] * z[i] / float64(n)
			}
		}
		rms = math.Max(math.Sqrt(rms), 1e-9)
		for i, c := range f.controls {
			if !f.used[i] {
				continue
			}
			// A small part of a millimetre, so that it stays linear.
			const part = 0.01
			aside := r2.Scale(part*z[i]/rms/eye[2], r2.Sub(c.MM, r2.Vec{X: eye[0], Y: eye[1]}))
			a, ok1 := f.sheet.toPx(f.sol.params, r2.Add(c.MM, aside))
			b, ok2 := f.sheet.toPx(f.sol.params, r2.Sub(c.MM, aside))
			if !ok1 || !ok2 {
				return nil
			}
			e := f.whitened(i, r2.Scale(1/(2*part), r2.Sub(a, b)))
			design.Set(2*i, k, e.X)
			design.Set(2*i+1, k, e.Y)
		}
	}
	for k, at := range [2]int{pCx, pCy} {
		for i, c := range f.controls {
			if !f.used[i] {
				continue
			}
			moved := append([]float64(nil), f.sol.params...)
			moved[at]++
			a, ok1 := f.sheet.toPx(moved, c.MM)
			moved[at] -= 2
			b, ok2 := f.sheet.toPx(moved, c.MM)
			if !ok1 || !ok2 {
				return nil
			}
			e := f.whitened(i, r2.Scale(0.5, r2.Sub(a, b)))
			design.Set(2*i, 3+k, e.X)
			design.Set(2*i+1, 3+k, e.Y)
		}
	}
	// The fit follows as least squares does: by (JᵀJ + P)⁻¹ Jᵀ d.
	plain, err := f.adjustment().cov(f.sol, 1)
	if err != nil {
		return nil
	}
	var follow mat.Dense
	follow.Product(plain, f.sol.jac.T(), design)
	for k := range view.bend {
		view.bend[k] = mat.Col(nil, k, &follow)
		for i := range view.bend[k] {
			view.bend[k][i] = -view.bend[k][i] // the observed place is the true one and this
		}
	}
	for k := range 3 {
		sd[eBend+k] = f.set.FlatU / math.Sqrt(3) // all three together make it up
	}
	// What it cannot follow stays as residuals (fitted less observed).
	var left mat.Dense
	left.Mul(f.sol.jac, &follow)
	left.Sub(&left, design)
	if n < leastK1 || dof < 6 {
		return nil
	}
	normal, by, cost := f.bendsAlone(&left, factor)
	if normal == nil {
		return nil
	}
	f.seenFlat(normal, by, factor, sd)
	for k := range 3 {
		if !(normal.At(k, k) > 1e-12) {
			return nil
		}
		// What is not known of a bend stays near zero: a sheet is not metres high.
		normal.SetSym(k, k, normal.At(k, k)+1/(maxBend*maxBend))
	}
	var chol mat.Cholesky
	var amount mat.VecDense
	if !chol.Factorize(normal) || chol.SolveVecTo(&amount, by) != nil {
		return nil
	}
	after := cost - mat.Dot(&amount, by)
	if fTest(cost, after, 3, dof-3) > unlikely {
		return nil
	}
	var inverse mat.SymDense
	if chol.InverseTo(&inverse) != nil {
		return nil
	}
	rep.NotFlat = true
	for k := range 3 {
		v := amount.AtVec(k)
		rep.BendMM = math.Hypot(rep.BendMM, v)
		sd[eBend+k] = math.Max(sd[eBend+k], math.Hypot(v, math.Sqrt(inverse.At(k, k)*factor)))
	}
	if rep.BendMM < leastBend {
		return nil // in the ±, and nothing that a person could mend
	}
	rep.Warnings = append(rep.Warnings, fmt.Sprintf("the sheet was not flat, by about %.1f mm, or the lens bends as that would: hold it down on a flat face and take the picture again", rep.BendMM))
	return nil
}

// bendsAlone returns the normal equations of the bends, and the cost without
// them, when the lens's middle may lie where it likes near the picture's: what
// that explains is no bend. left is what the fit cannot follow of the three
// bends and of the middle's two coordinates. normal is nil where it cannot be
// told.
func (f *controlFit) bendsAlone(left *mat.Dense, factor float64) (normal *mat.SymDense, by *mat.VecDense, cost float64) {
	var all mat.SymDense
	all.SymOuterK(1, left.T())
	var onto mat.VecDense
	onto.MulVec(left.T(), mat.NewVecDense(len(f.sol.r), f.sol.r))
	normal, by, cost = mat.NewSymDense(3, nil), mat.NewVecDense(3, nil), f.sol.cost
	normal.CopySym(all.SliceSym(0, 3))
	by.CopyVec(onto.SliceVec(0, 3))
	if f.set.Lens != nil {
		return normal, by, cost // its profile has the middle
	}
	// The Schur complement of the middle's part, which has a prior of its own.
	u := middleU * float64(max(f.set.WidthPx, f.set.HighPx))
	own := mat.NewSymDense(2, nil)
	own.CopySym(all.SliceSym(3, 5))
	for k := range 2 {
		own.SetSym(k, k, own.At(k, k)+factor/(u*u)+1e-12)
	}
	var chol mat.Cholesky
	if !chol.Factorize(own) {
		return nil, nil, 0
	}
	shared := mat.NewDense(2, 3, nil)
	for k := range 2 {
		for j := range 3 {
			shared.Set(k, j, all.At(3+k, j))
		}
	}
	var explains mat.Dense
	var middle mat.VecDense
	if chol.SolveTo(&explains, shared) != nil || chol.SolveVecTo(&middle, onto.SliceVec(3, 5)) != nil {
		return nil, nil, 0
	}
	for i := range 3 {
		for j := i; j < 3; j++ {
			normal.SetSym(i, j, normal.At(i, j)-mat.Dot(shared.ColView(i), explains.ColView(j)))
		}
		by.SetVec(i, by.AtVec(i)-mat.Dot(shared.ColView(i), &middle))
	}
	return normal, by, cost - mat.Dot(&middle, onto.SliceVec(3, 5))
}

// middleU is how far a lens's middle lies from the picture's, over the
// picture's longer side, as a standard uncertainty. Common practice.
const middleU = 0.01

// seenFlat is what the residuals leave of the bends that a sheet may have: of
// the prior variance, and of how much of each they speak for, which nothing is
// corrected by (the mean and the variance after Bayes). From a slant a bend
// shows; from straight above it does not, and does little harm.
func (f *controlFit) seenFlat(normal *mat.SymDense, by *mat.VecDense, factor float64, sd *[laterErrors]float64) {
	if !(f.set.FlatU > 0) || !(factor > 0) {
		return
	}
	after := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			after.SetSym(i, j, normal.At(i, j)/factor)
		}
		after.SetSym(i, i, after.At(i, i)+3/(f.set.FlatU*f.set.FlatU))
	}
	var chol mat.Cholesky
	var amount mat.VecDense
	var cov mat.SymDense
	if !chol.Factorize(after) || chol.SolveVecTo(&amount, by) != nil || chol.InverseTo(&cov) != nil {
		return
	}
	for k := range 3 {
		sd[eBend+k] = math.Hypot(amount.AtVec(k)/factor, math.Sqrt(cov.At(k, k)))
	}
}

// leastBend is how flat paper lies that was held down, in mm: common practice.
const leastBend = 0.2

// bentHeight is the mean height of a border of points over the face, relative
// to the rms of its bend, for a sheet that is bent like a parabola and touches
// the face in its middle or with its sides.
const bentHeight = 1.5

// maxBend is more than a sheet that lies on a face is ever off it, in mm.
const maxBend = 20

// relative is the relative standard uncertainty of a length across the
// controls, rms over four directions.
func (f *controlFit) relative(p *Plane) float64 {
	var px []r2.Vec
	for i, c := range f.controls {
		if f.used[i] {
			px = append(px, c.Px)
		}
	}
	middle, size := extent(px)
	sum := 0.0
	for _, e := range across(middle, size, 4) {
		sum += p.lengthVar(e[0], e[1]) / 4
	}
	return math.Sqrt(sum)
}
