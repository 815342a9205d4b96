package samples

import (
	"image"
	"math"
	"sync"
)

// darkroom is what is needed to make a picture of what fell on the sensor.
type darkroom struct {
	*photoScene
	defocus, soft []float32 // kernels
	motion        []tap
	curve         []float32
}

func newDarkroom(s *photoScene) *darkroom {
	d := &darkroom{
		photoScene: s,
		defocus:    gaussian(s.Shot.Defocus),
		motion:     motionTaps(s.Shot.Motion, s.Shot.MotionAngle),
		curve:      toneCurve(s.Shot.Contrast),
	}
	if s.Shot.Sharpen > 0 {
		d.soft = gaussian(s.Shot.SharpenRange)
	}
	return d
}

// margins are how many rows above and below a row take part in it, before
// each of the steps.
func (d *darkroom) margins() (blur, smear, sharpen int) {
	sharpen = len(d.soft) / 2
	smear = sharpen
	for _, t := range d.motion {
		smear = max(smear, sharpen+t.dy, sharpen-t.dy)
	}
	return smear + len(d.defocus)/2, smear, sharpen
}

// develop makes the rows y0 to y1 of the picture: blur, stray light, noise,
// tone curve and sharpening, in the order in which a phone has them.
func (d *darkroom) develop(f *film, y0, y1 int, img *image.RGBA) {
	h := d.Camera.Height
	_, smear, sharpen := d.margins()
	f = f.blur(d.defocus, max(y0-smear, 0), min(y1+smear, h))
	f = f.smear(d.motion, max(y0-sharpen, 0), min(y1+sharpen, h))
	d.toLevels(f)
	more := d.sharpening(f, y0, y1)
	pix := img.Pix[img.Stride*y0 : img.Stride*y1]
	from := (y0 - f.top) * f.w
	for k := range (y1 - y0) * f.w {
		add := more(k)
		for c := range f.c {
			pix[4*k+c] = level(f.c[c][from+k] + add)
		}
		pix[4*k+3] = 255
	}
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

// normals are equally likely values of a standard normal distribution.
var normals = sync.OnceValue(func() *[4096]float32 {
	var t [4096]float32
	for i := range t {
		t[i] = float32(math.Sqrt2 * math.Erfinv((2*float64(i)+1)/float64(len(t))-1))
	}
	return &t
})

// toLevels adds stray light and noise and applies the tone curve.
func (d *darkroom) toLevels(f *film) {
	gain := float32(math.Exp2(d.Shot.Exposure))
	// Noise of photons goes with the root of the light. The curve's slope at
	// middle grey, 0.21 of full light, is about 280 levels to one.
	noise := d.Shot.Noise / 280
	shot, dark := float32(noise/math.Sqrt(0.21)), float32(0.25*noise)
	normals := normals()
	normal := func(bits uint64) float32 { return normals[bits%uint64(len(normals))] }
	for y := f.top; y < f.bottom; y++ {
		stray := d.stray(y)
		for x := range f.w {
			k := (y-f.top)*f.w + x
			veil := stray(x)
			bits := hash(d.Seed + 0x7e57 + uint64(y*f.w+x)*0x9e3779b97f4a7c15)
			// Most of a phone's noise is grey: colour noise is filtered out.
			grey := 0.85 * normal(bits)
			for c := range f.c {
				v := (f.c[c][k] + veil) * gain
				if noise > 0 {
					n := grey + 0.5*normal(bits>>(16*(c+1)))
					v += n * (dark + shot*float32(math.Sqrt(float64(max(v, 0)))))
				}
				t := min(max(v, 0), 1) * curveCells
				i := int(t)
				f.c[c][k] = d.curve[i] + (d.curve[i+1]-d.curve[i])*(t-float32(i))
			}
		}
	}
}

// stray is the veil of stray light along a row: a broad Gaussian.
func (d *darkroom) stray(y int) func(x int) float32 {
	l := &d.Light
	if l.Hotspot == 0 {
		return func(int) float32 { return 0 }
	}
	w, h := float64(d.Camera.Width), float64(d.Camera.Height)
	spread := 0.22 * math.Hypot(w, h)
	dy := float64(y) - l.HotspotAt.Y*h
	return func(x int) float32 {
		dx := float64(x) - l.HotspotAt.X*w
		return float32(0.8 * l.Hotspot * math.Exp(-(dx*dx+dy*dy)/(spread*spread)))
	}
}

// sharpening is what unsharp masking adds to the k-th pixel of rows y0 to y1:
// to its brightness, as phones do it, so that colours keep their differences
// and edges get halos.
func (d *darkroom) sharpening(f *film, y0, y1 int) func(k int) float32 {
	if d.soft == nil {
		return func(int) float32 { return 0 }
	}
	grey := make([]float32, len(f.c[0]))
	for k := range grey {
		grey[k] = 0.3*f.c[0][k] + 0.59*f.c[1][k] + 0.11*f.c[2][k]
	}
	soft := blurBand(grey, f.w, f.top, y0, y1, d.soft)
	grey = grey[(y0-f.top)*f.w:]
	amount := float32(d.Shot.Sharpen)
	return func(k int) float32 { return min(max(amount*(grey[k]-soft[k]), -40), 40) }
}

// blur leaves rows y0 to y1 blurred along both axes. Beyond the picture its
// edge is repeated.
func (f *film) blur(kernel []float32, y0, y1 int) *film {
	if len(kernel) == 1 {
		return f.rows(y0, y1)
	}
	out := &film{w: f.w, top: y0, bottom: y1}
	for c := range f.c {
		out.c[c] = blurBand(f.c[c], f.w, f.top, y0, y1, kernel)
	}
	return out
}

// rows is the part of a film from row y0 to y1.
func (f *film) rows(y0, y1 int) *film {
	out := &film{w: f.w, top: y0, bottom: y1}
	for c := range f.c {
		out.c[c] = f.c[c][(y0-f.top)*f.w : (y1-f.top)*f.w]
	}
	return out
}

// tap is the share that a pixel some columns and rows away has in a sum.
type tap struct {
	dx, dy int
	share  float32
}

// motionTaps are the blur of a camera that moved in a straight line, some
// pixels in a direction on the picture: the mean of copies, half a pixel
// apart, on both sides of the middle.
func motionTaps(length, angle float64) []tap {
	if length < 0.3 {
		return []tap{{share: 1}}
	}
	n := int(2*length) + 2
	sin, cos := math.Sincos(angle * math.Pi / 180)
	var taps []tap
	add := func(x, y int, share float64) {
		for i := range taps {
			if taps[i].dx == x && taps[i].dy == y {
				taps[i].share += float32(share)
				return
			}
		}
		taps = append(taps, tap{x, y, float32(share)})
	}
	for i := range n {
		d := length * ((float64(i)+0.5)/float64(n) - 0.5)
		dx, dy := d*cos, -d*sin
		x, y := math.Floor(dx), math.Floor(dy)
		fx, fy := dx-x, dy-y
		for k, share := range [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy} {
			add(int(x)+k%2, int(y)+k/2, share/float64(n))
		}
	}
	return taps
}

// smear leaves the sum of taps in rows y0 to y1. Beyond the picture its edge
// is repeated.
func (f *film) smear(taps []tap, y0, y1 int) *film {
	if len(taps) == 1 {
		return f.rows(y0, y1)
	}
	out := &film{w: f.w, top: y0, bottom: y1}
	for c := range f.c {
		out.c[c] = make([]float32, f.w*(y1-y0))
		for y := y0; y < y1; y++ {
			dst := out.c[c][(y-y0)*f.w:][:f.w]
			for _, t := range taps {
				src := f.c[c][(min(max(y+t.dy, f.top), f.bottom-1)-f.top)*f.w:][:f.w]
				// The columns at both ends take from the picture's edge.
				from, to := min(max(-t.dx, 0), f.w), max(min(f.w-t.dx, f.w), 0)
				for x := range from {
					dst[x] += t.share * src[0]
				}
				for x := from; x < to; x++ {
					dst[x] += t.share * src[x+t.dx]
				}
				for x := max(to, from); x < f.w; x++ {
					dst[x] += t.share * src[f.w-1]
				}
			}
		}
	}
	return out
}
