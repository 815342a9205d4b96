package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"boltrose/pattern/circle"
	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// controlFit is a fit under way.
type controlFit struct {
	set      ControlSet
	controls []Control // with the places of marks as refined
	used     []bool
	sheet    *controlMap

	weight     []float64       // robust weight of each control
	white      [][2][2]float64 // turns a residual (px) into one of unit covariance
	sol        solution
	lensFitted int
	warnings   []string
	outliers   []string
}

// When points may be dropped, and when lens parameters may be fitted.
const (
	leastRobust = 8
	leastK1     = 8
	leastK2     = 12
	unlikely    = 0.001 // what a test must find a chance result to be
)

func (f *controlFit) fit() error {
	if err := f.sheet.begin(f.sheet, f.controls); err != nil {
		return err
	}
	f.sol.params = append([]float64(nil), f.sheet.start...)
	f.weight = make([]float64, len(f.controls))
	for i := range f.weight {
		f.weight[i] = 1
	}
	// The lens is chosen once the marks' places stand, and they move a little
	// with it.
	times := 1
	if slices.ContainsFunc(f.controls, func(c Control) bool { return c.Mark != nil }) {
		times = 2
	}
	for range times {
		for round := range 10 {
			moved, err := f.refine()
			if err != nil {
				return err
			}
			if round > 0 && moved < 1e-4 {
				break
			}
			if round == 0 || len(f.controls) >= leastRobust {
				err = f.agree()
			} else {
				err = f.adjust()
			}
			if err != nil {
				return err
			}
		}
		if err := f.choose(); err != nil {
			return err
		}
	}
	for i, c := range f.controls {
		if !f.used[i] {
			f.outliers = append(f.outliers, c.Name)
		}
	}
	return f.final()
}

// refine puts the marks on the sheet as it is now and returns how far (px)
// the farthest centre moved.
func (f *controlFit) refine() (moved float64, err error) {
	type centre struct {
		px    r2.Vec
		sigma float64
		err   error
	}
	centres := make([]centre, len(f.controls))
	var wg sync.WaitGroup
	for i, c := range f.controls {
		if c.Mark == nil {
			continue
		}
		wg.Go(func() {
			o := &centres[i]
			o.px, o.sigma, o.err = markCentre(*c.Mark,
				func(px r2.Vec) (r2.Vec, bool) { return f.sheet.toMM(f.sol.params, px) },
				func(mm r2.Vec) (r2.Vec, bool) { return f.sheet.toPx(f.sol.params, mm) })
		})
	}
	wg.Wait()
	for i, o := range centres {
		c := &f.controls[i]
		if c.Mark == nil {
			continue
		}
		if o.err != nil {
			return 0, fmt.Errorf("%s: %w", c.Name, o.err)
		}
		moved = math.Max(moved, r2.Norm(r2.Sub(o.px, c.Px)))
		c.Px = o.px
		if f.set.Controls[i].SigmaPx == 0 {
			c.SigmaPx = o.sigma
		}
	}
	return moved, nil
}

// leastMarkPx is the least standard uncertainty of a mark's centre (px) that
// is believed: pixels, their sharpening by the camera and printed dots that are
// not quite round all leave some hundredths.
const leastMarkPx = 0.02

// markCentre returns where a mark's centre on the sheet is seen.
func markCentre(m vision.Mark, toMM, toPx func(r2.Vec) (r2.Vec, bool)) (px r2.Vec, sigmaPx float64, err error) {
	mm := make([]r2.Vec, 0, len(m.Edge))
	weight := make([]float64, 0, len(m.Edge))
	for i, e := range m.Edge {
		if p, ok := toMM(e); ok {
			mm, weight = append(mm, p), append(weight, m.Weight[i])
		}
	}
	if len(mm) < 3 {
		return px, 0, errors.New("the mark's edge lies where the sheet cannot be seen")
	}
	middle, size := extent(mm)
	if !(m.Radius > 0) || !(size > 0) {
		return px, 0, circle.ErrDegenerate
	}
	// Where a rim's points lie on two edges it is the start that tells on which of
	// them the fit ends: it is that of [Plane.Measure].
	start := circle.Circle{Centre: middle, Radius: size * math.Sqrt2}
	centre, ok := toMM(m.Centre)
	right, okX := toMM(r2.Vec{X: m.Centre.X + 0.5, Y: m.Centre.Y})
	down, okY := toMM(r2.Vec{X: m.Centre.X, Y: m.Centre.Y + 0.5})
	if ok && okX && okY {
		start.Centre = centre
		start.Radius = m.Radius * (r2.Norm(r2.Sub(right, centre)) + r2.Norm(r2.Sub(down, centre)))
	}
	fit, err := circle.Robust(start, mm, weight, 0.05*start.Radius/m.Radius)
	if err != nil {
		return px, 0, err
	}
	px, ok = toPx(fit.Centre)
	if !ok || r2.Norm(r2.Sub(px, m.Centre)) > m.Radius {
		return px, 0, errors.New("the mark is no circle on the sheet")
	}
	sigma := fit.SlowSigma(mm) * math.Sqrt((fit.Cofactor[0][0]+fit.Cofactor[1][1])/2) * m.Radius / fit.Radius
	if !(sigma < m.Radius) {
		sigma = m.Radius
	}
	return px, math.Max(sigma, leastMarkPx), nil
}

