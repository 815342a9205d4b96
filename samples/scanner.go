package samples

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
)

// scan looks at the scene through the scanner.
func (s *scene) scan() image.Image {
	w, h := s.place.w, s.place.h
	channels := 1
	if s.Output == Colour {
		channels = 4
	}
	pix := make([]uint8, w*h*channels)
	kernel := gaussian(s.Blur)
	halo := len(kernel) / 2
	tint := s.tint()
	white := float32(255 / s.WhitePoint)
	levels := s.levels()
	inBands(h, 2*tileSide, func(y0, y1 int) {
		top, bottom := max(0, y0-halo), min(h, y1+halo)
		seen := blurBand(s.brightness(top, bottom), w, top, y0, y1, kernel)
		for y := y0; y < y1; y++ {
			light := s.light(y)
			for x := range w {
				v := seen[(y-y0)*w+x] * light(x)
				k := y*w + x
				if channels == 1 {
					pix[k] = levels[level(v*white+s.noise(k, 0))]
					continue
				}
				for c := range 3 {
					pix[4*k+c] = levels[level((tint[c][0]+tint[c][1]*v)*white+s.noise(k, c))]
				}
				pix[4*k+3] = 255
			}
		}
	})
	bounds := image.Rect(0, 0, w, h)
	if s.Output == Colour {
		return s.throughJPEG(&image.RGBA{Pix: pix, Stride: 4 * w, Rect: bounds})
	}
	img := s.throughJPEG(&image.Gray{Pix: pix, Stride: w, Rect: bounds})
	if grey, ok := img.(*image.Gray); ok && s.Output != Grey {
		return s.oneBit(grey)
	}
	return img
}

// light is the unevenness of the lamp along a row.
func (s *scene) light(y int) func(x int) float32 {
	amount := s.UnevenLight
	if amount == 0 {
		return func(int) float32 { return 1 }
	}
	v := float64(y)/float64(s.place.h) - 0.5
	phase := 2 * math.Pi * lattice(s.Seed, 31, 0)
	a, b := math.Sin(phase), math.Cos(phase)
	w := float64(s.place.w)
	return func(x int) float32 {
		u := float64(x)/w - 0.5
		return float32(1 + amount*(a*u+b*v-1.5*u*u-0.7*v*v))
	}
}

// noise of the sensor for the k-th pixel, in grey levels.
func (s *scene) noise(k, channel int) float32 {
	if s.Noise == 0 {
		return 0
	}
	return float32(s.Noise) * normal(s.Seed+uint64(channel)*0x51ed27, uint64(k))
}

func level(v float32) uint8 {
	if !(v > 0) {
		return 0
	}
	return uint8(min(v+0.5, 255))
}

// tint is offset and slope of each channel over brightness: paper is a little
// warm, graphite a little blue. The lid takes the same tint.
func (s *scene) tint() [3][2]float32 {
	paper, lead := [3]float64{0.965, 0.945, 0.895}, [3]float64{0.02, 0.03, 0.06}
	if s.Style == Chalk {
		paper, lead = [3]float64{0.12, 0.13, 0.16}, [3]float64{0.93, 0.9, 0.82}
	}
	var t [3][2]float32
	for c := range t {
		slope := (paper[c] - lead[c]) / (s.outside - s.inside)
		t[c] = [2]float32{float32(lead[c] - slope*s.inside), float32(slope)}
	}
	return t
}

// levels maps the 256 levels of grey to those that the scanner tells apart.
func (s *scene) levels() [256]uint8 {
	var t [256]uint8
	for i := range t {
		t[i] = uint8(i)
		if n := s.Levels; n > 1 && n < 256 {
			k := math.Round(float64(i) * float64(n-1) / 255)
			t[i] = uint8(math.Round(k * 255 / float64(n-1)))
		}
	}
	return t
}

// gaussian is a normalised kernel; a single 1 when there is nothing to blur.
func gaussian(sigma float64) []float32 {
	if sigma < 0.05 {
		return []float32{1}
	}
	half := int(math.Ceil(3 * sigma))
	k := make([]float32, 2*half+1)
	sum := 0.0
	for i := range k {
		sum += math.Exp(-square(float64(i-half)/sigma) / 2)
	}
	for i := range k {
		k[i] = float32(math.Exp(-square(float64(i-half)/sigma)/2) / sum)
	}
	return k
}

