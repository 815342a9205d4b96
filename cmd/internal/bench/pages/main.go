// Command pages renders the A4 scans that the benchmark reads into a folder,
// leaving alone those that are there.
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
			path := filepath.Join(folder, fmt.Sprintf("a4-%.0f-dpi-%s", dpi, kind.name))
			if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
				continue
			}
			page := samples.New(samples.CiderPress(), 1)
			page.DPI, page.Width, page.Height = dpi, 210, 297
			page.Turn, page.Handwriting, page.Smudges = 7, 3, 3
			page.Output = kind.output
			img, _ := page.Render()
			err := atomicfile.Write(path, func(w io.Writer) error { return kind.write(w, img, dpi) })
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func png(w io.Writer, img image.Image, dpi float64) error {
	return samples.WritePNG(w, img, dpi, dpi)
}

func jpeg(w io.Writer, img image.Image, dpi float64) error {
	return samples.WriteJPEG(w, img, dpi, dpi, 90)
}
