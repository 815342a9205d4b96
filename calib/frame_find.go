package calib

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// FrameView is a frame as it was found in a picture.
type FrameView struct {
	// Frame is the frame's border. Its window is the largest that goes with
	// the border: how much of it was cut out does not show.
	Frame *Frame

	// Controls are the dots that were measured, each with its mark, in the
	// picture's pixels and the millimetres of the sheet as printed.
	Controls []Control

	Hidden  int     // dots of the frame that could not be measured
	TiltDeg float64 // angle between the line of sight and upright on the sheet, roughly

	// ScaleU and AxesU are relative standard uncertainties: of the size of all
	// millimetres, and of how x compares to y, from print and bars.
	ScaleU, AxesU float64

	Warnings []string

	toPx  homography // mm on the sheet, as printed, to the picture, without the lens
	print [2]float64 // printed over nominal, along x and y
}

// PrintedBars is what the two bars of a frame measure after printing, mm;
// zero: they were not measured.
type PrintedBars [2]float64

// What scale a print has, as relative standard uncertainties along either
// axis; common practice. Drum and feed of a printer err independently, by
// some tenths of a per cent. A bar's ends are seen between the jaws of
// calipers to a tenth of a millimetre.
const (
	unmeasuredPrintU = 0.003
	measuredPrintU   = 0.1 / barLength
)

// mostPrintOff is more than a sheet is off in size that was printed to fit
// another paper, relatively.
const mostPrintOff = 0.15

// dotPlaceU is where a printer puts a dot, besides its scale (mm, one standard
// uncertainty along either axis); common practice.
const dotPlaceU = 0.03

// FindFrame finds a printed frame in a picture and measures its dots. It
// returns nil where the picture shows none, and an error where it shows one
// that cannot be used.
//
// Dark elliptic spots that lie in rows lead to the border of a frame, its code
// says which dot each of them is. All dots are then measured in a view from
// straight above, in which they are circles.
func FindFrame(pic *vision.Picture, printed PrintedBars) (*FrameView, error) {
	v := &FrameView{print: [2]float64{1, 1}, ScaleU: unmeasuredPrintU / math.Sqrt2, AxesU: unmeasuredPrintU * math.Sqrt2}
	if printed != (PrintedBars{}) {
		for i, mm := range printed {
			v.print[i] = mm / barLength
			if math.Abs(v.print[i]-1) > mostPrintOff || math.IsNaN(v.print[i]) {
				return nil, fmt.Errorf("the frame's bars measure %g and %g mm? They are meant to be %g mm, and a printer is off by a few per cent: measure the two bars beside the dots from end to end, in mm, the one along the sheet's width first", printed[0], printed[1], barLength)
			}
		}
		v.ScaleU, v.AxesU = measuredPrintU/math.Sqrt2, measuredPrintU*math.Sqrt2
	}
	spots, err := vision.Spots(pic)
	if err != nil {
		return nil, err
	}
	size := r2.Vec{X: float64(pic.Grey.Rect.Dx()), Y: float64(pic.Grey.Rect.Dy())}
	id, part := identify(spots)
	if id == nil {
		if part > 0 {
			return nil, fmt.Errorf("a frame seems to be in the picture, but only some %d of its dots are seen, which is too little to know it by; have all of it in the picture, sharp and uncovered", part)
		}
		return nil, nil
	}
	if err := v.place(id, spots, size); err != nil {
		return nil, err
	}
	rest := without(spots, id)
	if other, _ := identify(rest); other != nil {
		if err := v.agrees(other, rest); err != nil {
			return nil, err
		}
	}
	if err := v.measure(pic, size); err != nil {
		return nil, err
	}
	return v, nil
}

// identified is a border of spots and what its code says.
type identified struct {
	grid *grid
	layout
}

