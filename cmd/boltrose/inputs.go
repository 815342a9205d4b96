package main

import (
	"errors"
	"fmt"
	"os"

	"boltrose/pattern"
)

// openReading reads a reading's file; - is standard input.
func openReading(path string) (*pattern.Reading, error) {
	in := os.Stdin
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, cannotOpen(path, err)
		}
		defer f.Close()
		in = f
	}
	r, err := pattern.ReadJSON(in)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

// cannotOpen says in one line why a file cannot be opened.
func cannotOpen(path string, err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: there is no such file", path)
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s: cannot be opened: %w", path, err)
}
