package samples

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// glyph is how a hand draws a figure or letter: strokes of points in a box one
// wide and one high, y up.
type glyph [][]r2.Vec

func strokeOf(xy ...float64) []r2.Vec {
	var s []r2.Vec
	for i := 0; i+1 < len(xy); i += 2 {
		s = append(s, r2.Vec{X: xy[i], Y: xy[i+1]})
	}
	return s
}

// oval is a loop drawn from the top, counter-clockwise, that overshoots.
func oval(cx, cy, rx, ry float64) []r2.Vec {
	var s []r2.Vec
	for k := range 11 {
		sin, cos := math.Sincos(math.Pi/2 + 2*math.Pi*float64(k)/9.6)
		s = append(s, r2.Vec{X: cx + rx*cos, Y: cy + ry*sin})
	}
	return s
}

var glyphs = map[rune]glyph{
	'0': {oval(0.4, 0.5, 0.36, 0.5)},
	'1': {strokeOf(0.15, 0.72, 0.45, 1, 0.45, 0)},
	'2': {strokeOf(0.05, 0.78, 0.3, 1, 0.65, 0.85, 0.55, 0.5, 0, 0, 0.35, 0.04, 0.75, 0)},
	'3': {strokeOf(0.05, 0.88, 0.4, 1, 0.62, 0.78, 0.3, 0.55, 0.68, 0.3, 0.4, 0, 0, 0.12)},
	'4': {strokeOf(0.5, 1, 0, 0.35, 0.72, 0.35), strokeOf(0.52, 0.62, 0.5, 0)},
	'5': {strokeOf(0.65, 1, 0.12, 0.98, 0.08, 0.55, 0.45, 0.62, 0.68, 0.3, 0.4, 0, 0, 0.1)},
	'6': {strokeOf(0.6, 1, 0.25, 0.75, 0.05, 0.35, 0.2, 0.02, 0.55, 0.05, 0.66, 0.32, 0.4, 0.52, 0.1, 0.35)},
	'7': {strokeOf(0, 0.95, 0.7, 1, 0.4, 0.5, 0.28, 0)},
	'8': {strokeOf(0.6, 0.85, 0.35, 1, 0.08, 0.8, 0.35, 0.53, 0.66, 0.25, 0.36, 0, 0.04, 0.22, 0.36, 0.53, 0.6, 0.8, 0.5, 0.96)},
	'9': {strokeOf(0.62, 0.75, 0.35, 0.48, 0.06, 0.68, 0.25, 0.98, 0.6, 0.9, 0.62, 0.6, 0.5, 0)},
	'.': {strokeOf(0.15, 0.02, 0.2, 0)},
	'x': {strokeOf(0, 0.55, 0.55, 0), strokeOf(0.55, 0.55, 0, 0)},
	'Ø': {oval(0.4, 0.5, 0.4, 0.45), strokeOf(0, -0.05, 0.8, 1.05)},
	'o': {oval(0.28, 0.28, 0.28, 0.28)},
	'c': {strokeOf(0.5, 0.48, 0.25, 0.56, 0.02, 0.28, 0.2, 0, 0.52, 0.08)},
	'v': {strokeOf(0, 0.55, 0.22, 0, 0.5, 0.58)},
	'e': {strokeOf(0.04, 0.28, 0.48, 0.34, 0.3, 0.56, 0.04, 0.3, 0.2, 0, 0.52, 0.08)},
	'r': {strokeOf(0.05, 0.55, 0.08, 0, 0.12, 0.35, 0.4, 0.55)},
	'd': {strokeOf(0.5, 0.45, 0.25, 0.55, 0.02, 0.25, 0.2, 0, 0.5, 0.2), strokeOf(0.52, 1, 0.52, 0)},
	'i': {strokeOf(0.12, 0.55, 0.12, 0), strokeOf(0.12, 0.75, 0.14, 0.77)},
	'p': {strokeOf(0.05, 0.55, 0.06, -0.4), strokeOf(0.06, 0.4, 0.3, 0.56, 0.52, 0.28, 0.3, 0, 0.06, 0.12)},
	't': {strokeOf(0.2, 0.9, 0.18, 0.1, 0.4, 0.02), strokeOf(0, 0.58, 0.42, 0.6)},
	's': {strokeOf(0.45, 0.5, 0.2, 0.56, 0.06, 0.42, 0.42, 0.16, 0.22, 0, 0, 0.06)},
}

