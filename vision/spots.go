package vision

import (
	"bytes"
	"image"
	"math"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// Spot is a dark place with an elliptic outline on something lighter, as a
// printed dot is from any side.
type Spot struct {
	Centre r2.Vec // px, middle of its area
	Area   float64
	Ratio  float64 // of its short to its long axis
}

// Spots finds dark elliptic spots, quickly and roughly: Find measures circles,
// and knows one no longer that is seen at more than some 30°.
//
// A pixel is dark where it is below a share of the mean around it; a spot is
// what hangs together and has the area of the ellipse with its second moments.
func Spots(pic *Picture) ([]Spot, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	l := p.levels[len(p.levels)-1]
	for _, l = range p.levels {
		if l.w*l.h <= spotPixels {
			break
		}
	}
	src, err := l.mat()
	if err != nil {
		return nil, err
	}
	defer src.Close()
	limit, below := gocv.NewMat(), gocv.NewMat()
	defer limit.Close()
	defer below.Close()
	side := 2*(max(l.w, l.h)/16) + 1 // larger than the dots of a frame that fills the picture
	gocv.BoxFilter(src, &limit, -1, image.Pt(side, side))
	limit.ConvertToWithParams(&limit, gocv.MatTypeCV8U, spotShare, 0)
	gocv.Compare(src, limit, &below, gocv.CompareLT)
	dark, err := below.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	var spots []Spot
	for _, b := range blobs(dark, l.w, l.h) {
		if s, ok := b.spot(); ok {
			s.Centre = l.up(s.Centre)
			s.Area /= l.sx * l.sy
			spots = append(spots, s)
		}
	}
	return spots, nil
}

const (
	spotPixels = 3_200_000 // of the level that is looked at
	spotShare  = 0.75      // of the mean around it that a dark pixel is below
	spotArea   = 20.0      // level pixels, at least
	spotMost   = 0.01      // of the picture, at most
	spotRatio  = 0.3
	spotShape  = 0.08 // how far, relatively, the area may be from an ellipse's
)

// blob holds sums over the pixels that hang together.
type blob struct {
	n, x, y, xx, xy, yy float64
	cut                 bool // it touches the picture's border
	of                  float64
}

func (b blob) spot() (Spot, bool) {
	if b.cut || b.n < spotArea || b.n > spotMost*b.of {
		return Spot{}, false
	}
	x, y := b.x/b.n, b.y/b.n
	// A pixel is not a point but a square, with a variance of its own.
	xx, xy, yy := b.xx/b.n-x*x+1./12, b.xy/b.n-x*y, b.yy/b.n-y*y+1./12
	det := xx*yy - xy*xy
	if det <= 0 {
		return Spot{}, false
	}
	half, diff := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	s := Spot{
		Centre: r2.Vec{X: x + 0.5, Y: y + 0.5},
		Area:   b.n,
		Ratio:  math.Sqrt(max(half-diff, 0) / (half + diff)),
	}
	ellipse := 4 * math.Pi * math.Sqrt(det)
	return s, s.Ratio >= spotRatio && math.Abs(b.n/ellipse-1) <= spotShape
}

// blobs labels the pixels of a w × h picture that are set by runs along its rows.
func blobs(dark []uint8, w, h int) []blob {
	type run struct{ from, to, id int }
	var above, here []run
	var parent []int
	var sums []blob
	root := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for y := range h {
		here = here[:0]
		row := dark[y*w : (y+1)*w]
		k := 0
		for from, to := nextRun(row, 0); from < w; from, to = nextRun(row, to) {
			r := run{from, to, -1}
			for k < len(above) && above[k].to <= from {
				k++
			}
			for j := k; j < len(above) && above[j].from < to; j++ {
				id := root(above[j].id)
				if r.id < 0 {
					r.id = id
				} else if other := root(r.id); other != id {
					parent[id] = other
					r.id = other
				}
			}
			if r.id < 0 {
				r.id = len(parent)
				parent = append(parent, r.id)
				sums = append(sums, blob{})
			}
			sums[r.id].add(float64(from), float64(to), float64(y), from == 0 || to == w || y == 0 || y == h-1)
			here = append(here, r)
		}
		above, here = here, above
	}
	var out []blob
	for i := range sums {
		if r := root(i); r != i {
			sums[r].join(sums[i])
		}
	}
	for i := range sums {
		if parent[i] == i {
			sums[i].of = float64(w) * float64(h)
			out = append(out, sums[i])
		}
	}
	return out
}

// nextRun is where the next pixels that are set begin and end, from a place of
// their row on; both are its length where there are none.
func nextRun(row []uint8, at int) (from, to int) {
	from = len(row)
	if n := bytes.IndexByte(row[at:], set); n >= 0 {
		from = at + n
	}
	to = len(row)
	if n := bytes.IndexByte(row[from:], 0); n >= 0 {
		to = from + n
	}
	return from, to
}

// set is what OpenCV sets a pixel to of which a comparison holds.
const set = 255

// add takes in the pixels from x = from to x = to − 1 of row y.
func (b *blob) add(from, to, y float64, cut bool) {
	n := to - from
	x := (from + to - 1) / 2
	b.n += n
	b.x += n * x
	b.y += n * y
	b.xx += n*x*x + n*(n*n-1)/12
	b.xy += n * x * y
	b.yy += n * y * y
	b.cut = b.cut || cut
}

func (b *blob) join(o blob) {
	b.n += o.n
	b.x += o.x
	b.y += o.y
	b.xx += o.xx
	b.xy += o.xy
	b.yy += o.yy
	b.cut = b.cut || o.cut
}