// weigh finds what turns each control's residual into one of unit covariance:
// it is uncertain in the picture and on the sheet.
func (f *controlFit) weigh() error {
	f.white = make([][2][2]float64, len(f.controls))
	for i, c := range f.controls {
		// The sheet's part, taken to the picture. One that differs by direction
		// is what a slanted view makes of it.
		sxx, sxy, syy := c.SigmaPx*c.SigmaPx, 0.0, c.SigmaPx*c.SigmaPx
		if c.SigmaMM > 0 {
			h := c.SigmaMM
			for _, d := range []r2.Vec{{X: h}, {Y: h}} {
				a, ok1 := f.sheet.toPx(f.sol.params, r2.Add(c.MM, d))
				b, ok2 := f.sheet.toPx(f.sol.params, r2.Sub(c.MM, d))
				if !ok1 || !ok2 {
					return errNoSolution
				}
				e := r2.Scale(0.5, r2.Sub(a, b))
				sxx, sxy, syy = sxx+e.X*e.X, sxy+e.X*e.Y, syy+e.Y*e.Y
			}
		}
		// The inverse of the Cholesky factor.
		l11 := math.Sqrt(sxx)
		l21 := sxy / l11
		l22 := math.Sqrt(syy - l21*l21)
		f.white[i] = [2][2]float64{{1 / l11, 0}, {-l21 / (l11 * l22), 1 / l22}}
	}
	return nil
}

func (f *controlFit) adjustment() adjustment {
	return adjustment{
		count: 2 * len(f.controls),
		step:  f.sheet.step, prior: f.sheet.prior, precision: f.sheet.precision,
		residuals: func(p, out []float64) bool {
			for i, c := range f.controls {
				out[2*i], out[2*i+1] = 0, 0
				if f.weight[i] == 0 {
					continue
				}
				px, ok := f.sheet.toPx(p, c.MM)
				if !ok {
					return false
				}
				r := f.whitened(i, r2.Sub(px, c.Px))
				w := math.Sqrt(f.weight[i])
				out[2*i], out[2*i+1] = w*r.X, w*r.Y
			}
			return true
		},
	}
}

func (f *controlFit) whitened(i int, r r2.Vec) r2.Vec {
	m := f.white[i]
	return r2.Vec{X: m[0][0] * r.X, Y: m[1][0]*r.X + m[1][1]*r.Y}
}

func (f *controlFit) adjust() error { return f.adjustIn(0) }

// adjustIn takes so many steps at most; 0: as many as it needs.
func (f *controlFit) adjustIn(steps int) error {
	if err := f.weigh(); err != nil {
		return err
	}
	a := f.adjustment()
	a.steps = steps
	s, err := a.solve(f.sol.params)
	if err != nil {
		return err
	}
	f.sol = s
	return nil
}

// miss is how far a control is off, in standard uncertainties.
func (f *controlFit) miss(i int) float64 {
	px, ok := f.sheet.toPx(f.sol.params, f.controls[i].MM)
	if !ok {
		return math.Inf(1)
	}
	return r2.Norm(f.whitened(i, r2.Sub(px, f.controls[i].Px)))
}

// agree adjusts with those controls that agree with one another.
func (f *controlFit) agree() error {
	switch n := len(f.controls); {
	case n >= leastRobust:
		return f.reweigh()
	case n >= 6:
		return f.leaveOneOut()
	}
	return f.adjust()
}

