// Command pages renders the A4 scans and the photograph with a printed frame
// that the benchmark reads into a folder, leaving alone those that are there.
package main

import (
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/demo"
	"boltrose/samples"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/bench/pages FOLDER")
		os.Exit(2)
	}
	if err := render(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "pages:", err)
		os.Exit(1)
	}
}

func render(folder string) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	for _, dpi := range []float64{300, 600} {
		for _, kind := range []struct {
			name   string
			output samples.Output
			write  func(io.Writer, image.Image, float64) error
		}{
			{"grey.png", samples.Grey, png},
			{"colour.png", samples.Colour, png},
			{"colour.jpg", samples.Colour, jpeg},
		} {
			page := samples.New(samples.CiderPress(), 1)
			page.DPI, page.Width, page.Height = dpi, 210, 297
			page.Turn, page.Handwriting, page.Smudges = 7, 3, 3
			page.Output = kind.output
			err := unlessThere(filepath.Join(folder, fmt.Sprintf("a4-%.0f-dpi-%s", dpi, kind.name)), func(w io.Writer) error {
				img, _ := page.Render()
				return kind.write(w, img, dpi)
			})
			if err != nil {
				return err
			}
		}
	}
	photo := demo.Photos()[0]
	photo.Camera = photo.Camera.Scaled(2) // the phone's own 12 megapixels
	photo.Shot.Defocus, photo.Shot.JPEGQuality = 0.8, 90
	return unlessThere(filepath.Join(folder, "photo-12-mp-frame.jpg"), func(w io.Writer) error {
		img, _ := photo.Render()
		return photo.WriteJPEG(w, img)
	})
}

func unlessThere(path string, fill func(io.Writer) error) error {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return atomicfile.Write(path, fill)
}

func png(w io.Writer, img image.Image, dpi float64) error {
	return samples.WritePNG(w, img, dpi, dpi)
}

func jpeg(w io.Writer, img image.Image, dpi float64) error {
	return samples.WriteJPEG(w, img, dpi, dpi, 90)
}
