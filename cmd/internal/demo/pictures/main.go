// Command pictures renders the pictures of the README and the demo into a
// folder.
package main

import (
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"

	"boltrose/cmd/internal/demo"
	"boltrose/samples"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/demo/pictures FOLDER")
		os.Exit(2)
	}
	if err := makeAll(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "pictures:", err)
		os.Exit(1)
	}
}

func makeAll(folder string) error {
	for _, r := range samples.Finished() {
		err := write(filepath.Join(folder, r.Name+".png"), func(w io.Writer) error {
			img, _ := r.Render()
			return samples.WritePNG(w, img, r.DPI, r.DPI)
		})
		if err != nil {
			return err
		}
	}
	bolt := samples.CiderPressBolt()
	err := write(filepath.Join(folder, bolt.Name+".jpg"), func(w io.Writer) error {
		img, _ := bolt.Render()
		return samples.WriteJPEG(w, img, bolt.DPI, bolt.DPI, 85)
	})
	if err != nil {
		return err
	}
	for _, p := range demo.Photos() {
		err := write(filepath.Join(folder, p.Name+".jpg"), func(w io.Writer) error {
			var img image.Image
			img, _ = p.Render()
			return p.WriteJPEG(w, img)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func write(path string, fill func(w io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := fill(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
