package vision

import (
	"fmt"
	"image"
	"testing"

	"boltrose/samples"
)

// A4 pages with the rubbing of a flange.
func BenchmarkFind(b *testing.B) {
	for _, dpi := range []float64{300, 600} {
		var grey *image.Gray
		b.Run(fmt.Sprintf("A4 %g dpi", dpi), func(b *testing.B) {
			if grey == nil { // this function runs more than once
				page := samples.New(samples.CiderPress(), 1)
				page.DPI, page.Width, page.Height = dpi, 210, 297
				page.Turn, page.Handwriting, page.Smudges = 7, 3, 3
				img, _ := page.Render()
				grey = img.(*image.Gray)
			}
			b.ReportAllocs()
			b.SetBytes(int64(len(grey.Pix)))
			for b.Loop() {
				marks, err := Find(&Picture{Grey: grey})
				if err != nil || len(marks) == 0 {
					b.Fatalf("%d marks, %v", len(marks), err)
				}
			}
		})
	}
}
