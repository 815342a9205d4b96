package vision

import (
	"image"
	"math"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// level is the picture at a reduced size. Its corner is the picture's corner,
// so a point of the picture times the scale is the same point of the level.
type level struct {
	pix    []uint8
	w, h   int
	stride int
	sx, sy float64 // level pixels per picture pixel
}

// pyramid holds the picture at full size and at halves of it, down to where
// a side is too short to hold a circle that is worth halving again.
type pyramid struct {
	levels []level // from full size to small
}

func newPyramid(grey *image.Gray) (*pyramid, error) {
	b := grey.Bounds()
	p := &pyramid{levels: []level{{pix: grey.Pix, w: b.Dx(), h: b.Dy(), stride: grey.Stride, sx: 1, sy: 1}}}
	for {
		last := p.levels[len(p.levels)-1]
		if min(last.w, last.h) < 64 {
			return p, nil
		}
		next, err := last.resized((last.w+1)/2, (last.h+1)/2)
		if err != nil {
			return nil, err
		}
		p.levels = append(p.levels, next)
	}
}

// resized returns the level averaged down to w × h pixels.
func (l level) resized(w, h int) (level, error) {
	src, err := l.mat()
	if err != nil {
		return level{}, err
	}
	defer src.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	gocv.Resize(src, &dst, image.Pt(w, h), 0, 0, gocv.InterpolationArea)
	return level{
		pix: dst.ToBytes(), w: w, h: h, stride: w,
		sx: l.sx * float64(w) / float64(l.w), sy: l.sy * float64(h) / float64(l.h),
	}, nil
}

// mat wraps the level for OpenCV without copying where its rows are
// contiguous. The caller closes it.
func (l level) mat() (gocv.Mat, error) {
	if l.stride == l.w {
		return gocv.NewMatFromBytes(l.h, l.w, gocv.MatTypeCV8U, l.pix[:l.w*l.h])
	}
	packed := make([]byte, 0, l.w*l.h)
	for y := range l.h {
		packed = append(packed, l.pix[y*l.stride:y*l.stride+l.w]...)
	}
	return gocv.NewMatFromBytes(l.h, l.w, gocv.MatTypeCV8U, packed)
}

// fit returns the level on which a circle of the given radius (picture px)
// has at most maxRadius pixels of radius, or the smallest level.
func (p *pyramid) fit(radius, maxRadius float64) level {
	for _, l := range p.levels {
		if radius*math.Max(l.sx, l.sy) <= maxRadius {
			return l
		}
	}
	return p.levels[len(p.levels)-1]
}

// down and up take points from the picture to the level and back.
func (l level) down(p r2.Vec) r2.Vec { return r2.Vec{X: p.X * l.sx, Y: p.Y * l.sy} }
func (l level) up(p r2.Vec) r2.Vec   { return r2.Vec{X: p.X / l.sx, Y: p.Y / l.sy} }

// addRay adds to p the grey at from, from+along, … between four pixels each,
// or does nothing where the ray comes within a pixel of the level's edge.
func (l level) addRay(p []float64, from, along r2.Vec) bool {
	n := float64(len(p))
	if !l.contains(from) || !l.contains(r2.Add(from, r2.Scale(n, along))) {
		return false
	}
	x, y := from.X-0.5, from.Y-0.5
	for i := range p {
		ix, iy := int(x), int(y)
		fx, fy := x-float64(ix), y-float64(iy)
		k := iy*l.stride + ix
		a, b := l.pix[k:k+2], l.pix[k+l.stride:k+l.stride+2]
		a0, b0 := float64(a[0]), float64(b[0])
		top := a0 + fx*(float64(a[1])-a0)
		bottom := b0 + fx*(float64(b[1])-b0)
		p[i] += top + fy*(bottom-top)
		x, y = x+along.X, y+along.Y
	}
	return true
}

// contains says whether a point lies so far inside the level that there are
// pixels on all four sides of it.
func (l level) contains(p r2.Vec) bool {
	return p.X >= 0.5 && p.Y >= 0.5 && p.X < float64(l.w)-0.5 && p.Y < float64(l.h)-0.5
}

// sample returns the grey at a point of the level between its pixels, and
// whether the point lies inside the picture.
func (l level) sample(x, y float64) (grey float64, ok bool) {
	x -= 0.5
	y -= 0.5
	if !(x >= -0.5 && y >= -0.5 && x <= float64(l.w)-0.5 && y <= float64(l.h)-0.5) {
		return 0, false
	}
	x = min(max(x, 0), float64(l.w-1))
	y = min(max(y, 0), float64(l.h-1))
	ix, iy := int(x), int(y)
	fx, fy := x-float64(ix), y-float64(iy)
	jx, jy := min(ix+1, l.w-1), min(iy+1, l.h-1)
	a, b := l.pix[iy*l.stride:], l.pix[jy*l.stride:]
	top := float64(a[ix])*(1-fx) + float64(a[jx])*fx
	bottom := float64(b[ix])*(1-fx) + float64(b[jx])*fx
	return top*(1-fy) + bottom*fy, true
}