// reweigh is iteratively reweighted least squares with Tukey's biweight; what
// then lies beyond four standard deviations is dropped. A lens that was not
// foreseen must not make outliers of the corners, so that it may bend here.
func (f *controlFit) reweigh() error {
	n := len(f.controls)
	restore := f.loosen()
	defer func() { restore() }()
	for i := range f.weight {
		f.weight[i] = 1
	}
	if err := f.weigh(); err != nil {
		return err
	}
	missed := make([]float64, n)
	// 1.1774 is the median of a Rayleigh distribution, that of two normal
	// errors' length; the parameters make residuals smaller than errors.
	seen := 1.1774 * math.Sqrt(math.Max(1-13/float64(2*n), 0.3))

	// All of them may agree. That comes first: of a sheet that is bent along one
	// side, two sides agree with one another alone.
	start := append([]float64(nil), f.sol.params...)
	if f.adjust() == nil {
		for i := range missed {
			missed[i] = f.miss(i)
		}
		slices.Sort(missed)
		if scale := math.Max(missed[n/2]/seen, 1); scale < 5 && missed[n-1] < 4*scale {
			for i := range f.used {
				f.used[i] = true
			}
			restore()
			restore = func() {}
			return f.adjust()
		}
	}
	f.sol.params = start

	const cut = 4.685 // 95 % efficiency on normal errors
	scale := 0.0
	for round := range 20 {
		for i := range missed {
			missed[i] = f.miss(i)
		}
		sorted := slices.Clone(missed)
		slices.Sort(sorted)
		scale = math.Max(sorted[n/2]/seen, 1)
		for i, m := range missed {
			u := math.Min(m/(cut*scale), 1)
			f.weight[i] = (1 - u*u) * (1 - u*u)
		}
		before := append([]float64(nil), f.sol.params...)
		// The weights change with the fit, so a few steps at a time are enough.
		if err := f.adjustIn(2); err != nil {
			return err
		}
		if round > 2 && mat.EqualApprox(mat.NewVecDense(len(before), before), mat.NewVecDense(len(before), f.sol.params), 1e-9) {
			break
		}
	}
	kept := 0
	for i := range f.weight {
		f.weight[i], f.used[i] = 0, f.miss(i) < 4*scale
		if f.used[i] {
			f.weight[i] = 1
			kept++
		}
	}
	if kept < leastRobust-2 || 5*kept < 3*n {
		return fmt.Errorf("only %d of the %d known points agree with one another", kept, n)
	}
	var left []r2.Vec
	for i, c := range f.controls {
		if f.used[i] {
			left = append(left, c.MM)
		}
	}
	if thin(left) {
		return errors.New("those known points that agree with one another lie on one line")
	}
	restore()
	restore = func() {}
	return f.adjust()
}

// loosen lets the lens bend freely where nothing is known of it, and the
// sheet a little, and returns what undoes that: neither must make outliers of
// one side of the sheet.
func (f *controlFit) loosen() func() {
	if f.set.Scan {
		return func() {}
	}
	p, step := f.sheet.precision, f.sheet.step
	type was struct {
		at              int
		precision, step float64
	}
	var before []was
	free := func(at int, sd, h float64) {
		before = append(before, was{at, p.At(at, at), step[at]})
		p.SetSym(at, at, 1/(sd*sd))
		step[at] = h
	}
	if f.set.Lens == nil && f.lensFitted == 0 {
		free(pK1, 0.3, 1e-5)
		if len(f.controls) >= leastK2 {
			free(pK2, 0.3, 1e-5)
		}
	}
	if len(f.controls) >= leastK2 {
		for k := range bends {
			free(pBend+k, 0.03, 1e-6)
		}
	}
	return func() {
		for _, w := range before {
			p.SetSym(w.at, w.at, w.precision)
			if step[w.at] = w.step; w.step == 0 {
				f.sol.params[w.at] = f.sheet.prior[w.at]
			}
		}
	}
}

// leaveOneOut drops the one point without which all others agree, if there is
// exactly one such and with it they do not.
func (f *controlFit) leaveOneOut() error {
	if err := f.adjust(); err != nil {
		return err
	}
	if f.chance() > unlikely/10 {
		return nil
	}
	whole := f.sol
	culprit, found := 0, 0
	for i := range f.controls {
		f.weight[i], f.used[i] = 0, false
		f.sol.params = append([]float64(nil), whole.params...)
		rest := append(append([]Control(nil), f.controls[:i]...), f.controls[i+1:]...)
		if f.sheet.begin(f.sheet, rest) == nil {
			f.sol.params = append([]float64(nil), f.sheet.start...)
		}
		if f.adjust() == nil && f.chance() > 0.01 {
			culprit, found = i, found+1
		}
		f.weight[i], f.used[i] = 1, true
	}
	f.sol = whole
	if found != 1 {
		return f.adjust()
	}
	f.weight[culprit], f.used[culprit] = 0, false
	return f.adjust()
}

