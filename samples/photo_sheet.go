package samples

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// laidSheet is a sheet made ready to be met by rays.
type laidSheet struct {
	Sheet
	sin, cos         float64 // of its turn on the face
	lineSin, lineCos float64
	bend             float64 // height is Above + bend u², u across the trough's line
	reach            float64 // half its diagonal

	tex        []uint8 // the picture, RGB
	texW, texH int

	// Dots and bars by cells of the sheet, so that a ray looks at few.
	cell   float64
	nx, ny int
	dots   [][]int
	bars   [][]int
}

// dotCell is the cell of the index of dots, mm.
const dotCell = 8

func layOut(s Sheet) *laidSheet {
	l := &laidSheet{Sheet: s, cell: dotCell}
	l.sin, l.cos = math.Sincos(s.Turn * math.Pi / 180)
	l.lineSin, l.lineCos = math.Sincos(s.CurlLine * math.Pi / 180)
	l.reach = hypot(s.Width, s.Height) / 2
	if s.Curl != 0 {
		// The sheet's corners reach furthest across the line.
		u := (math.Abs(l.lineSin)*s.Width + math.Abs(l.lineCos)*s.Height) / 2
		l.bend = s.Curl / (u * u)
	}
	l.nx, l.ny = int(s.Width/l.cell)+1, int(s.Height/l.cell)+1
	l.dots, l.bars = make([][]int, l.nx*l.ny), make([][]int, l.nx*l.ny)
	enter := func(list [][]int, k int, x, y, rx, ry float64) {
		i0, j0 := l.cellOf(x-rx, y-ry)
		i1, j1 := l.cellOf(x+rx, y+ry)
		for j := max(j0, 0); j <= min(j1, l.ny-1); j++ {
			for i := max(i0, 0); i <= min(i1, l.nx-1); i++ {
				list[j*l.nx+i] = append(list[j*l.nx+i], k)
			}
		}
	}
	for k, d := range s.Dots {
		enter(l.dots, k, d.X, d.Y, d.Diameter/2+0.3, d.Diameter/2+0.3)
	}
	for k, b := range s.Bars {
		enter(l.bars, k, (b.X1+b.X2)/2, (b.Y1+b.Y2)/2,
			math.Abs(b.X2-b.X1)/2+b.Width, math.Abs(b.Y2-b.Y1)/2+b.Width)
	}
	if s.Picture != nil {
		l.texture(s.Picture)
	}
	return l
}

func (l *laidSheet) texture(img image.Image) {
	b := img.Bounds()
	l.texW, l.texH = b.Dx(), b.Dy()
	l.tex = make([]uint8, 3*l.texW*l.texH)
	for y := range l.texH {
		for x := range l.texW {
			c := color.RGBAModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.RGBA)
			copy(l.tex[3*(y*l.texW+x):], []uint8{c.R, c.G, c.B})
		}
	}
}

func (l *laidSheet) cellOf(x, y float64) (i, j int) {
	return int(math.Floor((x + l.Width/2) / l.cell)), int(math.Floor((y + l.Height/2) / l.cell))
}

// arc is the length along the bent sheet from its middle to u.
func (l *laidSheet) arc(u float64) float64 {
	k := 2 * l.bend
	if q := square(k * u); q < 0.01 {
		return u * (1 + q*(1./6-q*(1./40-q/112))) // its series
	}
	return u/2*math.Sqrt(1+k*k*u*u) + math.Asinh(k*u)/(2*k)
}

// point is where a point of the sheet lies in space.
func (l *laidSheet) point(s r2.Vec) r3.Vec {
	along, across := s.X*l.lineCos+s.Y*l.lineSin, -s.X*l.lineSin+s.Y*l.lineCos
	u := across
	for range 8 {
		u -= (l.arc(u) - across) / math.Sqrt(1+square(2*l.bend*u))
	}
	x, y := along*l.lineCos-u*l.lineSin, along*l.lineSin+u*l.lineCos
	return r3.Vec{
		X: l.Offset.X + x*l.cos - y*l.sin,
		Y: l.Offset.Y + x*l.sin + y*l.cos,
		Z: l.Above + l.bend*u*u,
	}
}

// flat turns a point of the face's plane into the sheet's directions, and
// gives its coordinate across the trough's line.
func (l *laidSheet) flat(x, y float64) (sx, sy, u float64) {
	x, y = x-l.Offset.X, y-l.Offset.Y
	sx, sy = x*l.cos+y*l.sin, -x*l.sin+y*l.cos
	return sx, sy, -sx*l.lineSin + sy*l.lineCos
}

