package samples

import (
	"image"
	"math"
)

// develop makes the picture of what fell on the sensor: blur, stray light,
// noise, tone curve and sharpening, in the order in which a phone has them.
func (s *photoScene) develop(f *film) *image.RGBA {
	shot := &s.Shot
	for c := range f.c {
		f.c[c] = blurPlane(f.c[c], f.w, f.h, gaussian(shot.Defocus))
		f.c[c] = smear(f.c[c], f.w, f.h, shot.Motion, shot.MotionAngle)
	}
	s.toLevels(f)
	if shot.Sharpen > 0 {
		s.sharpen(f)
	}
	img := image.NewRGBA(image.Rect(0, 0, f.w, f.h))
	inBands(f.h, 64, func(y0, y1 int) {
		for k := y0 * f.w; k < y1*f.w; k++ {
			for c := range f.c {
				img.Pix[4*k+c] = level(f.c[c][k])
			}
			img.Pix[4*k+3] = 255
		}
	})
	return img
}

// curveCells is the resolution of the tone curve's table.
const curveCells = 4096

// toneCurve maps light, 0 to 1 in that many cells, to levels of 0 to 255: the
// sRGB curve (IEC 61966-2-1), steeper in the middle by the contrast.
func toneCurve(contrast float64) []float32 {
	t := make([]float32, curveCells+2)
	for i := range t {
		v := min(float64(i)/curveCells, 1)
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		v += contrast * (ease(v) - v)
		t[i] = float32(255 * v)
	}
	return t
}

// toLevels adds stray light and noise and applies the tone curve.
func (s *photoScene) toLevels(f *film) {
	curve := toneCurve(s.Shot.Contrast)
	gain := float32(math.Exp2(s.Shot.Exposure))
	l := &s.Light
	// Noise of photons goes with the root of the light. The curve's slope at
	// middle grey, 0.21 of full light, is about 280 levels to one.
	noise := s.Shot.Noise / 280
	shot, dark := float32(noise/math.Sqrt(0.21)), float32(0.25*noise)
	spread := 0.22 * math.Hypot(float64(f.w), float64(f.h))
	inBands(f.h, 64, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range f.w {
				k := y*f.w + x
				stray := float32(0)
				if l.Hotspot > 0 {
					dx, dy := float64(x)-l.HotspotAt.X*float64(f.w), float64(y)-l.HotspotAt.Y*float64(f.h)
					stray = float32(0.8 * l.Hotspot * math.Exp(-(dx*dx+dy*dy)/(spread*spread)))
				}
				// Most of a phone's noise is grey: colour noise is filtered out.
				grey := normal(s.Seed+0x7e57, uint64(k))
				for c := range f.c {
					v := (f.c[c][k] + stray) * gain
					if noise > 0 {
						n := 0.85*grey + 0.5*normal(s.Seed+uint64(c)*0x51ed27, uint64(k))
						v += n * (dark + shot*float32(math.Sqrt(float64(max(v, 0)))))
					}
					t := min(max(v, 0), 1) * curveCells
					i := int(t)
					f.c[c][k] = curve[i] + (curve[i+1]-curve[i])*(t-float32(i))
				}
			}
		}
	})
}

// sharpen is unsharp masking of the brightness, as phones do it: colours keep
// their differences, edges get halos.
func (s *photoScene) sharpen(f *film) {
	grey := make([]float32, f.w*f.h)
	inBands(f.h, 64, func(y0, y1 int) {
		for k := y0 * f.w; k < y1*f.w; k++ {
			grey[k] = 0.3*f.c[0][k] + 0.59*f.c[1][k] + 0.11*f.c[2][k]
		}
	})
	soft := blurPlane(grey, f.w, f.h, gaussian(s.Shot.SharpenRange))
	amount := float32(s.Shot.Sharpen)
	inBands(f.h, 64, func(y0, y1 int) {
		for k := y0 * f.w; k < y1*f.w; k++ {
			more := min(max(amount*(grey[k]-soft[k]), -40), 40)
			for c := range f.c {
				f.c[c][k] += more
			}
		}
	})
}

// blurPlane blurs along both axes. Beyond the picture its edge is repeated.
func blurPlane(v []float32, w, h int, kernel []float32) []float32 {
	half := len(kernel) / 2
	if half == 0 {
		return v
	}
	out := make([]float32, len(v))
	inBands(h, 64, func(y0, y1 int) {
		top, bottom := max(0, y0-half), min(h, y1+half)
		copy(out[y0*w:y1*w], blurBand(v[top*w:bottom*w], w, top, y0, y1, kernel))
	})
	return out
}

// smear is the blur of a camera that moved in a straight line, some pixels in
// a direction on the picture: the mean of copies, half a pixel apart, on both
// sides of the middle.
func smear(v []float32, w, h int, length, angle float64) []float32 {
	if length < 0.3 {
		return v
	}
	out := make([]float32, len(v))
	n := int(2*length) + 2
	sin, cos := math.Sincos(angle * math.Pi / 180)
	inBands(h, 64, func(y0, y1 int) {
		for i := range n {
			d := length * ((float64(i)+0.5)/float64(n) - 0.5)
			dx, dy := d*cos, -d*sin
			ix, iy := int(math.Floor(dx)), int(math.Floor(dy))
			fx, fy := float32(dx-float64(ix)), float32(dy-float64(iy))
			share := 1 / float32(n)
			for y := y0; y < y1; y++ {
				a := v[min(max(y+iy, 0), h-1)*w:][:w]
				b := v[min(max(y+iy+1, 0), h-1)*w:][:w]
				dst := out[y*w : (y+1)*w]
				for x := range dst {
					l, r := min(max(x+ix, 0), w-1), min(max(x+ix+1, 0), w-1)
					top := a[l] + (a[r]-a[l])*fx
					bottom := b[l] + (b[r]-b[l])*fx
					dst[x] += share * (top + (bottom-top)*fy)
				}
			}
		}
	})
	return out
}
