package samples

import (
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// How many samples a pixel's side holds where an edge runs through it, or only
// a strong change of brightness. Elsewhere one sample in its middle does.
const (
	atEdges   = 8
	atChanges = 4
)

// Where paper or ground lies far and wide, one sample for two by two pixels
// does, unless the camera sees so few pixels to the millimetre that their
// grain would be lost.
const (
	block        = 2
	blocksFromPx = 4.5 // per mm
)

// film is light as it fell on some rows of the sensor, a plane a colour.
type film struct {
	w, top, bottom int // rows top to bottom
	c              [3][]float32
}

// Render takes the photograph. The file's JPEG losses are not in the picture
// yet: see [Photo.WriteJPEG].
func (p Photo) Render() (*image.RGBA, PhotoTruth) {
	s := newPhotoScene(p)
	img := image.NewRGBA(image.Rect(0, 0, s.Camera.Width, s.Camera.Height))
	d := newDarkroom(s)
	inBands(s.Camera.Height, 320, func(y0, y1 int) {
		margin, _, _ := d.margins()
		f := s.expose(max(y0-margin, 0), min(y1+margin, s.Camera.Height))
		d.develop(f, y0, y1, img)
	})
	return img, s.truth()
}

// raster is what is seen at the middles of pixels or blocks.
type raster struct {
	x0, y0, step int // the first one's corner and the side of each, px
	w, h         int
	colour       []rgb
	id           []int32
	on           []surface // of blocks
	even         []bool    // of pixels: nothing changes about here
}

func newRaster(x0, y0, x1, y1, step int) *raster {
	r := &raster{x0: x0, y0: y0, step: step, w: (x1 - x0) / step, h: (y1 - y0) / step}
	r.colour, r.id = make([]rgb, r.w*r.h), make([]int32, r.w*r.h)
	return r
}

// expose follows the rays of all pixels in rows y0 to y1.
func (s *photoScene) expose(y0, y1 int) *film {
	w := s.Camera.Width
	f := &film{w: w, top: y0, bottom: y1}
	for c := range f.c {
		f.c[c] = make([]float32, w*(y1-y0))
	}
	r := s.glance(y0, y1)
	fall := s.fall()
	for y := y0; y < y1; y++ {
		for x := range w {
			k := (y-r.y0)*r.w + x - r.x0
			v := r.colour[k]
			if !r.even[k] {
				edge, changes := r.around(k)
				switch px, py := float64(x), float64(y); {
				case edge && !s.isWhole(px, py, r.id[k]):
					v = s.lookClosely(px, py)
				case changes:
					v = s.mean(px, py)
				}
			}
			light := fall(x, y)
			at := (y-y0)*w + x
			for c := range f.c {
				f.c[c][at] = v[c] * s.white[c] * light
			}
		}
	}
	return f
}

// glance looks once at each pixel of rows y0 to y1, and at a pixel more on all
// sides, which shows where edges run.
func (s *photoScene) glance(y0, y1 int) *raster {
	// Whole blocks, and one more all around for those at the border.
	up := func(v int) int { return (v + block - 1) / block * block }
	x0, x1 := -block, up(s.Camera.Width)+block
	y0, y1 = y0/block*block-block, up(y1)+block
	fine := newRaster(x0, y0, x1, y1, 1)
	fine.even = make([]bool, len(fine.id))
	if s.Camera.Focal < blocksFromPx*s.Camera.Distance {
		s.fill(fine)
		return fine
	}
	c := newRaster(x0-block, y0-block, x1+block, y1+block, block)
	c.on = make([]surface, len(c.id))
	s.fill(c)
	for j := range fine.h / block {
		for i := range fine.w / block {
			at := (j+1)*c.w + i + 1
			k := block * (j*fine.w + i)
			if s.isSmooth(c, at) {
				c.spread(at, fine, k)
				continue
			}
			for dy := range block {
				for dx := range block {
					n := k + dy*fine.w + dx
					h := s.follow(float64(x0+block*i+dx)+0.5, float64(y0+block*j+dy)+0.5)
					fine.colour[n], fine.id[n] = s.shade(&h), h.id
				}
			}
		}
	}
	return fine
}

// fill looks at the middle of each pixel or block.
func (s *photoScene) fill(r *raster) {
	half := float64(r.step) / 2
	for j := range r.h {
		for i := range r.w {
			h := s.follow(float64(r.x0+r.step*i)+half, float64(r.y0+r.step*j)+half)
			k := j*r.w + i
			r.colour[k], r.id[k] = s.shade(&h), h.id
			if r.on != nil {
				r.on[k] = h.on
			}
		}
	}
}

// isSmooth tells whether a block and those around it show the same thing, of
// which the grain is coarser than blocks.
func (s *photoScene) isSmooth(r *raster, k int) bool {
	switch r.on[k] {
	case ground, object, nothing:
	case paper:
		if s.sheet.tex != nil {
			return false
		}
	default:
		return false
	}
	edge, changes := r.around(k)
	return !edge && !changes
}

// spread fills a block's pixels with what lies between its middle and those of
// its neighbours.
func (r *raster) spread(k int, to *raster, at int) {
	for dy := range block {
		for dx := range block {
			side, row := 2*dx-1, (2*dy-1)*r.w
			n := at + dy*to.w + dx
			a, b, c, d := &r.colour[k], &r.colour[k+side], &r.colour[k+row], &r.colour[k+row+side]
			for i := range a {
				to.colour[n][i] = (9*a[i] + 3*(b[i]+c[i]) + d[i]) / 16
			}
			to.id[n], to.even[n] = r.id[k], true
		}
	}
}

// around tells whether a pixel's or block's neighbours show something else,
// and whether those that show the same are much brighter or darker.
func (r *raster) around(k int) (edge, changes bool) {
	lo, hi := r.colour[k][1], r.colour[k][1]
	for _, row := range [3]int{k - r.w, k, k + r.w} {
		for n := row - 1; n <= row+1; n++ {
			if r.id[n] != r.id[k] {
				edge = true
				continue
			}
			lo, hi = min(lo, r.colour[n][1]), max(hi, r.colour[n][1])
		}
	}
	return edge, hi > 1.6*lo+0.02
}

// follow is where the ray through a point of the picture ends.
func (s *photoScene) follow(x, y float64) hit {
	d, ok := s.eye.ray(x, y)
	if !ok {
		return hit{}
	}
	return s.trace(s.eye.at, d)
}

// brightest is what a single spark may give: it must not make a whole pixel
// white.
const brightest = 3

// mean is that of samples all over the pixel whose top-left corner is at (x, y).
func (s *photoScene) mean(x, y float64) rgb {
	var sum rgb
	for j := range atChanges {
		for i := range atChanges {
			h := s.follow(x+(float64(i)+0.5)/atChanges, y+(float64(j)+0.5)/atChanges)
			sum.add(s.shade(&h))
		}
	}
	return sum.times(1. / (atChanges * atChanges))
}

func (c *rgb) add(v rgb) {
	for i := range c {
		c[i] += min(v[i], brightest)
	}
}

// lookClosely is the mean over a pixel that an edge runs through. How much
// of it each thing takes is told from all samples, which is what puts the edge
// in its place; its colour from every fourth one.
func (s *photoScene) lookClosely(x, y float64) rgb {
	type part struct {
		id            int32
		count, shaded int
		sum           rgb
	}
	var room [8]part
	parts := room[:0]
	for j := range atEdges {
		for i := range atEdges {
			h := s.follow(x+(float64(i)+0.5)/atEdges, y+(float64(j)+0.5)/atEdges)
			n := 0
			for n < len(parts) && parts[n].id != h.id {
				n++
			}
			if n == len(parts) {
				parts = append(parts, part{id: h.id})
			}
			p := &parts[n]
			p.count++
			if p.shaded == 0 || (i+2*j)%4 == 1 {
				p.shaded++
				p.sum.add(s.shade(&h))
			}
		}
	}
	var sum rgb
	for i := range parts {
		p := &parts[i]
		share := float32(p.count) / float32(p.shaded*atEdges*atEdges)
		for c := range sum {
			sum[c] += p.sum[c] * share
		}
	}
	return sum
}

// isWhole tells whether the corners of a pixel show the same as its middle.
func (s *photoScene) isWhole(x, y float64, middle int32) bool {
	const in = 0.5 / atEdges
	for _, c := range [4][2]float64{{in, in}, {1 - in, in}, {in, 1 - in}, {1 - in, 1 - in}} {
		if h := s.follow(x+c[0], y+c[1]); h.id != middle {
			return false
		}
	}
	return true
}

// fall is the share of the light that a pixel gets by its place.
func (s *photoScene) fall() func(x, y int) float32 {
	l := &s.Light
	if l.Gradient == 0 && l.Vignette == 0 {
		return func(int, int) float32 { return 1 }
	}
	half := math.Hypot(float64(s.Camera.Width), float64(s.Camera.Height)) / 2
	sin, cos := math.Sincos(l.GradientTo * math.Pi / 180)
	return func(x, y int) float32 {
		p := r2.Vec{
			X: (float64(x) + 0.5 - float64(s.Camera.Width)/2) / half,
			Y: (float64(y) + 0.5 - float64(s.Camera.Height)/2) / half,
		}
		return float32(max(0.05, (1+l.Gradient*(cos*p.X-sin*p.Y))*(1-l.Vignette*r2.Norm2(p))))
	}
}