// meet is the point of the sheet, and the share of the ray before it, where a
// ray from above meets the sheet's surface.
func (l *laidSheet) meet(from, d r3.Vec) (s r2.Vec, t float64) {
	t = (l.Above - from.Z) / d.Z
	far := l.reach + 2*math.Abs(l.Curl) + 1
	if l.bend != 0 && square(from.X+t*d.X-l.Offset.X)+square(from.Y+t*d.Y-l.Offset.Y) > far*far {
		return r2.Vec{X: far, Y: far}, t // nowhere near
	}
	if l.bend != 0 {
		// Height over Above and the bent sheet's are equal where
		// a t² + 2 b t + c = 0.
		_, _, u := l.flat(from.X, from.Y)
		slope := -d.X*(l.cos*l.lineSin+l.sin*l.lineCos) + d.Y*(l.cos*l.lineCos-l.sin*l.lineSin)
		a, b, c := l.bend*slope*slope, l.bend*u*slope-d.Z/2, l.bend*u*u-from.Z+l.Above
		disc := b*b - a*c
		if disc < 0 {
			return r2.Vec{X: far, Y: far}, t
		}
		t = -c / (b + math.Copysign(math.Sqrt(disc), b))
	}
	sx, sy, u := l.flat(from.X+t*d.X, from.Y+t*d.Y)
	if l.bend != 0 {
		more := l.arc(u) - u
		sx, sy = sx-more*l.lineSin, sy+more*l.lineCos
	}
	return r2.Vec{X: sx, Y: sy}, t
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// beside is how far a point lies off the paper, mm; negative on it.
func (l *laidSheet) beside(s r2.Vec) float64 {
	out := box(s.X, s.Y, l.Width/2-l.Corner, l.Height/2-l.Corner) - l.Corner
	if l.WindowWidth > 0 && l.WindowHeight > 0 {
		out = max(out, -box(s.X, s.Y, l.WindowWidth/2, l.WindowHeight/2))
	}
	return out
}

// hypot is math.Hypot without its care for numbers near overflow.
func hypot(x, y float64) float64 { return math.Sqrt(x*x + y*y) }

// box is the distance from a rectangle about the origin, negative inside.
func box(x, y, halfW, halfH float64) float64 {
	x, y = math.Abs(x)-halfW, math.Abs(y)-halfH
	return hypot(max(x, 0), max(y, 0)) + min(0, max(x, y))
}

// ink is the number of the dot (from 1) or bar (below -1) printed at a point,
// 0 for none.
func (l *laidSheet) ink(s r2.Vec) int {
	i, j := l.cellOf(s.X, s.Y)
	if i < 0 || j < 0 || i >= l.nx || j >= l.ny {
		return 0
	}
	for _, k := range l.dots[j*l.nx+i] {
		d := l.Dots[k]
		if square(s.X-d.X)+square(s.Y-d.Y) < square(d.Diameter/2) {
			return k + 1
		}
	}
	for _, k := range l.bars[j*l.nx+i] {
		b := l.Bars[k]
		dx, dy := b.X2-b.X1, b.Y2-b.Y1
		long := hypot(dx, dy)
		if long == 0 {
			continue
		}
		dx, dy = dx/long, dy/long
		x, y := s.X-b.X1, s.Y-b.Y1
		along, across := x*dx+y*dy, y*dx-x*dy
		if along > 0 && along < long && math.Abs(across) < b.Width/2 {
			return -2 - k
		}
	}
	return 0
}

// colour is the picture at a point, 0 to 1 each and as light, not as levels.
func (l *laidSheet) colour(s r2.Vec) [3]float32 {
	u := (s.X/l.Width+0.5)*float64(l.texW) - 0.5
	v := (0.5-s.Y/l.Height)*float64(l.texH) - 0.5
	u, v = clamp(u, 0, float64(l.texW-1)), clamp(v, 0, float64(l.texH-1))
	i, j := min(int(u), max(l.texW-2, 0)), min(int(v), max(l.texH-2, 0))
	fu, fv := float32(u-float64(i)), float32(v-float64(j))
	right, below := 3*boolInt(l.texW > 1), 3*l.texW*boolInt(l.texH > 1)
	k := 3 * (j*l.texW + i)
	var c [3]float32
	for n := range c {
		top := lightOf[l.tex[k+n]]*(1-fu) + lightOf[l.tex[k+right+n]]*fu
		bottom := lightOf[l.tex[k+below+n]]*(1-fu) + lightOf[l.tex[k+below+right+n]]*fu
		c[n] = top*(1-fv) + bottom*fv
	}
	return c
}

// lightOf is the sRGB curve (IEC 61966-2-1): light by level.
var lightOf = func() (t [256]float32) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			t[i] = float32(v / 12.92)
		} else {
			t[i] = float32(math.Pow((v+0.055)/1.055, 2.4))
		}
	}
	return t
}()
