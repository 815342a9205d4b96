package vision

import (
	"image"
	"image/color"
	"image/draw"
	"runtime"
	"sync"
)

// toGrey reduces a decoded picture to 8-bit luma, Y = 0.299 R + 0.587 G +
// 0.114 B (ITU-R BT.601, as in JFIF), on white where it is transparent. The
// result has its origin at (0, 0) and no gaps between rows; it may share
// memory with img.
func toGrey(img image.Image) *image.Gray {
	b := img.Bounds()
	if g, ok := img.(*image.Gray); ok {
		return packed(g)
	}
	g := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	row := rowConverter(img)
	parallelRows(b.Dy(), func(y int) {
		row(g.Pix[y*g.Stride:][:g.Stride], y)
	})
	return g
}

// packed closes the gaps between g's rows in place: the JPEG decoder pads them
// to whole blocks.
func packed(g *image.Gray) *image.Gray {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	pix := g.Pix
	if g.Stride != w {
		for y := range h {
			copy(pix[y*w:][:w], pix[y*g.Stride:][:w])
		}
	}
	return &image.Gray{Pix: pix[: w*h : w*h], Stride: w, Rect: image.Rect(0, 0, w, h)}
}

// rowConverter returns the function that writes row y of img as grey.
func rowConverter(img image.Image) func(grey []byte, y int) {
	switch m := img.(type) {
	case *image.YCbCr:
		// A JPEG's Y is the luma wanted. It is copied, because it shares one
		// block of memory with Cb and Cr and would keep them alive.
		return func(grey []byte, y int) {
			copy(grey, m.Y[y*m.YStride:])
		}
	case *image.RGBA:
		return func(grey []byte, y int) {
			p := m.Pix[y*m.Stride:][:4*len(grey)]
			for i := range grey {
				q := p[4*i:][:4:4]
				grey[i] = luma(q[0], q[1], q[2]) + (255 - q[3]) // premultiplied
			}
		}
	case *image.NRGBA:
		return func(grey []byte, y int) {
			p := m.Pix[y*m.Stride:][:4*len(grey)]
			for i := range grey {
				q := p[4*i:][:4:4]
				v, a := uint32(luma(q[0], q[1], q[2])), uint32(q[3])
				grey[i] = uint8((v*a + 255*(255-a) + 127) / 255)
			}
		}
	case *image.Gray16:
		return func(grey []byte, y int) {
			p := m.Pix[y*m.Stride:]
			for i := range grey {
				grey[i] = p[2*i] // the high byte
			}
		}
	case *image.RGBA64:
		return func(grey []byte, y int) {
			p := m.Pix[y*m.Stride:][:8*len(grey)]
			for i := range grey {
				q := p[8*i:][:8:8]
				grey[i] = luma(q[0], q[2], q[4]) + (255 - q[6])
			}
		}
	case *image.NRGBA64:
		return func(grey []byte, y int) {
			p := m.Pix[y*m.Stride:][:8*len(grey)]
			for i := range grey {
				q := p[8*i:][:8:8]
				v, a := uint32(luma(q[0], q[2], q[4])), uint32(q[6])
				grey[i] = uint8((v*a + 255*(255-a) + 127) / 255)
			}
		}
	case *image.Paletted:
		table := paletteGreys(m.Palette)
		return func(grey []byte, y int) {
			for i, v := range m.Pix[y*m.Stride:][:len(grey)] {
				grey[i] = table[v]
			}
		}
	}
	// Rare kinds (CMYK, WebP with transparency) take the slow road.
	b := img.Bounds()
	return func(grey []byte, y int) {
		for i := range grey {
			grey[i] = 255
		}
		line := &image.Gray{Pix: grey, Stride: len(grey), Rect: image.Rect(0, 0, len(grey), 1)}
		draw.Draw(line, line.Rect, img, image.Pt(b.Min.X, b.Min.Y+y), draw.Over)
	}
}

// fullRange stretches the luma of a lossy WebP picture, which has black at 16
// and white at 235 (RFC 6386 clause 9.2; the decoder leaves it so), to 0 … 255.
func fullRange(img image.Image) {
	var luma []uint8
	switch m := img.(type) {
	case *image.YCbCr:
		luma = m.Y
	case *image.NYCbCrA:
		luma = m.Y
	}
	stretch(luma)
}

func stretch(luma []uint8) {
	for i, v := range luma {
		luma[i] = uint8(min(max((int(v)-16)*255+109, 0)/219, 255))
	}
}

// luma weighs 8-bit R, G and B; the weights add up to 1<<16.
func luma(r, g, b uint8) uint8 {
	return uint8((19595*uint32(r) + 38470*uint32(g) + 7471*uint32(b) + 1<<15) >> 16)
}

// paletteGreys is the palette over white. An index beyond the palette, which a
// careless decoder may let through, is white.
func paletteGreys(p color.Palette) (table [256]uint8) {
	for i := range table {
		table[i] = 255
		if i < len(p) {
			c := color.NRGBAModel.Convert(p[i]).(color.NRGBA)
			v, a := uint32(luma(c.R, c.G, c.B)), uint32(c.A)
			table[i] = uint8((v*a + 255*(255-a) + 127) / 255)
		}
	}
	return table
}

// parallelRows calls do for each row of 0 … n−1, in bands on all processors.
func parallelRows(n int, do func(y int)) {
	bands := min(runtime.GOMAXPROCS(0), n)
	var wg sync.WaitGroup
	for k := range bands {
		wg.Go(func() {
			for y := k * n / bands; y < (k+1)*n/bands; y++ {
				do(y)
			}
		})
	}
	wg.Wait()
}
