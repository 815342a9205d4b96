package calib

import (
	"errors"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/mat"
)

// scannerFile is a scanner profile as it is written. Keys are never renamed.
type scannerFile struct {
	Kind       string       `json:"kind"` // scannerKind
	MadeFrom   string       `json:"made_from"`
	Scans      int          `json:"scans"`
	DPI        [2]float64   `json:"dpi"`
	ScaleX     float64      `json:"scale_x"` // true length over nominal
	ScaleY     float64      `json:"scale_y"`
	ShearRad   float64      `json:"shear_rad"`
	Measured   [3]bool      `json:"measured"` // whether the three were
	Covariance [][3]float64 `json:"covariance"`
}

const scannerKind = "boltrose scanner profile"

// WriteJSON writes the profile as a small file that a person can read.
func (s *Scanner) WriteJSON(w io.Writer) error {
	f := scannerFile{Kind: scannerKind, MadeFrom: s.MadeFrom, Scans: s.Scans, DPI: s.DPI, ScaleX: 1 + s.X, ScaleY: 1 + s.Y, ShearRad: s.Shear, Measured: s.Measured}
	for i := range 3 {
		f.Covariance = append(f.Covariance, [3]float64{s.Cov.At(i, 0), s.Cov.At(i, 1), s.Cov.At(i, 2)})
	}
	return writeProfile(w, f)
}

// ReadScanner reads what WriteJSON wrote, and refuses anything else.
func ReadScanner(r io.Reader) (*Scanner, error) {
	var f scannerFile
	if err := readProfile(r, "scanner", scannerKind, &f); err != nil {
		return nil, err
	}
	s := &Scanner{MadeFrom: f.MadeFrom, Scans: f.Scans, DPI: f.DPI, X: f.ScaleX - 1, Y: f.ScaleY - 1, Shear: f.ShearRad, Measured: f.Measured}
	if err := s.take(f); err != nil {
		return nil, fmt.Errorf("a scanner profile that cannot be: %w", err)
	}
	return s, nil
}

// take checks that a scanner may have these numbers.
func (s *Scanner) take(f scannerFile) error {
	for _, d := range s.DPI {
		if !(d >= 1 && d <= 1e5) {
			return fmt.Errorf("%g dpi", d)
		}
	}
	for _, v := range []float64{s.X, s.Y, s.Shear} {
		if !(math.Abs(v) < 0.2) {
			return fmt.Errorf("an axis that is off by %g", v)
		}
	}
	if s.Scans < 1 {
		return fmt.Errorf("made from %d scans", s.Scans)
	}
	if len(f.Covariance) != 3 {
		return errors.New("its covariance has not three rows")
	}
	s.Cov = mat.NewSymDense(3, nil)
	for i, row := range f.Covariance {
		for j, v := range row {
			if v != f.Covariance[j][i] {
				return errors.New("its covariance is not symmetric")
			}
			s.Cov.SetSym(i, j, v)
		}
		if v := row[i]; !(v > 0 && v < 0.01) {
			return fmt.Errorf("a variance of %g", v)
		}
	}
	_, err := semiCholesky(s.Cov)
	return err
}