// count returns how many controls are used and how many more residuals there
// are than fitted parameters.
func (f *controlFit) count() (n, dof int) {
	for _, u := range f.used {
		if u {
			n++
		}
	}
	if f.set.Scan {
		return n, 2*n - 4
	}
	return n, 2*n - 8 - f.lensFitted
}

// chi2 is the sum of squared residuals, those of what was known beforehand
// included.
func (f *controlFit) chi2() float64 { return f.adjustment().total(f.sol.params, f.sol.r) }

// chance is the probability of residuals as large as these or larger.
func (f *controlFit) chance() float64 {
	_, dof := f.count()
	if dof < 1 {
		return 1
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(f.chi2())
}

// fTest is the probability that as many more parameters as more make as much
// of a difference by chance.
func fTest(before, after float64, more, dof int) float64 {
	if dof < 1 || !(before > after) {
		return 1
	}
	// Residuals of a thousandth of what was supposed are the arithmetic's.
	each := math.Max(after/float64(dof), 1e-6)
	return distuv.F{D1: float64(more), D2: float64(dof)}.Survival((before - after) / float64(more) / each)
}

// choose decides how much of the lens, or of a scan's axes, the points give.
func (f *controlFit) choose() error {
	if f.set.Scan {
		if err := f.adjust(); err != nil {
			return err
		}
		if n, _ := f.count(); n >= 3 && f.chance() < unlikely {
			was := f.sol
			wasChi2 := f.chi2()
			const free = 1e4
			f.sheet.precision.SetSym(4, 4, free)
			f.sheet.precision.SetSym(5, 5, free)
			if err := f.adjust(); err != nil {
				return err
			}
			if f.chi2() > wasChi2/2 {
				f.sol = was // the points contradict one another, not the axes
				f.sheet.precision.SetSym(4, 4, 1/(2*DefaultScaleU*DefaultScaleU))
				f.sheet.precision.SetSym(5, 5, 1/(shearU*shearU))
				return f.adjust()
			}
			f.warnings = append(f.warnings, fmt.Sprintf("the scan's axes differ by %.2f %% and are %.2f° off square, by the known points", 100*math.Abs(f.sol.params[4]), math.Abs(f.sol.params[5])*180/math.Pi))
		}
		return nil
	}
	if f.set.Lens != nil || f.lensFitted > 0 {
		return f.adjust()
	}
	n, _ := f.count()
	p := f.sheet.precision
	if n >= leastK1 {
		f.sheet.step[pK1] = 0
		f.sol.params[pK1] = 0
		if err := f.adjust(); err != nil {
			return err
		}
		straight := f.sol.cost
		f.sheet.step[pK1] = 1e-5
		p.SetSym(pK1, pK1, 0)
		if err := f.adjust(); err != nil {
			return err
		}
		if fTest(straight, f.sol.cost, 1, 2*n-9) > unlikely {
			p.SetSym(pK1, pK1, 1/(DefaultLensU*DefaultLensU))
			return f.adjust()
		}
		f.lensFitted = 1
		// A lens that bends may do so in k2 as well.
		f.sheet.step[pK2] = 1e-5
		if one := f.sol; n >= leastK2 {
			if err := f.adjust(); err != nil {
				return err
			}
			if fTest(one.cost, f.sol.cost, 1, 2*n-10) <= unlikely {
				f.lensFitted = 2
				return nil
			}
			f.sol = one
		}
		p.SetSym(pK2, pK2, 1/(4*DefaultLensU*DefaultLensU))
	}
	return f.adjust()
}

// final refuses a result that says nothing.
func (f *controlFit) final() error {
	n, dof := f.count()
	if n < len(f.controls) {
		f.warnings = append(f.warnings, fmt.Sprintf("left out, because it contradicts the others: %s", strings.Join(f.outliers, ", ")))
	}
	if dof >= 1 && n < leastRobust && f.chance() < unlikely {
		f.warnings = append(f.warnings, "the known points contradict one another; with more of them it could be told which is wrong")
	}
	return nil
}

// factor is by how much the residuals' variance exceeds what was supposed.
// Where chance does not explain it (5 %), few residuals do not tell it well,
// and Student's t allows for that.
func (f *controlFit) factor() float64 {
	_, dof := f.count()
	if dof < 1 {
		return 1
	}
	s := math.Max(f.chi2()/float64(dof), 1)
	if f.chance() < 0.05 {
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(dof)}.Quantile(0.975) / 1.96
		s *= t * t
	}
	return s
}
