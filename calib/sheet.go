package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"boltrose/vision"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

// SheetSet is what is known of a picture with a sheet or card in it.
type SheetSet struct {
	Size SheetSize
	Scan bool // the picture comes off a flatbed: no perspective, no lens, and the sheet lies on the glass

	Lens    *Lens   // the camera's profile; nil: none
	FocalPx float64 // focal length in pixels of this picture, by its EXIF; 0: not known

	// What the sheet lies on is AboveMM nearer to the camera than the face is
	// (negative: farther away), known to AboveU, one standard uncertainty. Its
	// thickness comes on top by itself.
	AboveMM, AboveU float64
}

// SheetFit says how a sheet was found and how well it fits.
type SheetFit struct {
	Quad vision.Quad
	Size SheetSize // as it lies: Width along the picture's top side

	RMSPx float64    // how far the edge points lie from the sides under the fit
	BowMM [4]float64 // how far the middle of each side still lies outside the line through it

	K1, UK1       float64 // radial distortion, with directions in units of FocalPx, and its standard uncertainty
	FocalPx       float64
	TiltDeg       float64 // between the camera's axis and the sheet's normal
	MMPerMMHeight float64 // relative: by how much lengths grow for each mm that the sheet lies above the face

	Warnings []string // in plain words, for the person who took the picture
}

// ErrSheet says that a picture gives no scale by a sheet.
var ErrSheet = errors.New("no scale from the sheet")

const (
	// Where no profile says, k1 is first left to the bend of the edges alone:
	// webcams and action cameras come to -0.3. An edge that bends by no more
	// than a phone's is taken for one.
	freeK1U = 0.15

	edgeU       = 0.25 // px, how far all edges may lie outside or inside together: blur seen through the tone curve; common practice
	leastEdgePx = 0.05 // px, below which no edge point is known
)

// Names of the errors that a sheet's own shape brings.
const (
	SheetWidth   = "sheet's width"
	SheetHeight  = "sheet's height"
	SheetCorners = "sheet's corners"
)

// Sheet finds a sheet or card of known size in a picture and returns the plane
// of the face on which it lies. Origin is the middle of the sheet; up on the
// picture is up on the face, along the sheet.
//
// The edges are fitted as lines: every edge point is to lie on its side's line
// in the picture, the four lines being the sides of the sheet of known size
// under one homography (R. Hartley and A. Zisserman, Multiple View Geometry in
// Computer Vision, 2nd ed. 2004, section 2.2: lines go by the inverse
// transpose) behind one lens. No corner need be seen.
//
// Errors wrap ErrSheet, and vision.ErrNoQuad where no outline was seen.
func Sheet(pic *vision.Picture, set SheetSet) (*Plane, *SheetFit, error) {
	quads, err := vision.FindQuads(pic)
	if err != nil {
		if errors.Is(err, vision.ErrNoQuad) {
			return nil, nil, fmt.Errorf("%w: %w", ErrSheet, err)
		}
		return nil, nil, err
	}
	return sheetOf(quads, pic.Grey.Rect.Dx(), pic.Grey.Rect.Dy(), set)
}

// sheetOf makes the plane of the outlines seen in a picture of w × h pixels.
func sheetOf(quads []vision.Quad, w, h int, set SheetSet) (*Plane, *SheetFit, error) {
	chosen, warnings, err := chooseQuad(quads, set.Size, set.camera(w, h), set.focalU())
	if err != nil {
		return nil, nil, err
	}
	s, err := newSheetLines(chosen, w, h, set)
	if err != nil {
		return nil, nil, err
	}
	if err := s.solve(); err != nil {
		return nil, nil, err
	}
	doubts, err := s.standOff()
	if err != nil {
		return nil, nil, err
	}
	warnings = append(warnings, doubts...)
	plane, fit, err := s.plane()
	if err != nil {
		return nil, nil, err
	}
	fit.Warnings = append(warnings, fit.Warnings...)
	return plane, fit, nil
}

