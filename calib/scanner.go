package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Scanner is the profile of a flatbed scanner: by how much its scale differs
// from the resolution that its files state, along either axis, and how far
// these are from square. Being relative, it holds at any resolution. X is the
// direction across the glass, along the sensor: pictures are to be scanned,
// not turned afterwards.
type Scanner struct {
	MadeFrom string
	Scans    int
	DPI      [2]float64 // of the scans that it was made from

	// True length over nominal, less one, along x and y, and the angle (radian)
	// by which the axes are off square, as in Scan.
	X, Y, Shear float64
	Cov         *mat.SymDense // of X, Y, Shear

	Measured [3]bool // whether X, Y, Shear were; the others are a home scanner's in general
}

// What nothing else being known a home scanner's X, Y and Shear may be.
var scannerU = [3]float64{DefaultScaleU, DefaultScaleU, shearU}

// Plane returns the plane of a scan of this scanner at a nominal resolution.
func (s *Scanner) Plane(dpi [2]float64) (*Plane, error) {
	method := "scanner profile (" + s.MadeFrom + ")"
	nominal, err := Scan(method, dpi, 0)
	if err != nil {
		return nil, err
	}
	// Mean, ratio and squareness, as Scan has them.
	by := mat.NewDense(3, 3, []float64{0.5, 0.5, 0, 1, -1, 0, 0, 0, 1})
	var full mat.Dense
	full.Product(by, s.Cov, by.T())
	cov := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			cov.SetSym(i, j, full.At(i, j))
		}
	}
	p, err := newPlane(method, nominal.Names, []float64{(s.X + s.Y) / 2, s.X - s.Y, s.Shear}, cov, nominal.model)
	if err != nil {
		return nil, err
	}
	p.URel = lengthU(p, [4]r2.Vec{{}, {X: 10 * dpi[0]}, {X: 10 * dpi[0], Y: 10 * dpi[1]}, {Y: 10 * dpi[1]}})
	return p, nil
}

// Warnings tells what a person should know who uses the profile on a scan of
// this resolution.
func (s *Scanner) Warnings(dpi [2]float64) []string {
	var w []string
	for i, axis := range []string{"along x", "along y"} {
		if !s.Measured[i] {
			w = append(w, fmt.Sprintf("the scanner profile has nothing measured %s: ±%.2g %% is taken there, as for any scanner", axis, 200*scannerU[i]))
		}
	}
	for i := range dpi {
		if r := dpi[i] / s.DPI[i]; r > 4.1 || r < 1/4.1 {
			w = append(w, fmt.Sprintf("the scanner profile was made at %.0f × %.0f dpi, and this scan has %.0f × %.0f: scanners may run differently; make a profile at this resolution", s.DPI[0], s.DPI[1], dpi[0], dpi[1]))
			break
		}
	}
	if math.Abs(dpi[0]/dpi[1]/(s.DPI[0]/s.DPI[1])-1) > 0.01 {
		w = append(w, "this scan's resolution differs between its axes otherwise than in the scans of the profile; was it turned?")
	}
	return w
}

// ScanSeen is what one scan of something of known size says of the scanner.
type ScanSeen struct {
	Name string
	rows []scanRow
}

// scanRow says: value = by·(X, Y, Shear) − of·(errors of the thing scanned),
// with standard uncertainty u.
type scanRow struct {
	value, u float64
	by, of   [3]float64
}

// A thing's errors are three: relative errors of its size along its own two
// axes, and its squareness. ThingU is what they may be, standard uncertainty.
type ThingU [3]float64

const (
	// How differently one scanner scans the same thing twice, relative: the
	// carriage starts and stops, and belts stretch; common practice.
	repeatU = 0.0002
	// What a steel rule's graduations may be off by: ±0.1 mm over 300 mm, as a
	// limit; common practice, from memory.
	ruleLimit = 0.1 / 300
	// How far print is from square; common practice.
	printSquareU = 0.0004
)

