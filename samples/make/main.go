// Command make renders the finished sample pictures into a folder.
package main

import (
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"

	"boltrose/samples"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./samples/make FOLDER")
		os.Exit(2)
	}
	if err := makeAll(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "make:", err)
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
	border := samples.DotBorder(210, 297, 150, 150, 10, 5)
	for _, p := range samples.FinishedPhotos(border) {
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
