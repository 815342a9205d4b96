package vision

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// ErrNoThread says that no threaded bolt was seen in a picture.
var ErrNoThread = errors.New("no thread is seen")

// silhouette is the largest thing in a picture that stands out from what is
// behind it, by its moments.
type silhouette struct {
	points  []r2.Vec // px, of a reduced picture's pixels
	pixel   float64  // px, of one of those
	centre  r2.Vec   // px, of all points
	slender float64  // how much longer it is than wide, by its moments

	along  r2.Vec // its axis; the direction in which it is longest, to begin with
	middle r2.Vec // px, of its length
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
	for _, k := range patch {
		grey = append(grey, float64(l.pix[k/l.w*l.stride+k%l.w]))
	}
	s.inside = median(grey)
	for _, k := range filled(patch, l.w, l.h) {
		s.points = append(s.points, l.up(r2.Vec{X: float64(k%l.w) + 0.5, Y: float64(k/l.w) + 0.5}))
	}
	s.pixel = 1 / math.Min(l.sx, l.sy)
	s.centre = mean2(s.points)
	var xx, xy, yy float64
	for _, p := range s.points {
		d := r2.Sub(p, s.centre)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	angle := math.Atan2(2*xy, xx-yy) / 2
	half, spread := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	s.slender = math.Sqrt((half + spread) / math.Max(half-spread, 1e-9))
	return s.facing(r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}), nil
}

// facing is the silhouette with another direction as its axis.
func (s silhouette) facing(along r2.Vec) silhouette {
	s.along = along
	across := r2.Vec{X: -along.Y, Y: along.X}
	lo, hi := math.Inf(1), math.Inf(-1)
	s.wide = 0
	for _, p := range s.points {
		d := r2.Sub(p, s.centre)
		lo, hi = math.Min(lo, r2.Dot(d, along)), math.Max(hi, r2.Dot(d, along))
		s.wide = math.Max(s.wide, math.Abs(r2.Dot(d, across)))
	}
	s.middle = r2.Add(s.centre, r2.Scale((lo+hi)/2, along))
	s.long, s.wide = hi-lo+s.pixel, s.wide+s.pixel
	return s
}

func mean2(points []r2.Vec) r2.Vec {
	var sum r2.Vec
	for _, p := range points {
		sum = r2.Add(sum, p)
	}
	return r2.Scale(1/float64(len(points)), sum)
}

// filled is a patch with what lies between its pixels along both its row and
// its column: metal that shines may be as bright as what is behind it.
func filled(patch []int, w, h int) []int {
	type span struct{ lo, hi int }
	rows, columns := make([]span, h), make([]span, w)
	for y := range rows {
		rows[y] = span{w, -1}
	}
	for x := range columns {
		columns[x] = span{h, -1}
	}
	for _, k := range patch {
		x, y := k%w, k/w
		rows[y] = span{min(rows[y].lo, x), max(rows[y].hi, x)}
		columns[x] = span{min(columns[x].lo, y), max(columns[x].hi, y)}
	}
	var out []int
	for y, r := range rows {
		for x := r.lo; x <= r.hi; x++ {
			if columns[x].lo <= y && y <= columns[x].hi {
				out = append(out, y*w+x)
			}
		}
	}
	return out
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