// RuleU is what a steel rule's graduations may be off by.
var RuleU = ThingU{ruleLimit / sqrt3, ruleLimit / sqrt3, 0}

// PrintU is what a printed frame's size may be off by, by what its bars say.
func (v *FrameView) PrintU() ThingU {
	axis := math.Hypot(v.ScaleU, v.AxesU/2)
	return ThingU{axis, axis, printSquareU}
}

// seenLength says that a vector of pixels is a length in mm along one axis of
// a rule.
func seenLength(px r2.Vec, dpi [2]float64, mm, u float64) scanRow {
	v := r2.Vec{X: px.X * mmPerInch / dpi[0], Y: px.Y * mmPerInch / dpi[1]}
	d := r2.Unit(v)
	return scanRow{
		value: math.Log(mm / r2.Norm(v)), u: math.Hypot(u, repeatU),
		by: [3]float64{d.X * d.X, d.Y * d.Y, d.X * d.Y}, of: [3]float64{1, 0, 0},
	}
}

// seenAffine says that pixels become mm on a thing by the matrix a. sigma is
// the relative standard uncertainty of a length by it.
func seenAffine(a [2][2]float64, dpi [2]float64, sigma float64) []scanRow {
	// The thing's vectors for a nominal millimetre along x and along y, and how
	// they lie to its own axes: its errors turn with it.
	ex := r2.Vec{X: a[0][0] * dpi[0] / mmPerInch, Y: a[1][0] * dpi[0] / mmPerInch}
	ey := r2.Vec{X: a[0][1] * dpi[1] / mmPerInch, Y: a[1][1] * dpi[1] / mmPerInch}
	dx, dy := r2.Unit(ex), r2.Unit(ey)
	along := func(d r2.Vec) [3]float64 { return [3]float64{d.X * d.X, d.Y * d.Y, d.X * d.Y} }
	u := math.Hypot(sigma, repeatU)
	return []scanRow{
		{math.Log(r2.Norm(ex)), u, [3]float64{1, 0, 0}, along(dx)},
		{math.Log(r2.Norm(ey)), u, [3]float64{0, 1, 0}, along(dy)},
		// The cosine of the angle between them changes by twice the size's error
		// in the direction between them, and by the squareness itself.
		{r2.Dot(dx, dy), u * math.Sqrt2, [3]float64{0, 0, 1}, [3]float64{2 * dx.X * dy.X, 2 * dx.Y * dy.Y, dx.X*dy.Y + dx.Y*dy.X}},
	}
}

// ScannerFit says how well the scans agree.
type ScannerFit struct {
	Used     []string  // the scans
	Off      []float64 // relative, how far each of them is from the profile, the worst of its lengths
	Outliers []string  // scans that were left out
	Repeat   float64   // relative, rms of how the scans' lengths differ; NaN where nothing was scanned twice
	Warnings []string
}

// MakeScanner adjusts the scanner's axes to scans of one thing by least
// squares. The thing's own errors, of standard uncertainty thing, are
// parameters too: they are the same in every scan, so that scanning it again
// does not make them smaller, but scanning it turned by a quarter tells the
// axes' ratio without them. A scan that contradicts the others is left out and
// named.
func MakeScanner(madeFrom string, scans []ScanSeen, thing ThingU, dpi [2]float64) (*Scanner, *ScannerFit, error) {
	if len(scans) == 0 {
		return nil, nil, errors.New("no scan shows what is measured")
	}
	fit := &ScannerFit{Repeat: math.NaN()}
	used := slices.Clone(scans)
	for {
		s, off, chi2, dof, err := adjustScanner(used, thing)
		if err != nil {
			return nil, nil, err
		}
		worst := 0
		for i := range off {
			if off[i] > off[worst] {
				worst = i
			}
		}
		// Leaving one out is only for those that have two others to be wrong by.
		if len(used) >= 3 && off[worst] > 5 && 3*(len(scans)-len(used)) < len(scans) {
			fit.Outliers = append(fit.Outliers, used[worst].Name)
			used = slices.Delete(used, worst, worst+1)
			continue
		}
		s.MadeFrom, s.Scans, s.DPI = madeFrom, len(used), dpi
		for i, k := range used {
			fit.Used = append(fit.Used, k.Name)
			fit.Off = append(fit.Off, off[i]*repeatU)
		}
		if dof > 0 {
			fit.Repeat = repeatU * math.Sqrt(chi2/float64(dof))
			if f := chi2 / float64(dof); f > 1 {
				s.Cov.ScaleSym(f, s.Cov)
			}
			if off[worst] > 5 {
				fit.Warnings = append(fit.Warnings, fmt.Sprintf("the scans contradict one another (%s most): scan again, with what is scanned flat on the glass", used[worst].Name))
			}
		}
		for _, name := range fit.Outliers {
			fit.Warnings = append(fit.Warnings, "left out, because it contradicts the others: "+name)
		}
		for i, v := range []float64{s.X, s.Y} {
			if s.Measured[i] && math.Abs(v) > 0.02 {
				fit.Warnings = append(fit.Warnings, fmt.Sprintf("the scale along %s is off by %.1f %%, more than scanners are: does the file state the resolution that was scanned at?", [2]string{"x", "y"}[i], 100*v))
			}
		}
		return s, fit, nil
	}
}

