package calib

import (
	"fmt"
	"math"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// directions are the quad's corners as directions of the camera.
func directions(q vision.Quad, cam optics) ([]r2.Vec, bool) {
	out := make([]r2.Vec, 4)
	for i, c := range q.Corner {
		var ok bool
		if out[i], ok = cam.direction(c); !ok {
			return nil, false
		}
	}
	return out, true
}

// view is how a camera would have to stand to see a sheet as an outline.
type view struct {
	cost   float64 // of supposing it; see viewOf
	aspect float64 // longer over shorter side that the outline would have as seen by the likeliest camera
	tilt   float64 // degrees
}

const (
	// What a view's axes may differ in length and be off square by: a picture
	// cut to size, whose middle is not where the camera looked; the lens; a
	// hand-cut sheet.
	aspectU, squareU = 0.015, 0.015
	// The most that an unlikely focal length counts, in standard deviations:
	// tele lenses there are, and a scan is as good as one.
	mostFar = 2.5

	mostViewCost  = 22.0
	clearlyBetter = 6.0
)

// viewOf supposes that an outline is the sheet, lying with its width along the
// picture's top side, and returns what that asks of the camera. A camera with
// square pixels that looks along the picture's middle sees the sheet's two
// axes as equally long and square for some focal length (Z. Zhang and L.-W.
// He, "Whiteboard scanning and image enhancement", Digital Signal Processing
// 17 (2007) 414-432): the cost is how far they are from that, at the focal
// length for which this and the focal length together are likeliest.
func viewOf(q vision.Quad, size SheetSize, cam optics, focalU float64) (view, bool) {
	d, ok := directions(q, cam)
	if !ok {
		return view{}, false
	}
	h, ok := direct(size.corners(), d)
	if !ok {
		return view{}, false
	}
	for _, c := range size.corners() {
		if _, w := h.apply(c); !(w > 0) {
			return view{}, false
		}
	}
	best := view{cost: math.Inf(1)}
	for s := math.Log(0.4); s < math.Log(12); s += 0.05 {
		f := math.Exp(s) // times as long
		a := [3]float64{h[0] / f, h[3] / f, h[6]}
		b := [3]float64{h[1] / f, h[4] / f, h[7]}
		la, lb := norm3(a), norm3(b)
		cos := (a[0]*b[0] + a[1]*b[1] + a[2]*b[2]) / (la * lb)
		ratio := math.Log(la / lb)
		far := math.Min(math.Max(math.Abs(s)-0.1, 0)/focalU, mostFar)
		cost := cos*cos/(squareU*squareU) + ratio*ratio/(aspectU*aspectU) + far*far
		if cost < best.cost {
			// The angle between the camera's axis and the normal a × b.
			z := (a[0]*b[1] - a[1]*b[0]) / (la * lb * math.Sqrt(math.Max(1-cos*cos, 1e-12)))
			shape := size.Width / size.Height * la / lb
			best = view{cost, math.Max(shape, 1/shape), math.Acos(math.Min(math.Abs(z), 1)) * 180 / math.Pi}
		}
	}
	return best, !math.IsInf(best.cost, 0) && !math.IsNaN(best.cost)
}

func norm3(v [3]float64) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }

// sheetView is an outline, the sheet as it would lie in it, and the view.
type sheetView struct {
	quad vision.Quad
	size SheetSize
	view
}

// chooseQuad takes the outline that can be the sheet: of two of like score
// that lie in one another the outer one, the inner being a border printed on
// the sheet, unless a camera would clearly sooner see the inner one so. Two that
// lie apart cannot be told. Where an outline cannot be the sheet, its likeliest rival
// that can takes its place.
func chooseQuad(quads []vision.Quad, size SheetSize, cam optics, focalU float64) (sheetView, []string, error) {
	var fits []sheetView
	aspect := 0.0
	for _, q := range quads {
		v, err := bestView(q, size, cam, focalU)
		for _, rival := range q.Rivals {
			if err != nil || v.cost <= mostViewCost {
				break
			}
			if r, ok := bestView(rival, size, cam, focalU); ok == nil && r.cost <= mostViewCost {
				v = r
			}
		}
		if err != nil {
			return v, nil, err
		}
		if v.cost <= mostViewCost {
			fits = append(fits, v)
		} else if aspect == 0 {
			aspect = v.aspect
		}
	}
	if len(fits) == 0 {
		if aspect == 0 || math.IsNaN(aspect) {
			return sheetView{}, nil, fmt.Errorf("%w: an outline was found, but no camera sees a flat sheet so", ErrSheet)
		}
		return sheetView{}, nil, fmt.Errorf("%w: the outline found has sides of about 1 : %.2f, and the %s has 1 : %.2f; is it the sheet that was named, flat, and all in the picture?",
			ErrSheet, aspect, size.Name, math.Max(size.Width, size.Height)/math.Min(size.Width, size.Height))
	}
	best, nested := fits[0], false
	for _, v := range fits[1:] {
		if v.quad.Score < 0.85*fits[0].quad.Score {
			continue
		}
		switch {
		case v.quad.Contains(best.quad) && v.cost > best.cost+clearlyBetter:
			// What the sheet lies on has a shape like it, but not so seen.
		case v.quad.Contains(best.quad):
			best, nested = v, true
		case best.quad.Contains(v.quad):
			nested = true
		default:
			return best, nil, fmt.Errorf("%w: two outlines in the picture could be the %s; cover one or cut it away", ErrSheet, size.Name)
		}
	}
	var warnings []string
	if nested {
		warnings = append(warnings, fmt.Sprintf("one outline in the shape of the %s lies inside another; the outer one is taken for the sheet's edge", size.Name))
	}
	return best, warnings, nil
}

// bestView lays the sheet one way round or the other.
func bestView(q vision.Quad, size SheetSize, cam optics, focalU float64) (sheetView, error) {
	none := view{cost: math.Inf(1)}
	upright, ok := viewOf(q, size, cam, focalU)
	if !ok {
		upright = none
	}
	if size.Width == size.Height {
		return sheetView{q, size, upright}, nil
	}
	across, ok := viewOf(q, size.turned(), cam, focalU)
	if !ok {
		across = none
	}
	best := sheetView{q, size, upright}
	if across.cost < upright.cost {
		best = sheetView{q, size.turned(), across}
	}
	if best.cost <= mostViewCost && math.Abs(upright.cost-across.cost) < clearlyBetter {
		return best, fmt.Errorf("%w: the %s is so nearly square that the picture does not tell which way round it lies; use one whose sides differ more", ErrSheet, size.Name)
	}
	return best, nil
}
