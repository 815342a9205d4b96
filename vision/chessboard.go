package vision

import (
	"cmp"
	"encoding/binary"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// Corners returns the points where two dark and two light fields meet, as a
// chessboard's do: the strongest first, at most 2000, to a fraction of a pixel.
//
// They are looked for on a reduced picture by the pattern of a ring of 16
// pixels around each (S. Bennett and J. Lasenby, "ChESS – quick and robust
// detection of chess-board features", Computer Vision and Image Understanding
// 118 (2014) 197–210), and then placed on the picture itself where the grey
// level's slopes all around are at right angles to the way there (OpenCV's
// cornerSubPix, after W. Förstner and E. Gülch, 1987).
func Corners(pic *Picture) ([]r2.Vec, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	l := p.levels[0]
	for _, next := range p.levels[1:] {
		if max(l.w, l.h) <= mostChess {
			break
		}
		l = next
	}
	found := l.chess()
	if len(found) == 0 {
		return nil, nil
	}
	points := make([]r2.Vec, len(found))
	for i, f := range found {
		points[i] = l.up(f)
	}
	return p.levels[0].placed(points, math.Max(1/l.sx, 1/l.sy))
}

// mostChess is the longest side of the picture in which corners are looked
// for: fields of ten pixels and more show.
const mostChess = 1400

// chessRing are 16 points on a circle of five pixels.
var chessRing = [16]image.Point{
	{X: 0, Y: -5}, {X: 2, Y: -5}, {X: 4, Y: -4}, {X: 5, Y: -2}, {X: 5, Y: 0}, {X: 5, Y: 2}, {X: 4, Y: 4}, {X: 2, Y: 5},
	{X: 0, Y: 5}, {X: -2, Y: 5}, {X: -4, Y: 4}, {X: -5, Y: 2}, {X: -5, Y: 0}, {X: -5, Y: -2}, {X: -4, Y: -4}, {X: -2, Y: -5},
}

// chess returns the strongest corners of the level, in its pixels.
func (l level) chess() []r2.Vec {
	const edge = 6
	if l.w <= 2*edge || l.h <= 2*edge {
		return nil
	}
	var offset [16]int
	for k, d := range chessRing {
		offset[k] = d.Y*l.stride + d.X
	}
	response := make([]int32, l.w*l.h)
	each(l.h-2*edge, func(row int) {
		y := row + edge
		for x := edge; x < l.w-edge; x++ {
			at := y*l.stride + x
			var ring [16]int32
			total := int32(0)
			for k, o := range offset {
				ring[k] = int32(l.pix[at+o])
				total += ring[k]
			}
			var saddle, across int32
			for k := range 4 {
				saddle += abs32(ring[k] + ring[k+8] - ring[k+4] - ring[k+12])
			}
			if saddle < leastSaddle {
				continue
			}
			for k := range 8 {
				across += abs32(ring[k] - ring[k+8])
			}
			centre := int32(l.pix[at]) + int32(l.pix[at-1]) + int32(l.pix[at+1]) + int32(l.pix[at-l.stride]) + int32(l.pix[at+l.stride])
			response[y*l.w+x] = saddle - across - abs32(16*centre/5-total)
		}
	})
	type spot struct {
		at       image.Point
		strength int32
	}
	var spots []spot
	for y := edge; y < l.h-edge; y++ {
	next:
		for x := edge; x < l.w-edge; x++ {
			v := response[y*l.w+x]
			if v < leastSaddle {
				continue
			}
			for dy := -4; dy <= 4; dy++ {
				for dx := -4; dx <= 4; dx++ {
					o := response[(y+dy)*l.w+x+dx]
					if o > v || o == v && (dy < 0 || dy == 0 && dx < 0) {
						continue next
					}
				}
			}
			spots = append(spots, spot{image.Pt(x, y), v})
		}
	}
	slices.SortStableFunc(spots, func(a, b spot) int { return cmp.Compare(b.strength, a.strength) })
	spots = spots[:min(len(spots), 2000)]
	var out []r2.Vec
	for _, s := range spots {
		if 6*s.strength < spots[0].strength {
			break // specks of the background
		}
		out = append(out, r2.Vec{X: float64(s.at.X) + 0.5, Y: float64(s.at.Y) + 0.5})
	}
	return out
}

// leastSaddle is a difference of ten grey levels between the fields.
const leastSaddle = 4 * 2 * 10

func abs32(v int32) int32 {
	if v < 0 {
		return -v
	}
	return v
}

// placed moves corners that are known to about wide pixels to where they are.
// The window reaches a third of the way to the next corner, so that no other
// edge is in it.
func (l level) placed(points []r2.Vec, wide float64) ([]r2.Vec, error) {
	gaps := make([]float64, 0, len(points))
	for i, a := range points {
		gap := math.Inf(1)
		for j, b := range points {
			if i != j {
				gap = math.Min(gap, r2.Norm(r2.Sub(a, b)))
			}
		}
		gaps = append(gaps, gap)
	}
	half := int(min(max(median(gaps)/3, 2*wide, 3), 15*wide, 60))
	src, err := l.mat()
	if err != nil {
		return nil, err
	}
	defer src.Close()
	raw := make([]byte, 8*len(points))
	for i, p := range points { // OpenCV's pixel centres are whole numbers
		binary.NativeEndian.PutUint32(raw[8*i:], math.Float32bits(float32(p.X-0.5)))
		binary.NativeEndian.PutUint32(raw[8*i+4:], math.Float32bits(float32(p.Y-0.5)))
	}
	corners, err := gocv.NewMatFromBytes(len(points), 1, gocv.MatTypeCV32FC2, raw)
	if err != nil {
		return nil, err
	}
	defer corners.Close()
	if l.w < 2*half+5 || l.h < 2*half+5 {
		return nil, nil
	}
	gocv.CornerSubPix(src, &corners, image.Pt(half, half), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count+gocv.EPS, 40, 0.001))
	moved := corners.ToBytes()
	var out []r2.Vec
	for i, p := range points {
		q := r2.Vec{
			X: float64(math.Float32frombits(binary.NativeEndian.Uint32(moved[8*i:]))) + 0.5,
			Y: float64(math.Float32frombits(binary.NativeEndian.Uint32(moved[8*i+4:]))) + 0.5,
		}
		if r2.Norm(r2.Sub(p, q)) < math.Max(float64(half)/2, 2*wide) {
			out = append(out, q)
		}
	}
	return out, nil
}
