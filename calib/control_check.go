package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// check refuses what no fit can be made of.
func (set ControlSet) check() error {
	n := len(set.Controls)
	switch {
	case set.Scan && n < 2:
		return fmt.Errorf("a scan needs two known points or more, not %d", n)
	case !set.Scan && n < 4:
		return fmt.Errorf("a photograph needs four known points or more, not %d: it is seen at an angle that they must give", n)
	case set.WidthPx <= 0 || set.HighPx <= 0:
		return errors.New("the picture has no size")
	}
	for _, v := range []float64{set.ScaleU, set.AxesU, set.AboveU, set.FlatU, set.FocalPx} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return fmt.Errorf("an uncertainty or a focal length is a number from 0 up, not %g", v)
		}
	}
	if set.ScaleU > 0.5 || set.AxesU > 0.5 {
		return errors.New("a relative uncertainty of more than 0.5 is no scale")
	}
	if set.Scan && (set.AboveMM != 0 || set.AboveU != 0) {
		return errors.New("a height above the face is for photographs; a scanner sees from straight above")
	}
	if math.IsNaN(set.AboveMM) || math.IsInf(set.AboveMM, 0) {
		return errors.New("the height above the face is not a number")
	}
	var px, mm []r2.Vec
	for _, c := range set.Controls {
		if !finite(c.Px) || !finite(c.MM) || !(c.SigmaPx >= 0) || !(c.SigmaMM >= 0) || math.IsInf(c.SigmaPx+c.SigmaMM, 0) {
			return fmt.Errorf("%s is at %g,%g px and %g,%g mm, with %g px and %g mm: not all of these are numbers", c.Name, c.Px.X, c.Px.Y, c.MM.X, c.MM.Y, c.SigmaPx, c.SigmaMM)
		}
		px, mm = append(px, c.Px), append(mm, c.MM)
	}
	for _, side := range []struct {
		unit   string
		points []r2.Vec
	}{{"px", px}, {"mm", mm}} {
		if err := set.checkSpread(side.unit, side.points); err != nil {
			return err
		}
	}
	return nil
}

// nearlyZero is how narrow a figure may be, relative to its length, before
// its points count as one, or as on a line.
const nearlyZero = 0.01

func (set ControlSet) checkSpread(unit string, points []r2.Vec) error {
	_, size := extent(points)
	if !(size > 0) || size > 1e9 {
		return fmt.Errorf("the known points are all at one place in %s", unit)
	}
	for i, a := range points {
		for j, b := range points[:i] {
			if r2.Norm(r2.Sub(a, b)) < 1e-3*size {
				return fmt.Errorf("%s and %s are at the same place, %g,%g %s", set.Controls[j].Name, set.Controls[i].Name, a.X, a.Y, unit)
			}
		}
	}
	if len(points) < 3 {
		return nil
	}
	if thin(points) {
		return fmt.Errorf("the known points lie on one line in %s; they must span an area", unit)
	}
	if len(points) == 4 && !set.Scan {
		for skip := range 4 {
			three := append(append([]r2.Vec(nil), points[:skip]...), points[skip+1:]...)
			if thin(three) {
				return fmt.Errorf("three of the four known points lie on one line in %s (all but %s); take four corners", unit, set.Controls[skip].Name)
			}
		}
	}
	return nil
}

// thin says whether points lie on a line as nearly as does not matter.
func thin(points []r2.Vec) bool {
	middle, size := extent(points)
	m := mat.NewDense(len(points), 2, nil)
	for i, p := range points {
		m.SetRow(i, []float64{(p.X - middle.X) / size, (p.Y - middle.Y) / size})
	}
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDNone) {
		return true
	}
	v := svd.Values(nil)
	return !(v[1] > nearlyZero*v[0])
}

// checkView refuses a homography (from mm to directions) that no camera in
// front of the sheet can give.
func checkView(h homography, controls []Control, to func(r2.Vec) r2.Vec) error {
	front, back := 0, 0
	mirrored := 0
	for _, c := range controls {
		p := to(c.MM)
		if _, w := h.apply(p); w > 0 {
			front++
		} else {
			back++
		}
		if h.turns(p) > 0 {
			mirrored++
		}
	}
	switch {
	case front > 0 && back > 0:
		return errors.New("no camera sees the known points like this: two of them are exchanged, or a millimetre value is wrong")
	case mirrored == len(controls):
		return errors.New("the known points go round the other way in the picture than in mm: y in mm is up, and in the picture down; or two of them are exchanged, or the picture is mirrored")
	case mirrored > 0:
		return errors.New("no camera sees the known points like this: two of them are exchanged")
	}
	return nil
}
