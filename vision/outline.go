package vision

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// ErrNoThread says that no threaded bolt was seen in a picture.
var ErrNoThread = errors.New("no thread is seen")

// silhouette is the largest thing in a picture that stands out from what is
// behind it, by its moments.
type silhouette struct {
	middle r2.Vec // px
	along  r2.Vec // the direction in which it is longest
	long   float64
	wide   float64 // half of what it reaches to either side, at most

	behind float64 // grey of what lies behind it
	inside float64 // its own, roughly
}

// outlineSide is how many pixels the longer side of the picture has in which
// the bolt is looked for.
const outlineSide = 900

// findSilhouette looks for the bolt on a reduced picture: it is the largest
// patch that differs from what the picture's border shows.
func findSilhouette(p *Picture) (silhouette, error) {
	pyr, err := p.pyramid()
	if err != nil {
		return silhouette{}, err
	}
	l := pyr.levels[0]
	for _, next := range pyr.levels[1:] {
		if max(l.w, l.h) <= outlineSide {
			break
		}
		l = next
	}
	if l.w < 16 || l.h < 16 {
		return silhouette{}, fmt.Errorf("%w: the picture is too small", ErrNoThread)
	}
	behind := l.border()
	differs := make([]uint8, l.w*l.h)
	var histogram [256]int
	for y := range l.h {
		for x := range l.w {
			d := uint8(math.Min(math.Abs(float64(l.pix[y*l.stride+x])-behind), 255))
			differs[y*l.w+x] = d
			histogram[d]++
		}
	}
	cut, below, above := otsu(histogram)
	if above-below < 12 {
		return silhouette{}, fmt.Errorf("%w: nothing stands out from what is behind it", ErrNoThread)
	}
	patch := largestPatch(differs, l.w, l.h, cut)
	if len(patch) < 40 {
		return silhouette{}, fmt.Errorf("%w: nothing stands out from what is behind it", ErrNoThread)
	}
	s := silhouette{behind: behind}
	var grey []float64
	var sx, sy float64
	for _, k := range patch {
		sx, sy = sx+float64(k%l.w)+0.5, sy+float64(k/l.w)+0.5
		grey = append(grey, float64(l.pix[k/l.w*l.stride+k%l.w]))
	}
	n := float64(len(patch))
	at := r2.Vec{X: sx / n, Y: sy / n}
	var xx, xy, yy float64
	for _, k := range patch {
		dx, dy := float64(k%l.w)+0.5-at.X, float64(k/l.w)+0.5-at.Y
		xx, xy, yy = xx+dx*dx, xy+dx*dy, yy+dy*dy
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	s.along = r2.Vec{X: cos, Y: sin}
	across := r2.Vec{X: -sin, Y: cos}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, k := range patch {
		d := r2.Vec{X: float64(k%l.w) + 0.5 - at.X, Y: float64(k/l.w) + 0.5 - at.Y}
		lo, hi = math.Min(lo, r2.Dot(d, s.along)), math.Max(hi, r2.Dot(d, s.along))
		s.wide = math.Max(s.wide, math.Abs(r2.Dot(d, across)))
	}
	at = r2.Add(at, r2.Scale((lo+hi)/2, s.along))
	s.middle, s.long, s.wide = l.up(at), (hi-lo+1)/l.sx, (s.wide+1)/l.sx
	slices.Sort(grey)
	s.inside = grey[len(grey)/2]
	return s, nil
}

// border is the grey of most of the picture's border, less a hair's breadth of
// dark or bright frame that scanners leave.
func (l level) border() float64 {
	in := max(2, min(l.w, l.h)/60)
	var grey []float64
	for x := in; x < l.w-in; x++ {
		grey = append(grey, float64(l.pix[in*l.stride+x]), float64(l.pix[(l.h-1-in)*l.stride+x]))
	}
	for y := in; y < l.h-in; y++ {
		grey = append(grey, float64(l.pix[y*l.stride+in]), float64(l.pix[y*l.stride+l.w-1-in]))
	}
	return median(grey)
}

// otsu is the level that parts a histogram best into two, and the means of
// both (N. Otsu, "A threshold selection method from gray-level histograms",
// IEEE Trans. SMC 9, 1979).
func otsu(h [256]int) (cut uint8, below, above float64) {
	var n, sum float64
	for v, k := range h {
		n, sum = n+float64(k), sum+float64(v*k)
	}
	best, n0, s0 := -1.0, 0.0, 0.0
	for v, k := range h[:255] {
		n0, s0 = n0+float64(k), s0+float64(v*k)
		if n0 == 0 || n0 == n {
			continue
		}
		m0, m1 := s0/n0, (sum-s0)/(n-n0)
		if between := n0 * (n - n0) * (m1 - m0) * (m1 - m0); between > best {
			best, cut, below, above = between, uint8(v), m0, m1
		}
	}
	return cut, below, above
}

// largestPatch is the largest connected set of pixels above a cut, of those
// that lie wholly in the picture where there is one.
func largestPatch(v []uint8, w, h int, cut uint8) []int {
	seen := make([]bool, len(v))
	var best []int
	bestWhole := false
	var stack []int
	for start := range v {
		if seen[start] || v[start] <= cut {
			continue
		}
		var patch []int
		whole := true
		stack = append(stack[:0], start)
		seen[start] = true
		for len(stack) > 0 {
			k := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			patch = append(patch, k)
			x, y := k%w, k/w
			if x == 0 || y == 0 || x == w-1 || y == h-1 {
				whole = false
				continue
			}
			for _, next := range [4]int{k - 1, k + 1, k - w, k + w} {
				if !seen[next] && v[next] > cut {
					seen[next] = true
					stack = append(stack, next)
				}
			}
		}
		// What runs out of the picture may be the scanner's frame.
		if len(patch) > len(best) && (whole || !bestWhole) || whole && !bestWhole && 5*len(patch) > len(best) {
			best, bestWhole = patch, whole
		}
	}
	return best
}