// blurBand blurs rows y0 to y1 of a band of rows that begins at top. Beyond
// the picture its edge is repeated.
func blurBand(band []float32, w, top, y0, y1 int, kernel []float32) []float32 {
	half := len(kernel) / 2
	if half == 0 {
		return band
	}
	last := len(band)/w - 1
	out := make([]float32, w*(y1-y0))
	wide := make([]float32, w+2*half)
	taps := make([][]float32, len(kernel))
	for y := y0; y < y1; y++ {
		column := wide[half : half+w]
		for k := range kernel {
			taps[k] = band[min(max(y-top+k-half, 0), last)*w:][:w]
		}
		weightedSum(column, taps, kernel)
		for k := range half {
			wide[k], wide[half+w+k] = column[0], column[w-1]
		}
		for k := range kernel {
			taps[k] = wide[k : k+w]
		}
		weightedSum(out[(y-y0)*w:][:w], taps, kernel)
	}
	return out
}

// weightedSum is the sum of lists, each times its weight. Most of a blur's time
// goes here: four at a time take half as long as one by one.
func weightedSum(to []float32, lists [][]float32, weights []float32) {
	clear(to)
	for len(lists) >= 4 {
		a, b, c, d := lists[0][:len(to)], lists[1][:len(to)], lists[2][:len(to)], lists[3][:len(to)]
		u, v, w, z := weights[0], weights[1], weights[2], weights[3]
		for i, sum := range to {
			sum += u * a[i]
			sum += v * b[i]
			sum += w * c[i]
			sum += z * d[i]
			to[i] = sum
		}
		lists, weights = lists[4:], weights[4:]
	}
	for k, list := range lists {
		list, u := list[:len(to)], weights[k]
		for i := range to {
			to[i] += u * list[i]
		}
	}
}

// throughJPEG is the picture after the losses of JPEG at the set quality.
func (s *scene) throughJPEG(img image.Image) image.Image {
	if s.JPEGQuality <= 0 {
		return img
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: s.JPEGQuality}); err != nil {
		return img // larger than JPEG can hold: 65,535 pixels a side
	}
	back, err := jpeg.Decode(&buf)
	if err != nil {
		return img
	}
	if ycc, ok := back.(*image.YCbCr); ok {
		rgba := image.NewRGBA(ycc.Rect)
		for y := range ycc.Rect.Dy() {
			for x := range ycc.Rect.Dx() {
				c := ycc.YCbCrAt(x, y)
				r, g, b := color.YCbCrToRGB(c.Y, c.Cb, c.Cr)
				rgba.SetRGBA(x, y, color.RGBA{R: r, G: g, B: b, A: 255})
			}
		}
		return rgba
	}
	return back
}

// oneBit is the picture in black and white: cut at a threshold midway between
// paper and lead, or with its error spread (Floyd and Steinberg, 1976).
func (s *scene) oneBit(grey *image.Gray) *image.Paletted {
	w, h := grey.Rect.Dx(), grey.Rect.Dy()
	out := image.NewPaletted(grey.Rect, color.Palette{color.Gray{Y: 0}, color.Gray{Y: 255}})
	if s.Output == Threshold {
		cut := uint8(255 * (0.6*s.outside + 0.4*s.inside))
		for y := range h {
			for x, v := range grey.Pix[y*grey.Stride:][:w] {
				if v >= cut {
					out.Pix[y*out.Stride+x] = 1
				}
			}
		}
		return out
	}
	line, next := make([]int, w+2), make([]int, w+2)
	for y := range h {
		for x := range w {
			v := int(grey.Pix[y*grey.Stride+x]) + line[x+1]/16
			rest := v
			if v >= 128 {
				out.Pix[y*out.Stride+x] = 1
				rest -= 255
			}
			line[x+2] += 7 * rest
			next[x] += 3 * rest
			next[x+1] += 5 * rest
			next[x+2] += rest
		}
		line, next = next, line
		clear(next)
	}
	return out
}
