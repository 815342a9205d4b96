// Command scans renders a folder of small scans, several of each part, for
// trying and measuring boltrose folder:
//
//	go run ./cmd/internal/bench/scans [-dpi 150] [-tiny] N FOLDER
package main

import (
	"flag"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/samples"

	"golang.org/x/image/tiff"
)

func main() {
	dpi := flag.Float64("dpi", 150, "pixels per inch")
	tiny := flag.Bool("tiny", false, "pictures of 40 × 40 pixels in which there is nothing")
	different := flag.Int("different", 40, "different pictures, of which the others are copies with another comment")
	flag.Parse()
	n, err := strconv.Atoi(flag.Arg(0))
	if err != nil || flag.NArg() != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/bench/scans [-dpi 150] N FOLDER")
		os.Exit(2)
	}
	if err := render(n, *different, *dpi, *tiny, flag.Arg(1)); err != nil {
		fmt.Fprintln(os.Stderr, "scans:", err)
		os.Exit(1)
	}
}

func render(n, different int, dpi float64, tiny bool, folder string) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	todo := make(chan int)
	errs := make(chan error, n)
	var workers sync.WaitGroup
	for range runtime.NumCPU() {
		workers.Go(func() {
			for i := range todo {
				if err := one(i, dpi, tiny, folder); err != nil {
					errs <- err
				}
			}
		})
	}
	for i := range min(n, different) {
		todo <- i
	}
	close(todo)
	workers.Wait()
	close(errs)
	for err := range errs {
		return err
	}
	for i := different; i < n; i++ { // bytes behind its end are no part of a picture
		data, err := os.ReadFile(filepath.Join(folder, name(i%different)))
		if err != nil {
			return err
		}
		to := filepath.Join(folder, fmt.Sprintf("copy%d-%s", i/different, name(i%different)))
		err = atomicfile.Write(to, func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "%s%d", data, i)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// name: two scans of each part, in the formats by turns.
func name(i int) string {
	return fmt.Sprintf("part%03d-%d%s", i/2, i%2+1, []string{".png", ".jpg", ".png", ".tif"}[i%4])
}

func one(i int, dpi float64, tiny bool, folder string) error {
	if tiny {
		img := image.NewGray(image.Rect(0, 0, 40, 40))
		for k := range img.Pix {
			img.Pix[k] = uint8(200 + (k*(i+1))%40)
		}
		return atomicfile.Write(filepath.Join(folder, name(i)), func(w io.Writer) error { return write(w, img, name(i), dpi) })
	}

	face := []samples.Face{
		samples.Ring(4, 50, 7),
		samples.Keyed(60, []float64{90, 160, 235, 305, 20}, 9),
		samples.Ring(6, 64, 9),
		samples.Keyed(56, []float64{90, 150, 210, 277, 330, 30}, 8),
	}[i/2%4]
	r := samples.New(face, uint64(i+1))
	r.DPI, r.Tone, r.Turn = dpi, 0.5, float64(7*i%360)
	img, _ := r.Render()
	return atomicfile.Write(filepath.Join(folder, name(i)), func(w io.Writer) error {
		return write(w, img, name(i), dpi)
	})
}

func write(w io.Writer, img image.Image, name string, dpi float64) error {
	switch filepath.Ext(name) {
	case ".jpg":
		return samples.WriteJPEG(w, img, dpi, dpi, 90)
	case ".tif": // which says nothing of its resolution
		return tiff.Encode(w, img, &tiff.Options{Compression: tiff.Deflate})
	}
	return samples.WritePNG(w, img, dpi, dpi)
}