// identify finds the frame that most spots belong to. Where it finds none, part
// is the number of spots that look as if they were part of one.
func identify(spots []vision.Spot) (best *identified, part int) {
	if len(spots) > mostSpots {
		spots = slices.Clone(spots)
		slices.SortStableFunc(spots, func(a, b vision.Spot) int { return cmp.Compare(b.Area, a.Area) })
		spots = spots[:mostSpots]
	}
	try := func(cells map[cell]int, ok bool) {
		if !ok {
			return
		}
		g, ok := gridOf(spots, cells)
		if !ok {
			return
		}
		l, ok := g.decode()
		switch {
		case ok && (best == nil || l.score > best.score):
			best = &identified{g, l}
		case !ok && l.agree >= leastPart && l.differ == 0 && g.isOpen(l):
			part = max(part, l.agree)
		}
	}
	// What explains much less than something that is not clear is not clear.
	defer func() {
		if best != nil && 4*best.agree < 3*part {
			best = nil
		}
	}()
	enough := func() bool { return best != nil && 3*best.agree >= 2*best.count() }

	rows := rowsOf(spots)
	for i := range rows {
		for k := range i {
			fromCorner(&rows[k], &rows[i], try)
		}
		// The longest rows are a frame's sides; what their corner has gathered
		// needs no more of them.
		if enough() {
			return best, part
		}
	}
	// A corner with a short arm may not lead as far as the other side.
	sides := rows[:min(len(rows), 4)]
	for i := range sides {
		for k := range i {
			for b := range rows {
				if b != i && b != k && !enough() {
					fromOpposite(&sides[k], &sides[i], &rows[b], try)
				}
			}
		}
	}
	return best, part
}

// fromCorner tries two rows as sides that meet.
func fromCorner(a, b *row, try func(map[cell]int, bool)) {
	x, ok := a.crossing(b)
	if !ok {
		return
	}
	for _, ca := range corners(a.indexAt(x)) {
		for _, cb := range corners(b.indexAt(x)) {
			try(cornerCells(a, b, ca, cb))
		}
	}
}

// fromOpposite tries two rows as opposite sides with a third between them.
func fromOpposite(a, b, between *row, try func(map[cell]int, bool)) {
	x, okA := a.crossing(between)
	y, okB := b.crossing(between)
	if !okA || !okB {
		return
	}
	// How far apart they are, by the row between them; that is rough.
	apart := int(math.Round(math.Abs(between.indexAt(x) - between.indexAt(y))))
	for _, ca := range corners(a.indexAt(x)) {
		for _, cb := range corners(b.indexAt(y)) {
			for across := max(apart-4, leastDots-1); across <= min(apart+4, mostAlong); across++ {
				try(oppositeCells(a, b, ca, cb, across))
			}
		}
	}
}

// corners returns which places of a row a corner may have that is at i by
// the row's own spots.
func corners(i float64) []int {
	if !(math.Abs(i) < 2*mostAlong) {
		return nil
	}
	nearest := math.Round(i)
	out := []int{int(nearest)}
	switch off := i - nearest; {
	case off > 0.2:
		out = append(out, int(nearest)+1)
	case off < -0.2:
		out = append(out, int(nearest)-1)
	}
	return out
}

// without returns the spots that do not belong to a border.
func without(spots []vision.Spot, id *identified) []vision.Spot {
	in := map[int]bool{}
	for _, i := range id.dots() {
		in[i] = true
	}
	var out []vision.Spot
	for i, s := range spots {
		if !in[i] {
			out = append(out, s)
		}
	}
	return out
}

// nominal returns where a cell of a frame is, mm.
func (l layout) nominal(c cell) r2.Vec {
	return r2.Vec{
		X: Pitch * (float64(c.i) - float64(l.columns-1)/2),
		Y: Pitch * (float64(l.rows-1)/2 - float64(c.j)),
	}
}

// dots returns which spot is which of the frame's dots, less those of the
// wrong size.
func (id *identified) dots() map[cell]int {
	dots := map[cell]int{}
	for i, c := range ringCells(id.columns, id.rows) {
		at := id.inGrid(c)
		if spot, ok := id.grid.on[at]; ok && id.grid.large[at] == isLarge(id.paper, id.columns, id.rows, i) {
			dots[c] = spot
		}
	}
	return dots
}