// controls says the same to what is shared with points of known place.
func (set SheetSet) controls(w, h int, size SheetSize, q vision.Quad) ControlSet {
	c := ControlSet{WidthPx: w, HighPx: h, Lens: set.Lens, FocalPx: set.FocalPx}
	for i, mm := range size.corners() {
		c.Controls = append(c.Controls, Control{Name: "the corner before its " + vision.SideNames[i] + " side", MM: mm, Px: q.Corner[i]})
	}
	return c
}

// camera is the picture's camera as far as it is known beforehand.
func (set SheetSet) camera(w, h int) optics {
	return opticsOf(newPhotoMap(set.controls(w, h, set.Size, vision.Quad{})).start)
}

// focalU is how well its focal length is known, relative.
func (set SheetSet) focalU() float64 {
	switch {
	case set.Lens != nil:
		return profileFocalU
	case set.FocalPx > 0:
		return exifFocalU
	}
	return assumedFocalU
}

// corners are those of the sheet in mm, in the order of a quad's.
func (s SheetSize) corners() []r2.Vec {
	x, y := s.Width/2, s.Height/2
	return []r2.Vec{{X: -x, Y: y}, {X: x, Y: y}, {X: x, Y: -y}, {X: -x, Y: -y}}
}

// sheetLines is the adjustment of one sheet's sides to their edge points.
type sheetLines struct {
	quad vision.Quad
	size SheetSize
	set  SheetSet

	view *controlMap // from the sheet to the picture
	unit float64     // mm to 1 of the homography's coordinates

	points []r2.Vec
	side   []int
	prior  []float64 // weight of each point as it was measured
	weight []float64 // and as it lies
	sigma  float64   // px, of a point of unit weight
	lines  [4]sideLine
	edgesU [2]float64 // mm, by which the edges seen to the right and left, and above and below, may together lie farther apart than the sheet's

	sol solution
	cov *mat.SymDense
}

// sideLine is a side of the sheet in mm: n·p = c, n pointing outwards.
type sideLine struct {
	n r2.Vec
	c float64
}

func newSheetLines(v sheetView, w, h int, set SheetSet) (*sheetLines, error) {
	s := &sheetLines{quad: v.quad, size: v.size, set: set, sigma: 1}
	x, y := v.size.Width/2, v.size.Height/2
	s.lines = [4]sideLine{{r2.Vec{Y: 1}, y}, {r2.Vec{X: 1}, x}, {r2.Vec{Y: -1}, y}, {r2.Vec{X: -1}, x}}
	s.takeEdges()
	corners := set.controls(w, h, v.size, v.quad)
	s.view = newPhotoMap(corners)
	_, s.unit = extent(v.size.corners())
	if err := s.view.begin(s.view, corners.Controls); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSheet, err)
	}
	if set.Scan {
		s.view.step[pK1], s.view.step[pH+6], s.view.step[pH+7] = 0, 0, 0
		s.view.start[pH+6], s.view.start[pH+7] = 0, 0
	}
	return s, nil
}

// takeEdges takes the edge points of the sides.
func (s *sheetLines) takeEdges() {
	s.points, s.side, s.prior = nil, nil, nil
	for i, side := range s.quad.Sides {
		for k, p := range side.Edge {
			s.points = append(s.points, p)
			s.side = append(s.side, i)
			s.prior = append(s.prior, side.Weight[k])
		}
	}
	s.weight = slices.Clone(s.prior)
}

// solve fits the lines: the lens first free, then, where the edges do not
// show that it bends by more than a phone's, held to that.
func (s *sheetLines) solve() error {
	findK1 := s.set.Lens == nil && !s.set.Scan
	if findK1 {
		s.view.precision.SetSym(pK1, pK1, 1/(freeK1U*freeK1U))
	}
	if err := s.settle(s.view.start); err != nil {
		return err
	}
	if k1 := s.sol.params[pK1]; findK1 && math.Abs(k1) < 2*math.Hypot(DefaultLensU, math.Sqrt(s.cov.At(pK1, pK1))) {
		s.view.precision.SetSym(pK1, pK1, 1/(DefaultLensU*DefaultLensU))
		return s.settle(s.sol.params)
	}
	return nil
}