// adjustScanner solves the normal equations. off is by how many of its
// standard uncertainties each scan's worst row misses.
func adjustScanner(scans []ScanSeen, thing ThingU) (s *Scanner, off []float64, chi2 float64, dof int, err error) {
	prior := [6]float64{0.03, 0.03, 0.003, thing[0], thing[1], thing[2]}
	measured := [3]bool{true, true, true}
	for {
		normal, rhs := mat.NewSymDense(6, nil), mat.NewVecDense(6, nil)
		for i, u := range prior {
			normal.SetSym(i, i, 1/math.Max(u*u, 1e-16))
		}
		row := func(r scanRow) [6]float64 {
			return [6]float64{r.by[0], r.by[1], r.by[2], -r.of[0], -r.of[1], -r.of[2]}
		}
		for _, k := range scans {
			for _, r := range k.rows {
				x := row(r)
				if !(r.u > 0) || math.IsNaN(r.value) || math.IsInf(r.value, 0) {
					return nil, nil, 0, 0, fmt.Errorf("%s gives no scale", k.Name)
				}
				for i := range x {
					rhs.SetVec(i, rhs.AtVec(i)+x[i]*r.value/(r.u*r.u))
					for j := i; j < 6; j++ {
						normal.SetSym(i, j, normal.At(i, j)+x[i]*x[j]/(r.u*r.u))
					}
				}
			}
		}
		var chol mat.Cholesky
		var at mat.VecDense
		var cov mat.SymDense
		if !chol.Factorize(normal) || chol.SolveVecTo(&at, rhs) != nil || chol.InverseTo(&cov) != nil {
			return nil, nil, 0, 0, errors.New("the scans do not determine the scanner's scale")
		}
		// What the scans leave open is what scanners are in general.
		again := false
		for i, u := range scannerU {
			if measured[i] && cov.At(i, i) > u*u {
				measured[i], prior[i], again = false, u, true
			}
		}
		if again {
			continue
		}
		s = &Scanner{X: at.AtVec(0), Y: at.AtVec(1), Shear: at.AtVec(2), Cov: mat.NewSymDense(3, nil), Measured: measured}
		for i := range 3 {
			for j := i; j < 3; j++ {
				s.Cov.SetSym(i, j, cov.At(i, j))
			}
		}
		for _, k := range scans {
			worst := 0.0
			for _, r := range k.rows {
				x, miss := row(r), r.value
				for i := range x {
					miss -= x[i] * at.AtVec(i)
				}
				chi2 += miss * miss / (r.u * r.u)
				worst = math.Max(worst, math.Abs(miss)/r.u)
				dof++
			}
			off = append(off, worst)
		}
		for _, m := range measured {
			if m {
				dof--
			}
		}
		return s, off, chi2, max(dof, 0), nil
	}
}