// place maps the sheet as printed to the picture, and refuses views that
// cannot be measured.
func (v *FrameView) place(id *identified, spots []vision.Spot, size r2.Vec) error {
	f, err := NewFrame(id.paper, windowAmong(id.columns), windowAmong(id.rows))
	if err != nil {
		return err
	}
	v.Frame = f
	var from, to []r2.Vec
	for c, i := range id.dots() {
		from = append(from, v.asPrinted(id.nominal(c)))
		to = append(to, spots[i].Centre)
	}
	var ok bool
	if v.toPx, ok = direct(from, to); !ok {
		return errors.New("the frame's dots do not lie as on a flat sheet")
	}
	if id.mirrored(id.grid) {
		return errors.New("the picture shows the frame as in a mirror, which some front cameras do; turn that off, or mirror the picture back")
	}
	outside := 0
	for _, d := range f.Dots {
		if px, w := v.toPx.apply(v.asPrinted(d.Centre)); !(w > 0) || px.X < 0 || px.Y < 0 || px.X > size.X || px.Y > size.Y {
			outside++
		}
	}
	if 3*outside > len(f.Dots) {
		seen := "only part"
		if 10*outside > 4*len(f.Dots) {
			seen = "only half"
		}
		return fmt.Errorf("%s of the frame is in the picture: %d of its %d dots are outside; step back so that all are in it", seen, outside, len(f.Dots))
	}
	if 2*id.agree < len(f.Dots) {
		return fmt.Errorf("only %d of the frame's %d dots can be seen; uncover more of them", id.agree, len(f.Dots))
	}
	v.TiltDeg = v.tilt()
	if v.TiltDeg > mostTilt {
		return fmt.Errorf("the tilt is too strong: the frame is seen at about %.0f° from upright, and %.0f° is the most; photograph it more from straight above", v.TiltDeg, mostTilt)
	}
	return nil
}

// mostTilt is the tilt to which frames are measured.
const mostTilt = 52.0

// asPrinted returns where a nominal place is on the sheet.
func (v *FrameView) asPrinted(mm r2.Vec) r2.Vec {
	return r2.Vec{X: mm.X * v.print[0], Y: mm.Y * v.print[1]}
}

// Border tells whether a place on the sheet as printed, mm, is among the dots,
// where no hole can be.
func (v *FrameView) Border(mm r2.Vec) bool {
	x, y := math.Abs(mm.X/v.print[0]), math.Abs(mm.Y/v.print[1])
	w, h := v.Frame.halfWidth(), v.Frame.halfHeight()
	const out = largeDot/2 + besideDot/2
	return x < w+out && y < h+out && (x > v.Frame.WindowW/2 || y > v.Frame.WindowH/2)
}

// tilt returns how much a small circle at the frame's middle is foreshortened,
// as an angle in degrees.
func (v *FrameView) tilt() float64 {
	o, _ := v.toPx.apply(r2.Vec{})
	x, _ := v.toPx.apply(r2.Vec{X: 1e-3})
	y, _ := v.toPx.apply(r2.Vec{Y: 1e-3})
	a, b := r2.Sub(x, o), r2.Sub(y, o)
	// The singular values of the matrix with columns a and b.
	sum, det := r2.Norm2(a)+r2.Norm2(b), math.Abs(r2.Cross(a, b))
	root := math.Sqrt(max(sum*sum/4-det*det, 0))
	ratio := math.Sqrt(max(sum/2-root, 0) / (sum/2 + root))
	return math.Acos(min(ratio, 1)) * 180 / math.Pi
}

// agrees refuses a picture in which another frame has another scale than the
// one that is used.
func (v *FrameView) agrees(other *identified, spots []vision.Spot) error {
	const most = 0.01 // relative; less may be the lens's
	var on, nominal []r2.Vec
	for c, i := range other.dots() {
		mm, w := v.toPx.invert(spots[i].Centre)
		if !(w > 0) {
			continue
		}
		on = append(on, mm)
		nominal = append(nominal, v.asPrinted(other.nominal(c)))
	}
	_, is := extent(on)
	_, want := extent(nominal)
	if off := is/want - 1; !(math.Abs(off) < most) {
		return fmt.Errorf("two frames in the picture disagree: by the one, lengths on the other are off by %+.1f %%; have only one in the picture, or both in one plane and printed alike", 100*off)
	}
	v.Warnings = append(v.Warnings, "two frames are in the picture; they agree, and the one of which more is seen is used")
	return nil
}