func (s *sheetLines) settle(start []float64) error {
	a := adjustment{residuals: s.residuals, count: len(s.points), step: s.view.step, prior: s.view.prior, precision: s.view.precision}
	var err error
	s.sol.params = start
	for range 3 { // once the lines are near, points that lie off them count less
		if s.sol, err = a.solve(s.sol.params); err != nil {
			return fmt.Errorf("%w: its edges do not settle on a flat sheet", ErrSheet)
		}
		s.weigh()
	}
	if s.sol, err = a.solve(s.sol.params); err != nil {
		return fmt.Errorf("%w: its edges do not settle on a flat sheet", ErrSheet)
	}
	if s.cov, err = a.cov(s.sol, s.inflation()); err != nil {
		return fmt.Errorf("%w: its edges leave the view open", ErrSheet)
	}
	return nil
}

// off tells how far (px) each point lies outside its side in the picture.
func (s *sheetLines) off(params []float64, put func(i int, d float64)) bool {
	h, cam := homography(params[pH:]), opticsOf(params)
	// A line of the sheet is a line of directions, by the inverse transpose:
	// the cofactors.
	cof := [3][3]float64{
		{h[4] - h[5]*h[7], h[5]*h[6] - h[3], h[3]*h[7] - h[4]*h[6]},
		{h[2]*h[7] - h[1], h[0] - h[2]*h[6], h[1]*h[6] - h[0]*h[7]},
		{h[1]*h[5] - h[2]*h[4], h[2]*h[3] - h[0]*h[5], h[0]*h[4] - h[1]*h[3]},
	}
	det := h[0]*cof[0][0] + h[1]*cof[0][1] + h[2]*cof[0][2]
	var line [4][3]float64
	for i, l := range s.lines {
		v := [3]float64{}
		for r := range v {
			v[r] = (cof[r][0]*l.n.X + cof[r][1]*l.n.Y - cof[r][2]*l.c/s.unit) / det
		}
		size := math.Hypot(v[0], v[1])
		if !(size > 0) || math.IsInf(size, 0) {
			return false
		}
		line[i] = [3]float64{v[0] / size, v[1] / size, v[2] / size}
	}
	for i, p := range s.points {
		d, ok := cam.direction(p)
		if !ok {
			return false
		}
		l := line[s.side[i]]
		put(i, cam.fx*(l[0]*d.X+l[1]*d.Y+l[2]))
	}
	return true
}

func (s *sheetLines) residuals(params, out []float64) bool {
	return s.off(params, func(i int, d float64) { out[i] = d * math.Sqrt(s.weight[i]) / s.sigma })
}

// weigh gives points that lie far off their side less weight (Tukey's
// weights), on the scale of the points' own scatter.
func (s *sheetLines) weigh() {
	off := make([]float64, len(s.points))
	abs := make([]float64, len(s.points))
	s.off(s.sol.params, func(i int, d float64) { off[i], abs[i] = d, math.Abs(d) })
	slices.Sort(abs)
	s.sigma = math.Max(1.4826*abs[len(abs)/2], leastEdgePx)
	for i := range off {
		u := math.Min(math.Abs(off[i])/(5*s.sigma), 1)
		// A side that is bent as a whole keeps at least a little weight.
		s.weight[i] = s.prior[i] * math.Max((1-u*u)*(1-u*u), 0.02)
	}
}

// sheetBlocks are the stretches of a side whose means tell how its edge wanders.
const sheetBlocks = 5

// slower is how much more power an edge's errors have over a whole side than
// over a fifth of it; drawn errors joined over a tenth of a side bear it out.
const slower = 1.3