var phrases = []string{"cover side", "6 x Ø9", "top", "8 o 8", "906.8", "Ø69 press", "side 2", "1890", "600", "drive", "9.0"}

// handwriting are words and figures in the sheet's corners and along its
// sides, where a person finds room beside the face.
func (s *scene) handwriting() []mark {
	rng := newRand(s.Seed, 13)
	var list []mark
	for k := range s.Handwriting {
		text := phrases[rng.IntN(len(phrases))]
		size := 3.5 + 3.5*rng.Float64() // mm high
		long := size * 0.85 * float64(len([]rune(text)))
		// Starting points go round the sheet: corners first.
		spot := [...]r2.Vec{{X: -0.93, Y: -0.9}, {X: 0.9, Y: 0.93}, {X: -0.93, Y: 0.93}, {X: 0.9, Y: -0.9}}[k%4]
		at := s.paper.corner(s, spot.X, spot.Y)
		if spot.X > 0 {
			at.X -= long
		}
		at.Y += float64(k/4) * 9 * -math.Copysign(1, spot.Y)
		if spot.Y < 0 {
			at.Y += size
		}
		slope := 0.05*rng.NormFloat64() - s.Paper.Turn*math.Pi/180
		sin, cos := math.Sincos(slope)
		slant := 0.18 + 0.1*rng.NormFloat64()
		half := 0.2 + 0.12*rng.Float64()
		value := 1.2 + 2*rng.Float64()
		x := 0.0
		for _, r := range text {
			g, ok := glyphs[r]
			if !ok {
				x += 0.5 * size
				continue
			}
			scale := size * (0.92 + 0.16*rng.Float64())
			lift := 0.06 * size * rng.NormFloat64()
			var right float64
			for _, line := range g {
				pts := make([]r2.Vec, len(line))
				for i, p := range line {
					right = max(right, p.X)
					px := x + scale*(0.8*p.X+slant*p.Y+0.025*rng.NormFloat64())
					py := -scale*(p.Y+0.025*rng.NormFloat64()) + lift
					pts[i] = r2.Vec{X: at.X + px*cos - py*sin, Y: at.Y + px*sin + py*cos}
				}
				list = append(list, penLine(pts, half, value, hash(s.Seed+uint64(len(list))))...)
			}
			x += scale * (0.8*right + 0.22)
		}
	}
	return list
}

// penLine draws a smooth line (Catmull-Rom) through the points, pressing more
// and less along it.
func penLine(pts []r2.Vec, half, value float64, seed uint64) []mark {
	if len(pts) < 3 {
		return []mark{{a: pts[0], b: pts[len(pts)-1], half: half, kind: written, value: value}}
	}
	point := func(i int) r2.Vec { return pts[min(max(i, 0), len(pts)-1)] }
	var list []mark
	a := pts[0]
	for i := range len(pts) - 1 {
		p0, p1, p2, p3 := point(i-1), point(i), point(i+1), point(i+2)
		const pieces = 5
		for k := 1; k <= pieces; k++ {
			t := float64(k) / pieces
			mix := func(p0, p1, p2, p3 float64) float64 {
				return p1 + t*((p2-p0)+t*((2*p0-5*p1+4*p2-p3)+t*(3*p1-p0-3*p2+p3)))/2
			}
			b := r2.Vec{X: mix(p0.X, p1.X, p2.X, p3.X), Y: mix(p0.Y, p1.Y, p2.Y, p3.Y)}
			n := noise1(seed, float64(i)+t)
			list = append(list, mark{a: a, b: b, half: half * (1 + 0.15*n), kind: written, value: value * (1 + 0.25*n)})
			a = b
		}
	}
	return list
}
