package vision

import (
	"errors"
	"image"
	"image/color"
	"math"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// Flat is a part of a picture as it would look from straight above, so that
// circles on the face are circles again and are found as such. Marks found in
// it are taken back to the picture with Back.
type Flat struct {
	*Picture
	toPx [9]float64
}

// Flatten returns the w × h pixels that toPx takes into the picture: a
// homography by rows, from a point of the result to one of the picture.
func Flatten(pic *Picture, w, h int, toPx [9]float64) (*Flat, error) {
	if w < 1 || h < 1 || w > flatMost/h {
		return nil, errors.New("the view from straight above has no sensible size")
	}
	for _, v := range toPx {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, errors.New("there is no view from straight above")
		}
	}
	b := pic.Grey.Rect
	if longest := max(w, h, b.Dx(), b.Dy()); longest >= 1<<15-1 { // OpenCV's own limit, at which it stops the program
		return nil, errors.New("the picture is too long for a view from straight above; reduce it")
	}
	full := level{pix: pic.Grey.Pix, w: b.Dx(), h: b.Dy(), stride: pic.Grey.Stride, sx: 1, sy: 1}
	src, err := full.mat()
	if err != nil {
		return nil, err
	}
	defer src.Close()
	m := gocv.NewMatWithSize(3, 3, gocv.MatTypeCV64F)
	defer m.Close()
	// OpenCV has its origin at the first pixel's centre.
	for r := range 3 {
		a, b, c := toPx[3*r], toPx[3*r+1], toPx[3*r+2]
		c += 0.5 * (a + b)
		if r < 2 {
			a, b, c = a-0.5*toPx[6], b-0.5*toPx[7], c-0.5*(toPx[8]+0.5*(toPx[6]+toPx[7]))
		}
		m.SetDoubleAt(r, 0, a)
		m.SetDoubleAt(r, 1, b)
		m.SetDoubleAt(r, 2, c)
	}
	dst := gocv.NewMat()
	defer dst.Close()
	const inverse = 16 // OpenCV's WARP_INVERSE_MAP: the matrix goes from the result to the picture
	gocv.WarpPerspectiveWithParams(src, &dst, m, image.Pt(w, h), gocv.InterpolationLinear|inverse, gocv.BorderReplicate, color.RGBA{})
	return &Flat{
		Picture: &Picture{Grey: &image.Gray{Pix: dst.ToBytes(), Stride: w, Rect: image.Rect(0, 0, w, h)}, Format: pic.Format},
		toPx:    toPx,
	}, nil
}

// flatMost is how many pixels a flat may have.
const flatMost = 200_000_000

// Point takes a point of the flat back to the picture.
func (f *Flat) Point(p r2.Vec) r2.Vec {
	h := f.toPx
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return r2.Vec{X: (h[0]*p.X + h[1]*p.Y + h[2]) / w, Y: (h[3]*p.X + h[4]*p.Y + h[5]) / w}
}

// Back takes a mark of the flat back to the picture, where its edge points
// lie on an ellipse; its radius is that of the circle of the same area, and
// lengths across the edge are changed alike.
func (f *Flat) Back(m Mark) Mark {
	edge := make([]r2.Vec, len(m.Edge))
	for i, e := range m.Edge {
		edge[i] = f.Point(e)
	}
	c := f.Point(m.Centre)
	x := r2.Sub(f.Point(r2.Vec{X: m.Centre.X + 0.5, Y: m.Centre.Y}), f.Point(r2.Vec{X: m.Centre.X - 0.5, Y: m.Centre.Y}))
	y := r2.Sub(f.Point(r2.Vec{X: m.Centre.X, Y: m.Centre.Y + 0.5}), f.Point(r2.Vec{X: m.Centre.X, Y: m.Centre.Y - 0.5}))
	k := math.Sqrt(math.Abs(r2.Cross(x, y)))
	m.Edge, m.Centre = edge, c
	m.Radius *= k
	m.Scatter *= k
	m.Contrast /= k
	return m
}