// inflation is by how much the variance of what the fit averages is larger
// than that of points which err independently: along an edge they err
// together (a wavy cut, a curled sheet, the grain of what it lies on), so that
// their number is not the number of independent looks. It is taken from how
// the means over a fifth of a side scatter.
func (s *sheetLines) inflation() float64 {
	total, own := 0.0, 0.0
	n := 0
	for side := range 4 {
		var sum, weight [sheetBlocks]float64
		along := make([]int, 0, len(s.points))
		for i := range s.points {
			if s.side[i] == side {
				along = append(along, i)
			}
		}
		for k, i := range along {
			b := k * sheetBlocks / len(along)
			w := math.Sqrt(s.weight[i])
			sum[b] += w * s.sol.r[i]
			weight[b] += s.weight[i]
			own += s.sol.r[i] * s.sol.r[i]
			n++
		}
		for b := range sum {
			if weight[b] > 0 {
				total += sum[b] * sum[b] / weight[b]
			}
		}
	}
	// The fit has taken two freedoms out of each side's block means, and of
	// the bends that are left one more.
	const free = 4*sheetBlocks - 9
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: free}.Quantile(0.975) / 1.96
	return math.Max(1, math.Max(t*t*slower*total/free, own/float64(max(n-9, 1))))
}

// plane turns the fit into a Plane and says how it went.
func (s *sheetLines) plane() (*Plane, *SheetFit, error) {
	p := s.sol.params
	fit := &SheetFit{Quad: s.quad, Size: s.size}
	sum, weight := 0.0, 0.0
	s.off(p, func(i int, d float64) {
		sum += s.weight[i] * d * d
		weight += s.weight[i]
	})
	fit.RMSPx = math.Sqrt(sum / weight)
	above, aboveU, focalU, err := s.camera(fit)
	if err != nil {
		return nil, nil, err
	}
	eye := func(p []float64, focal float64) ([3]float64, bool) {
		o, err := poseOf(homography(p[pH:]), focal*fit.FocalPx/p[pFx])
		return [3]float64{s.unit * o.at.X, s.unit * o.at.Y, s.unit * o.at.Z}, err == nil
	}
	view := viewer{sheet: s.view, n: photoParams, above: above, eye: eye}

	// The view's parameters that may be wrong, and behind them the height, the
	// focal length and the sheet's own shape.
	var open []int
	for i := range photoParams {
		if s.cov.At(i, i) > 0 {
			open = append(open, i)
		}
	}
	n := len(open)
	params, names := make([]float64, n+5), make([]string, n, n+5)
	cov := mat.NewSymDense(n+5, nil)
	for a, i := range open {
		params[a], names[a] = p[i], s.view.names[i]
		for b := a; b < n; b++ {
			cov.SetSym(a, b, s.cov.At(i, open[b]))
		}
	}
	names = append(names, HeightOffset, FocalLength, SheetWidth, SheetHeight, SheetCorners)
	if above == 0 && aboveU == 0 {
		focalU = 0
	}
	cov.SetSym(n, n, aboveU*aboveU)
	cov.SetSym(n+1, n+1, focalU*focalU)
	// All edges may lie outside together: then width and height err together.
	w, h := s.size.Width, s.size.Height
	edge := 2 * edgeU * s.mmPerPx()
	cov.SetSym(n+2, n+2, (s.size.UWidth*s.size.UWidth+edge*edge+s.edgesU[0]*s.edgesU[0])/(w*w))
	cov.SetSym(n+3, n+3, (s.size.UHeight*s.size.UHeight+edge*edge+s.edgesU[1]*s.edgesU[1])/(h*h))
	cov.SetSym(n+2, n+3, edge*edge/(w*h))
	cov.SetSym(n+4, n+4, s.size.USquare*s.size.USquare)

	plane, err := newPlane(s.method(above), names, params, cov, func(v []float64, px r2.Vec) r2.Vec {
		var all [photoParams + laterErrors]float64
		copy(all[:], p)
		for a, i := range open {
			all[i] = v[a]
		}
		all[photoParams+eHeight], all[photoParams+eFocal] = v[n], v[n+1]
		mm := view.mm(all[:], px)
		return r2.Vec{X: mm.X*(1+v[n+2]) + v[n+4]*mm.Y, Y: mm.Y * (1 + v[n+3])}
	})
	if err != nil {
		return nil, nil, err
	}
	if at, ok := eye(p, 1); ok {
		at[2] += above
		plane.eye = &at
	}
	plane.URel = lengthU(plane, s.quad.Corner)
	s.bows(fit)
	return plane, fit, nil
}

