package calib

import (
	"errors"
	"math"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Flat returns the picture as it would look from straight above the face, in
// which circles on the face are circles and are found as such. It shows what
// lies within a rectangle on the face (mm), or, where that is empty, what the
// picture shows of it at a scale not much worse than in its middle.
//
// The view is a homography near the plane's mapping, so that the lens still
// bends it a little: it is for finding. What was found goes back to the
// picture by the same homography, and is measured there.
func (p *Plane) Flat(pic *vision.Picture, within r2.Box) (*vision.Flat, error) {
	size := pic.Grey.Rect.Size()
	seen, finest, ok := p.seen(float64(size.X), float64(size.Y))
	if within.Empty() {
		within = seen
	} else {
		within = r2.Box{
			Min: r2.Vec{X: math.Max(within.Min.X, seen.Min.X), Y: math.Max(within.Min.Y, seen.Min.Y)},
			Max: r2.Vec{X: math.Min(within.Max.X, seen.Max.X), Y: math.Min(within.Max.Y, seen.Max.Y)},
		}
	}
	w, h := within.Max.X-within.Min.X, within.Max.Y-within.Min.Y
	if !ok || !(w > 0 && h > 0) {
		return nil, errors.New("the picture shows too little of the face")
	}
	// No more pixels than are worth it.
	mmPerPx := math.Max(finest, math.Sqrt(w*h/(flatMore*float64(size.X)*float64(size.Y))))
	wide, high := math.Ceil(w/mmPerPx), math.Ceil(h/mmPerPx)
	if wide < 2 || high < 2 {
		return nil, errors.New("the picture shows too little of the face")
	}
	middle := r2.Vec{X: float64(size.X) / 2, Y: float64(size.Y) / 2}
	var from, to []r2.Vec
	for _, c := range [4]r2.Vec{{X: 0.15, Y: 0.15}, {X: 0.85, Y: 0.15}, {X: 0.85, Y: 0.85}, {X: 0.15, Y: 0.85}} {
		flat := r2.Vec{X: c.X * wide, Y: c.Y * high}
		mm := r2.Vec{X: within.Min.X + flat.X*mmPerPx, Y: within.Max.Y - flat.Y*mmPerPx}
		px, ok := p.Px(mm, middle)
		if !ok {
			return nil, errors.New("the picture shows too little of the face")
		}
		from, to = append(from, flat), append(to, px)
	}
	hom, ok := direct(from, to)
	if !ok {
		return nil, errors.New("the picture shows too little of the face")
	}
	var m [9]float64
	copy(m[:8], hom[:])
	m[8] = 1
	return vision.Flatten(pic, int(wide), int(high), m)
}

const (
	flatMore   = 1.5 // times the picture's pixels that its flat view has at most
	flatFarOff = 2.5 // times the middle's mm per px, beyond which nothing is looked for
)

// seen is the rectangle on the face (mm) of what a picture of w × h pixels
// shows well, with the finest mm per px in it.
func (p *Plane) seen(w, h float64) (box r2.Box, finest float64, ok bool) {
	scale := func(px r2.Vec) (smaller, larger float64) {
		x, y := p.MMPerPx(px)
		return math.Min(x, y), math.Max(x, y)
	}
	_, usual := scale(r2.Vec{X: w / 2, Y: h / 2})
	if !(usual > 0) {
		return box, 0, false
	}
	finest = math.Inf(1)
	const n = 16
	for i := range n + 1 {
		for j := range n + 1 {
			px := r2.Vec{X: w * float64(i) / n, Y: h * float64(j) / n}
			mm := p.MM(px)
			small, large := scale(px)
			if !finite(mm) || !(large < flatFarOff*usual) {
				continue
			}
			finest = math.Min(finest, small)
			if !ok {
				box, ok = r2.Box{Min: mm, Max: mm}, true
			}
			box.Min = r2.Vec{X: math.Min(box.Min.X, mm.X), Y: math.Min(box.Min.Y, mm.Y)}
			box.Max = r2.Vec{X: math.Max(box.Max.X, mm.X), Y: math.Max(box.Max.Y, mm.Y)}
		}
	}
	return box, finest, ok
}
