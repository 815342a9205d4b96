package vision

import (
	"fmt"
	"image"
	"math/rand/v2"
	"testing"
)

// pageLike is a page of paper grain with strokes on it, about as hard to
// compress as a scan.
func pageLike(dpi int) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, 210*dpi*10/254, 297*dpi*10/254))
	random := rand.New(rand.NewPCG(1, uint64(dpi)))
	for y := range g.Rect.Dy() {
		tone := 225
		for x := range g.Rect.Dx() {
			if x%64 == 0 {
				tone = 120 + random.IntN(110)
			}
			g.Pix[y*g.Stride+x] = uint8(tone + random.IntN(9))
		}
	}
	return g
}

func BenchmarkDecode(b *testing.B) {
	for _, dpi := range []int{300, 600} {
		grey := pageLike(dpi)
		colour := image.NewRGBA(grey.Rect)
		for i, v := range grey.Pix {
			copy(colour.Pix[4*i:], []byte{v, v - v/16, v - v/8, 255})
		}
		for _, c := range []struct {
			name   string
			format Format
			img    image.Image
		}{
			{"png-grey", PNG, grey},
			{"png-colour", PNG, colour},
			{"jpeg-colour", JPEG, colour},
		} {
			data := encoded(b, c.format, c.img)
			b.Run(fmt.Sprintf("%d-dpi/%s", dpi, c.name), func(b *testing.B) {
				b.SetBytes(int64(len(grey.Pix))) // pixels
				for b.Loop() {
					if _, err := Decode(data, Limits{}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