// camera finds where the camera stood, and how far the sheet's upper face is
// above the face that is measured.
func (s *sheetLines) camera(fit *SheetFit) (above, aboveU, focalU float64, err error) {
	p := s.sol.params
	fit.FocalPx = p[pFx]
	if s.set.Scan {
		return 0, 0, 0, nil
	}
	hCov := mat.NewSymDense(8, nil)
	for i := range 8 {
		for j := i; j < 8; j++ {
			hCov.SetSym(i, j, s.cov.At(pH+i, pH+j))
		}
	}
	factor, focalU := focalOf(homography(p[pH:]), hCov, s.set.focalU())
	o, err := poseOf(homography(p[pH:]), factor)
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%w: %w", ErrSheet, err)
	}
	fit.FocalPx = factor * p[pFx]
	fit.K1, fit.UK1 = p[pK1]*factor*factor, math.Sqrt(s.cov.At(pK1, pK1))*factor*factor
	fit.TiltDeg = o.tilt * 180 / math.Pi
	fit.MMPerMMHeight = 1 / (s.unit * o.at.Z)
	// A tenth of the thickness is what it may be wrong by; common practice.
	return s.set.AboveMM + s.size.Thickness, math.Hypot(s.set.AboveU, 0.1*s.size.Thickness), focalU, nil
}

func (s *sheetLines) method(above float64) string {
	m := fmt.Sprintf("the four edges of the %s, %.5g × %.5g mm, %s", s.size.Name, s.size.Width, s.size.Height, s.size.Tolerance)
	if above != 0 {
		m += fmt.Sprintf("; its upper side %.3g mm above the face", above)
	}
	return m
}

// mmPerPx is the scale in the middle of the sheet.
func (s *sheetLines) mmPerPx() float64 {
	h := homography(s.sol.params[pH:])
	const e = 1e-4
	return s.unit / math.Sqrt(math.Abs(h.turns(r2.Vec{}))/(e*e)) / s.sol.params[pFx]
}

// bows notes how each side still bends, and warns of a sheet that was not
// flat.
func (s *sheetLines) bows(fit *SheetFit) {
	var middle, ends, nMiddle, nEnds [4]float64
	var count, seen [4]int
	for _, k := range s.side {
		count[k]++
	}
	s.off(s.sol.params, func(i int, d float64) {
		k := s.side[i]
		t := float64(seen[k]) / float64(count[k])
		seen[k]++
		if t > 1.0/3 && t < 2.0/3 {
			middle[k] += d * s.prior[i]
			nMiddle[k] += s.prior[i]
		} else {
			ends[k] += d * s.prior[i]
			nEnds[k] += s.prior[i]
		}
	})
	px := s.mmPerPx()
	worst := 0
	for k := range 4 {
		if nMiddle[k] > 0 && nEnds[k] > 0 {
			// From the mean over thirds to the bow of a parabola: its middle
			// third lies 26/27 of the bow outside its ends, the others 10/27.
			fit.BowMM[k] = px * (middle[k]/nMiddle[k] - ends[k]/nEnds[k]) * 27 / 18
		}
		if math.Abs(fit.BowMM[k]) > math.Abs(fit.BowMM[worst]) {
			worst = k
		}
	}
	if bow := math.Abs(fit.BowMM[worst]); bow > math.Max(bowLimit*math.Max(s.size.Width, s.size.Height), 0.4*px) {
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("the sheet's %s edge bends by %.2f mm: the sheet was not flat or is not cut straight; press it flat and take the picture again", vision.SideNames[worst], bow))
	}
}

// bowLimit is how much of its longer side a sheet's edge may bend before a
// warning.
const bowLimit = 0.0012

// lengthU is the largest relative standard uncertainty of a length near the
// middle of an outline, of those along x, along y and between.
func lengthU(p *Plane, corner [4]r2.Vec) float64 {
	var middle r2.Vec
	for _, c := range corner {
		middle = r2.Add(middle, r2.Scale(0.25, c))
	}
	reach := 0.15 * r2.Norm(r2.Sub(corner[2], corner[0]))
	return p.worstLength(middle, reach, 8)
}
