package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// How many samples a pixel's side holds where an edge runs through it, or only
// a strong change of brightness. Elsewhere one sample in its middle does.
const (
	atEdges   = 8
	atChanges = 4
)

// film is light as it fell on the sensor, a plane a colour.
type film struct {
	w, h int
	c    [3][]float32
}

func newFilm(w, h int) *film {
	f := &film{w: w, h: h}
	for i := range f.c {
		f.c[i] = make([]float32, w*h)
	}
	return f
}

// expose follows the rays of every pixel.
func (s *photoScene) expose() *film {
	w, h := s.Camera.Width, s.Camera.Height
	f := newFilm(w, h)
	inBands(h, 32, func(y0, y1 int) {
		// One more row and column on each side show where edges run.
		across := w + 2
		rows := y1 - y0 + 2
		colour := make([]rgb, across*rows)
		id := make([]int32, across*rows)
		for j := range rows {
			for i := range across {
				k := j*across + i
				colour[k], id[k] = s.look(float64(i)-0.5, float64(y0+j)-0.5)
			}
		}
		for y := y0; y < y1; y++ {
			for x := range w {
				k := (y-y0+1)*across + x + 1
				v := colour[k]
				if n := fineness(colour, id, k, across); n > 1 {
					v = s.lookClosely(float64(x), float64(y), n)
				}
				light := float32(s.fall(x, y))
				at := y*w + x
				for c := range f.c {
					f.c[c][at] = v[c] * s.white[c] * light
				}
			}
		}
	})
	return f
}

// fineness is how closely to look at a pixel: one of its neighbours may show
// something else, or be much brighter or darker.
func fineness(colour []rgb, id []int32, k, across int) int {
	lo, hi := colour[k][1], colour[k][1]
	for _, row := range [3]int{k - across, k, k + across} {
		for n := row - 1; n <= row+1; n++ {
			if id[n] != id[k] {
				return atEdges
			}
			lo, hi = min(lo, colour[n][1]), max(hi, colour[n][1])
		}
	}
	if hi > 1.6*lo+0.02 {
		return atChanges
	}
	return 1
}

// look is what is seen in one direction.
func (s *photoScene) look(x, y float64) (rgb, int32) {
	d, ok := s.eye.ray(x, y)
	if !ok {
		return rgb{}, 0
	}
	h := s.trace(s.eye.at, d)
	return s.shade(&h), h.id
}

// lookClosely is the mean over the pixel whose top-left corner is at (x, y).
func (s *photoScene) lookClosely(x, y float64, fineness int) rgb {
	var sum rgb
	for j := range fineness {
		for i := range fineness {
			v, _ := s.look(x+(float64(i)+0.5)/float64(fineness), y+(float64(j)+0.5)/float64(fineness))
			for c := range sum {
				// A single spark must not make a whole pixel white.
				sum[c] += min(v[c], 3)
			}
		}
	}
	return sum.times(1 / float64(fineness*fineness))
}

// fall is the share of the light that a pixel gets by its place.
func (s *photoScene) fall(x, y int) float64 {
	l := &s.Light
	if l.Gradient == 0 && l.Vignette == 0 {
		return 1
	}
	half := math.Hypot(float64(s.Camera.Width), float64(s.Camera.Height)) / 2
	p := r2.Vec{
		X: (float64(x) + 0.5 - float64(s.Camera.Width)/2) / half,
		Y: (float64(y) + 0.5 - float64(s.Camera.Height)/2) / half,
	}
	sin, cos := math.Sincos(l.GradientTo * math.Pi / 180)
	return max(0.05, (1+l.Gradient*(cos*p.X-sin*p.Y))*(1-l.Vignette*r2.Norm2(p)))
}
