package read

import (
	"fmt"
	"math"

	"boltrose/calib"
	"boltrose/pattern/thread"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// ThreadResult is what a picture shows of a thread, and all that led to it.
type ThreadResult struct {
	Picture  *vision.Picture
	Scaling  *Scaling
	Outline  *vision.ThreadOutline // in the picture's pixels
	Measured thread.Measured
	Turns    int
	Warnings []string
}

// What lies on a scanner's glass lifts its tip or its head a little, and is
// seen shorter than it is; as a standard uncertainty of the pitch: 2° and so
// 0.06 % (common practice).
const tiltedU = 0.0006

// mostLean is the tangent of the angle, 5°, by which a photograph may look along
// the bolt's axis for its outline to show the flanks: looked at from farther
// ahead or behind, the turns hide one another's flanks (found by rendering).
const mostLean = 0.09

// Thread measures the thread of a bolt in a picture. The scale is got as for a
// face. Errors are ErrScale's and vision.ErrNoThread's.
func Thread(pic *vision.Picture, opts Options) (*ThreadResult, error) {
	p := See(pic, "")
	_, s, err := p.scale(opts)
	if err != nil {
		return nil, err
	}
	if s.NoScale {
		return nil, fmt.Errorf("%w: a thread's picture needs its own scale: --dpi, or a printed frame or sheet beside the bolt", ErrScale)
	}
	from := s.lookFrom(pic)
	o, err := vision.FindThread(from.picture)
	if err != nil {
		return nil, err
	}
	from.thread(o)
	if s.flat && !opts.aboveGiven() {
		// The bolt's axis lies half its diameter above the frame or sheet.
		major, _ := s.Plane.Across(o.Along, o.Crests[0], o.Crests[1])
		opts.AboveMM, opts.AboveU95 = -major/2, 0.1*major
		if _, s, err = p.scale(opts); err != nil {
			return nil, err
		}
	}
	r := &ThreadResult{Picture: pic, Scaling: s, Outline: o, Turns: o.Turns, Warnings: s.Warnings}
	if err := r.measure(); err != nil {
		return nil, fmt.Errorf("%w: %w", vision.ErrNoThread, err)
	}
	return r, nil
}

// thread takes an outline back to the picture that was opened.
func (l look) thread(o *vision.ThreadOutline) {
	if l.flat == nil {
		return
	}
	middle := o.Crests[0]
	direction := func(d r2.Vec) r2.Vec {
		return r2.Unit(r2.Sub(l.flat.Point(r2.Add(middle, r2.Scale(5, d))), l.flat.Point(r2.Sub(middle, r2.Scale(5, d)))))
	}
	o.Along = direction(o.Along)
	for i := range o.Flanks {
		if o.UFlank > 0 {
			o.Flanks[i] = direction(o.Flanks[i])
		}
	}
	_, larger := l.flat.From(l.flat.Point(middle))
	o.UCrest /= larger
	o.Period /= larger
	for i := range o.Crests {
		o.Crests[i] = l.flat.Point(o.Crests[i])
	}
	for _, side := range o.Teeth {
		for i := range side {
			side[i].At, side[i].Tip = l.flat.Point(side[i].At), l.flat.Point(side[i].Tip)
		}
	}
}

// measure takes the outline to millimetres.
func (r *ThreadResult) measure() error {
	o, plane := r.Outline, r.Scaling.Plane
	var rows []calib.Row
	for _, side := range o.Teeth {
		var row calib.Row
		for _, t := range side {
			if t.Used {
				row.Number, row.Px = append(row.Number, t.Number), append(row.Px, t.At)
			}
		}
		rows = append(rows, row)
	}
	p, err := plane.Spacing(o.Along, rows...)
	if err != nil {
		return err
	}
	r.Turns = p.Steps
	u := math.Sqrt(p.U*p.U + p.UPlane*p.UPlane + tiltedU*tiltedU*p.MM*p.MM)
	r.Measured.Pitch = thread.Value{V: p.MM, U95: 2 * u}
	middle := r2.Scale(0.5, r2.Add(o.Crests[0], o.Crests[1]))
	major, uMajor := plane.Across(o.Along, o.Crests[0], o.Crests[1])
	x, y := plane.MMPerPx(middle)
	crests := math.Sqrt2 * o.UCrest * math.Max(x, y)
	lean, across := plane.Leans(o.Along, middle)
	wider := math.Hypot(1, across)
	r.Measured.Major = thread.Value{V: major / wider, U95: 2 * math.Hypot(uMajor, crests) / wider}
	if o.UFlank > 0 && lean < mostLean {
		seen := plane.Angle(o.Flanks[0], o.Flanks[1], middle) * math.Pi / 180
		angle := 2 * math.Atan(math.Tan(seen/2)*wider) * 180 / math.Pi // deep by as much as it is wide
		if u95 := 2 * math.Sqrt2 * o.UFlank * 180 / math.Pi; thread.NearForm(angle, u95) {
			r.Measured.FlankDeg = thread.Value{V: angle, U95: u95}
		}
	}
	return nil
}
