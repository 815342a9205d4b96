package read

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"boltrose/calib"
	"boltrose/vision"
)

// lensOf returns the profile of the lens that a photograph was taken with: the
// one that the person names, or one of those kept in the folder that was made
// with the same camera at the same focal length. It is nil where there is none;
// note says which was taken.
func lensOf(pic *vision.Picture, opts Options) (lens *calib.Lens, note string, err error) {
	size := pic.Grey.Rect.Size()
	if opts.LensFile != "" {
		if lens, err = readLens(opts.LensFile); err != nil {
			return nil, "", fmt.Errorf("--lens %w", err)
		}
		if err := lens.Fits(size.X, size.Y); err != nil {
			return nil, "", fmt.Errorf("--lens %s: %w", opts.LensFile, err)
		}
		note = "lens profile " + opts.LensFile + ", as given"
		if err := lens.Matches(pic); err != nil {
			note += "; it may not be this camera's: " + err.Error()
		}
		return lens, note, nil
	}
	if opts.LensFolder == "" || pic.Camera == nil {
		return nil, "", nil
	}
	// A folder that is not there, or a file in it that cannot be read, is as
	// good as none: profiles kept there help, and are never required.
	files, _ := filepath.Glob(filepath.Join(opts.LensFolder, "*.json"))
	for _, f := range files {
		l, err := readLens(f)
		if err == nil && l.Matches(pic) == nil {
			return l, "lens profile " + f + ", by the camera that the photograph names", nil
		}
	}
	return nil, "", nil
}

func readLens(path string) (*calib.Lens, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be read: %s", path, reason(err))
	}
	defer f.Close()
	l, err := calib.ReadLens(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return l, nil
}

// reason is an error of the file system without the path that it repeats.
func reason(err error) string {
	text := err.Error()
	if i := strings.LastIndex(text, ": "); i >= 0 {
		text = text[i+2:]
	}
	return text
}
