// Package openscad turns OpenSCAD files into meshes with the program openscad,
// where it is installed.
package openscad

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// ErrMissing says that openscad is not installed.
var ErrMissing = errors.New("openscad is not installed, and makes the STL: install it (on Debian and Ubuntu the package openscad), or write a .scad file and open it where it is")

// Installed tells whether there is an openscad.
func Installed() bool {
	_, err := exec.LookPath("openscad")
	return err == nil
}

// STL writes the mesh (STL, mm) of what an OpenSCAD file describes. It gives
// up after so long. Settings are put before the file's own, as "$fn=32".
func STL(w io.Writer, scad func(io.Writer) error, limit time.Duration, settings ...string) error {
	if !Installed() {
		return ErrMissing
	}
	dir, err := os.MkdirTemp("", "boltrose-")
	if err != nil {
		return fmt.Errorf("no folder for temporary files: %w", err)
	}
	defer os.RemoveAll(dir)
	var text bytes.Buffer
	if err := scad(&text); err != nil {
		return err
	}
	from, to := filepath.Join(dir, "part.scad"), filepath.Join(dir, "part.stl")
	if err := os.WriteFile(from, text.Bytes(), 0o600); err != nil {
		return fmt.Errorf("no temporary file: %w", err)
	}
	args := []string{"-o", to}
	for _, s := range settings {
		args = append(args, "-D", s)
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	run := exec.CommandContext(ctx, "openscad", append(args, from)...)
	run.WaitDelay = time.Second
	said, err := run.CombinedOutput()
	if ctx.Err() != nil {
		return fmt.Errorf("openscad was not done after %v: write a .scad file, and make the STL from it with a smaller $fn", limit)
	}
	if complaint := complaint(said); err != nil || complaint != "" {
		if complaint == "" {
			complaint = err.Error()
		}
		return fmt.Errorf("openscad made no STL: %s", complaint)
	}
	mesh, err := os.Open(to)
	if err != nil {
		return errors.New("openscad made no STL, and did not say why")
	}
	defer mesh.Close()
	_, err = io.Copy(w, mesh)
	return err
}

// complaint is the first error or warning of what openscad printed; a warning
// is one too, because what it is about is then left out of the part.
func complaint(said []byte) string {
	for _, kind := range []string{"ERROR:", "WARNING:"} {
		for _, line := range strings.Split(string(said), "\n") {
			if strings.HasPrefix(line, kind) {
				return strings.TrimSpace(line)
			}
		}
	}
	return ""
}