// measure measures every dot of the frame in a view from straight above.
func (v *FrameView) measure(pic *vision.Picture, size r2.Vec) error {
	flat, at, scale, err := v.flatten(pic)
	if err != nil {
		return err
	}
	marks := make([]*vision.Mark, len(v.Frame.Dots))
	var wg sync.WaitGroup
	for i, d := range v.Frame.Dots {
		mm := v.asPrinted(d.Centre)
		px, w := v.toPx.apply(mm)
		if !(w > 0) || px.X < 0 || px.Y < 0 || px.X > size.X || px.Y > size.Y {
			continue
		}
		wg.Go(func() {
			if m, ok := vision.MeasureAt(flat.Picture, at(mm), d.Diameter/2*scale); ok {
				marks[i] = &m
			}
		})
	}
	wg.Wait()
	var found []Control
	var contrast, growth []float64
	for i, d := range v.Frame.Dots {
		if marks[i] == nil {
			continue
		}
		m, mm, radius := *marks[i], v.asPrinted(d.Centre), d.Diameter/2*scale
		if m.Kind != vision.Darker || m.RimSeen < 0.7 || math.Abs(m.Radius/radius-1) > 0.2 || r2.Norm(r2.Sub(m.Centre, at(mm))) > 0.5*radius {
			continue
		}
		contrast = append(contrast, math.Abs(m.Contrast))
		growth = append(growth, m.Radius-radius)
		m = flat.Back(m)
		found = append(found, Control{Name: d.Name, Px: m.Centre, MM: mm, SigmaMM: dotPlaceU, Mark: &m})
	}
	// What lies on a hidden dot's place may have a round edge too, but hardly
	// as sharp a one, and of the size that ink and light give all dots.
	usual, grown := middleOf(contrast), middleOf(growth)
	for i, c := range found {
		if contrast[i] > usual/4 && math.Abs(growth[i]-grown) < 0.1*smallDot/2*scale {
			v.Controls = append(v.Controls, c)
		}
	}
	v.Hidden = len(v.Frame.Dots) - len(v.Controls)
	if len(v.Controls) < leastFrame {
		return fmt.Errorf("a frame is in the picture, but only %d of its %d dots can be measured; photograph it sharp, in even light, with nothing on its dots", len(v.Controls), len(v.Frame.Dots))
	}
	return nil
}

// middleOf returns the median; 0 of none.
func middleOf(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}

// flatten returns the frame's border from straight above, at returning where
// a place on the sheet is in it, at so many pixels per mm.
func (v *FrameView) flatten(pic *vision.Picture) (flat *vision.Flat, at func(r2.Vec) r2.Vec, scale float64, err error) {
	const beyond = 6.0 // mm of paper around the dots' centres
	half := v.asPrinted(r2.Vec{X: v.Frame.halfWidth() + beyond, Y: v.Frame.halfHeight() + beyond})
	// As fine as the picture is at its finest.
	for _, d := range v.Frame.Dots {
		mm := v.asPrinted(d.Centre)
		o, w := v.toPx.apply(mm)
		x, _ := v.toPx.apply(r2.Vec{X: mm.X + 0.1, Y: mm.Y})
		y, _ := v.toPx.apply(r2.Vec{X: mm.X, Y: mm.Y + 0.1})
		if w > 0 {
			scale = max(scale, 10*r2.Norm(r2.Sub(x, o)), 10*r2.Norm(r2.Sub(y, o)))
		}
	}
	pixels := float64(pic.Grey.Rect.Dx()) * float64(pic.Grey.Rect.Dy())
	scale = min(scale, math.Sqrt(2*pixels/(4*half.X*half.Y)))
	at = func(mm r2.Vec) r2.Vec { return r2.Vec{X: scale * (mm.X + half.X), Y: scale * (half.Y - mm.Y)} }
	// toPx after the inverse of at.
	h := v.toPx
	var m [9]float64
	for r, row := range [3][3]float64{{h[0], h[1], h[2]}, {h[3], h[4], h[5]}, {h[6], h[7], 1}} {
		m[3*r], m[3*r+1] = row[0]/scale, -row[1]/scale
		m[3*r+2] = row[2] - row[0]*half.X + row[1]*half.Y
	}
	flat, err = vision.Flatten(pic, int(math.Ceil(2*half.X*scale)), int(math.Ceil(2*half.Y*scale)), m)
	return flat, at, scale, err
}
