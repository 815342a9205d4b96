package calib

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
)

// writeProfile writes a profile as a small file that a person can read.
func writeProfile(w io.Writer, profile any) error {
	b, err := json.MarshalIndent(profile, "", "  ")
	if err != nil {
		return err
	}
	// A row of the covariance is a line.
	b = numbersInRow.ReplaceAllFunc(b, func(row []byte) []byte { return bytes.Join(bytes.Fields(row), nil) })
	_, err = w.Write(append(b, '\n'))
	return err
}

var numbersInRow = regexp.MustCompile(`\[[-+0-9.eE,\s]+\]`)

// readProfile reads the profile of a thing (a lens, a scanner), whose file
// says that it is of that kind.
func readProfile(r io.Reader, thing, kind string, profile any) error {
	const most = 1 << 20
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	switch {
	case err != nil:
		return err
	case len(b) > most:
		return fmt.Errorf("too large for a %s profile", thing)
	}
	// What it is comes first, so that another kind of file is named as such.
	var is struct {
		Kind string `json:"kind"`
	}
	if err := json.Unmarshal(b, &is); err != nil {
		return fmt.Errorf("no %s profile: %v", thing, err)
	}
	if is.Kind != kind {
		return fmt.Errorf("no %s profile: its kind is %q, not %q; boltrose profile %s makes one", thing, is.Kind, kind, thing)
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(profile); err != nil {
		return fmt.Errorf("no %s profile: %v", thing, err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return fmt.Errorf("no %s profile: something follows it", thing)
	}
	return nil
}
