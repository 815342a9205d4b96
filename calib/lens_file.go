package calib

import (
	"errors"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/mat"
)

// lensFile is a lens profile as it is written. Keys are never renamed.
type lensFile struct {
	Kind          string             `json:"kind"` // lensKind
	Make          string             `json:"make,omitempty"`
	Model         string             `json:"model,omitempty"`
	FocalLengthMM float64            `json:"focal_length_mm,omitempty"`
	MadeFrom      string             `json:"made_from,omitempty"`
	Pictures      int                `json:"pictures"`
	RMSPx         float64            `json:"rms_px"`
	WidthPx       int                `json:"width_px"`
	HeightPx      int                `json:"height_px"`
	Lens          map[string]float64 `json:"lens"`

	// Covariance of those parameters that were fitted, in the order of Fitted.
	Fitted     []string    `json:"fitted"`
	Covariance [][]float64 `json:"covariance"`
}

const lensKind = "boltrose lens profile"

// lensKeys name the parameters in the order of Lens.Cov.
var lensKeys = [lensParams]string{"fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "k3", "p1", "p2"}

// WriteJSON writes the profile as a small file that a person can read.
func (l *Lens) WriteJSON(w io.Writer) error {
	f := lensFile{
		Kind: lensKind, Make: l.Make, Model: l.Model, FocalLengthMM: l.FocalLengthMM, MadeFrom: l.MadeFrom,
		Pictures: l.Pictures, RMSPx: l.RMSPx, WidthPx: l.WidthPx, HeightPx: l.HighPx,
		Lens: map[string]float64{}, Fitted: []string{}, Covariance: [][]float64{},
	}
	var open []int
	for i, v := range l.params() {
		f.Lens[lensKeys[i]] = v
		if l.Cov != nil && l.Cov.At(i, i) > 0 {
			open = append(open, i)
			f.Fitted = append(f.Fitted, lensKeys[i])
		}
	}
	for _, i := range open {
		var row []float64
		for _, j := range open {
			row = append(row, l.Cov.At(i, j))
		}
		f.Covariance = append(f.Covariance, row)
	}
	return writeProfile(w, f)
}

// ReadLens reads what WriteJSON wrote, and refuses anything else.
func ReadLens(r io.Reader) (*Lens, error) {
	var f lensFile
	if err := readProfile(r, "lens", lensKind, &f); err != nil {
		return nil, err
	}
	l := &Lens{
		Make: f.Make, Model: f.Model, FocalLengthMM: f.FocalLengthMM, MadeFrom: f.MadeFrom,
		Pictures: f.Pictures, RMSPx: f.RMSPx, WidthPx: f.WidthPx, HighPx: f.HeightPx,
	}
	if err := l.take(f); err != nil {
		return nil, fmt.Errorf("a lens profile that cannot be: %w", err)
	}
	return l, nil
}

// take takes the numbers, and checks that a camera may have them.
func (l *Lens) take(f lensFile) error {
	place := map[string]int{}
	for i, k := range lensKeys {
		place[k] = i
	}
	var p [lensParams]float64
	for k, v := range f.Lens {
		i, ok := place[k]
		if !ok {
			return fmt.Errorf("there is no lens parameter %q", k)
		}
		p[i] = v
	}
	l.FX, l.FY, l.CX, l.CY = p[pFx], p[pFy], p[pCx], p[pCy]
	l.K1, l.K2, l.K3, l.P1, l.P2 = p[pK1], p[pK2], p[pK3], p[pP1], p[pP2]
	w, h := float64(l.WidthPx), float64(l.HighPx)
	side := math.Max(w, h)
	switch {
	case l.WidthPx < 1 || l.HighPx < 1 || side > 1e6:
		return fmt.Errorf("pictures of %d × %d pixels", l.WidthPx, l.HighPx)
	case !(l.FX > 0.1*side && l.FX < 100*side && l.FY > 0.1*side && l.FY < 100*side):
		return fmt.Errorf("focal lengths of %g and %g pixels", l.FX, l.FY)
	case !(l.CX > -w && l.CX < 2*w && l.CY > -h && l.CY < 2*h):
		return fmt.Errorf("the principal point at %g,%g", l.CX, l.CY)
	case !(l.FocalLengthMM >= 0 && l.FocalLengthMM < 1e5) || !(l.RMSPx >= 0 && l.RMSPx < side) || l.Pictures < 0:
		return errors.New("a focal length, a residual or a number of pictures below zero")
	}
	for _, v := range p[pK1:] {
		if !(math.Abs(v) < 1e6) {
			return fmt.Errorf("a distortion of %g", v)
		}
	}
	if len(f.Covariance) != len(f.Fitted) {
		return errors.New("its covariance has not one row for each fitted parameter")
	}
	l.Cov = mat.NewSymDense(lensParams, nil)
	seen := map[string]bool{}
	for a, k := range f.Fitted {
		i, ok := place[k]
		if !ok || seen[k] || len(f.Covariance[a]) != len(f.Fitted) {
			return errors.New("its covariance does not go with the fitted parameters")
		}
		seen[k] = true
		for b, other := range f.Fitted {
			j, ok := place[other]
			if !ok || f.Covariance[a][b] != f.Covariance[b][a] {
				return errors.New("its covariance is not symmetric")
			}
			l.Cov.SetSym(i, j, f.Covariance[a][b])
		}
		if v := f.Covariance[a][a]; !(v > 0) || v > 1e12 {
			return fmt.Errorf("the variance of %s is %g", k, v)
		}
	}
	if _, err := semiCholesky(l.Cov); err != nil {
		return err
	}
	return nil
}
