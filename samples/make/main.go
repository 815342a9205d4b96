// Command make renders the finished sample pictures into a folder.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"boltrose/samples"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./samples/make FOLDER")
		os.Exit(2)
	}
	for _, r := range samples.Finished() {
		if err := write(filepath.Join(os.Args[1], r.Name+".png"), r); err != nil {
			fmt.Fprintln(os.Stderr, "make:", err)
			os.Exit(1)
		}
	}
}

func write(path string, r samples.Rubbing) error {
	img, _ := r.Render()
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := samples.WritePNG(f, img, r.DPI, r.DPI); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
