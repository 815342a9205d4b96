// Command bare starts with the libraries that boltrose starts with, decodes
// the picture files named and does nothing more: the floor that boltrose read
// is measured against.
package main

import (
	"fmt"
	"os"

	"boltrose/vision"
)

func main() {
	for _, path := range os.Args[1:] {
		p, err := vision.Open(path, vision.Limits{})
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(2)
		}
		fmt.Println(path, p.Format, p.Grey.Rect.Dx(), p.Grey.Rect.Dy())
	}
}
