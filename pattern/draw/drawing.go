package draw

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// The layers of a drawing, by the trade's names. Only circles lie on the first
// four, so that a program for cutting can take a layer as it is; centre marks
// and all text are on LABELS.
const (
	LayerHoles       = "HOLES"
	LayerPitchCircle = "PITCH_CIRCLE"
	LayerBore        = "BORE"
	LayerRim         = "RIM"
	LayerLabels      = "LABELS"
)

// Layers are a drawing's layers, the outermost first.
var Layers = []string{LayerRim, LayerBore, LayerPitchCircle, LayerHoles, LayerLabels}

// Unit is what a drawing's numbers are in.
type Unit struct {
	Name string
	MM   float64 // its length
}

// The units that drawings are made in.
var (
	MM   = Unit{"mm", 1}
	Inch = Unit{"in", 25.4}
)

// Options say which part is drawn.
type Options struct {
	// Clearance are the diameters (mm) of the part's holes: one for all, or
	// one for each of the reading's; none takes the holes as measured. Size
	// says where they come from, as "M8, normal fit, ISO 273".
	Clearance []float64
	Size      string

	// Allowance (mm) is added to each hole's diameter, for holes that come
	// out small, as printed ones do.
	Allowance float64

	// Mirror draws the part as seen from the side that lies on the face.
	Mirror bool

	Unit Unit // of all numbers; the zero value is MM
}

// Drawing is a reading as it is drawn, in mm: x right, y up, origin at the
// pitch circle's centre. It is made once, and every form is written from it,
// so that a hole is at the same place in each.
type Drawing struct {
	Circles []Circle // as in Layers, the holes in the reading's order
	Lines   []Line
	Labels  []Label
	Notes   []string // sentences that belong beside the drawing

	Holes   []Hole
	Reading *pattern.Reading
	Options Options
}

// Hole is a hole as measured, and as it is drawn.
type Hole struct {
	Measured pattern.Hole
	Centre   r2.Vec // mirrored where the drawing is
	Diameter float64
}

// Line is a straight line, in mm.
type Line struct {
	From, To r2.Vec
	Layer    string
}

// Label is a line of text whose middle is at At; Height (mm) is that of its
// capital letters.
type Label struct {
	At     r2.Vec
	Text   string
	Height float64
}

// ErrNoSize says that a hole was never measured across: its diameter in the
// reading only stands in for one.
var ErrNoSize = errors.New("its diameter is not known: say how large the part's holes are to be")

// unknownShare is the ±, as a share of the diameter, from which on a measured
// diameter is a stand-in and no size.
const unknownShare = 0.45

// New makes the drawing of a reading. It fails where a size is missing or
// cannot be.
func New(r *pattern.Reading, o Options) (*Drawing, error) {
	if o.Unit == (Unit{}) {
		o.Unit = MM
	}
	o.Size = clean(o.Size, 200)
	d := &Drawing{Reading: r, Options: o}
	if err := d.holes(); err != nil {
		return nil, err
	}
	if err := d.around(); err != nil {
		return nil, err
	}
	for _, h := range d.Holes {
		d.add(LayerHoles, h.Centre, h.Diameter)
	}
	d.marks()
	d.number()
	d.up()
	d.note()
	return d, nil
}

// holes places the holes and gives them their size.
func (d *Drawing) holes() error {
	n, o := len(d.Reading.Holes), d.Options
	switch {
	case n == 0:
		return errors.New("the reading has no holes")
	case n > pattern.MaxHoles:
		return fmt.Errorf("the reading has %d holes, more than %d", n, pattern.MaxHoles)
	case len(o.Clearance) > 1 && len(o.Clearance) != n:
		return fmt.Errorf("%d hole sizes are given for %d holes: give one for all, or one for each", len(o.Clearance), n)
	case !(o.Allowance >= 0 && o.Allowance <= maxAllowance):
		return fmt.Errorf("an allowance of %g mm cannot be: give 0 to %g mm, by which holes are drawn larger", o.Allowance, maxAllowance)
	}
	for i, h := range d.Reading.Holes {
		size := h.Diameter
		switch {
		case len(o.Clearance) > 0:
			size = o.Clearance[min(i, len(o.Clearance)-1)]
		case h.DiameterU95 >= unknownShare*h.Diameter:
			return fmt.Errorf("hole %d: %w", h.ID, ErrNoSize)
		}
		if !(size > 0 && size <= maxMM && math.Abs(h.X) <= maxMM && math.Abs(h.Y) <= maxMM) {
			return fmt.Errorf("hole %d, at %g, %g mm with a diameter of %g mm, cannot be drawn", h.ID, h.X, h.Y, size)
		}
		d.Holes = append(d.Holes, Hole{h, d.seen(h.X, h.Y), size + o.Allowance})
	}
	if len(o.Clearance) > 0 {
		return d.apart()
	}
	return nil
}

const maxAllowance = 5.0 // mm; more is another size

// apart refuses chosen sizes with which two holes run into one another.
func (d *Drawing) apart() error {
	for i, a := range d.Holes {
		for _, b := range d.Holes[:i] {
			if gap := r2.Norm(r2.Sub(a.Centre, b.Centre)); gap <= (a.Diameter+b.Diameter)/2 {
				return fmt.Errorf("holes %d and %d are %s mm apart, and would run into one another with diameters of %s and %s mm: give a smaller size",
					b.Measured.ID, a.Measured.ID, short(gap), short(b.Diameter), short(a.Diameter))
			}
		}
	}
	return nil
}

// seen is where a point of the face is on the drawing.
func (d *Drawing) seen(x, y float64) r2.Vec {
	if d.Options.Mirror {
		x = -x
	}
	return r2.Vec{X: x, Y: y}
}

// around draws what else the face has.
func (d *Drawing) around() error {
	r := d.Reading
	for _, f := range []struct {
		layer   string
		feature *pattern.Feature
	}{{LayerRim, r.Rim}, {LayerBore, r.Bore}} {
		if f.feature == nil {
			continue
		}
		if k := f.feature; !(k.Diameter > 0 && k.Diameter <= maxMM && math.Abs(k.X) <= maxMM && math.Abs(k.Y) <= maxMM) {
			return fmt.Errorf("the %s, at %g, %g mm with a diameter of %g mm, cannot be drawn", strings.ToLower(f.layer), k.X, k.Y, k.Diameter)
		}
		d.add(f.layer, d.seen(f.feature.X, f.feature.Y), f.feature.Diameter)
	}
	if c := r.PitchCircle; c != nil {
		if !(c.Diameter > 0 && c.Diameter <= maxMM) {
			return fmt.Errorf("a pitch circle of %g mm cannot be drawn", c.Diameter)
		}
		d.add(LayerPitchCircle, r2.Vec{}, c.Diameter)
	}
	return nil
}

func (d *Drawing) add(layer string, centre r2.Vec, diameter float64) {
	d.Circles = append(d.Circles, Circle{centre, diameter, layer})
}

// on returns the circles of a layer.
func (d *Drawing) on(layer string) []Circle {
	var out []Circle
	for _, c := range d.Circles {
		if c.Layer == layer {
			out = append(out, c)
		}
	}
	return out
}

// Bounds is the smallest rectangle round everything drawn.
func (d *Drawing) Bounds() r2.Box {
	b := r2.Box{Min: r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, Max: r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}}
	grow := func(p r2.Vec, x, y float64) {
		b.Min = r2.Vec{X: math.Min(b.Min.X, p.X-x), Y: math.Min(b.Min.Y, p.Y-y)}
		b.Max = r2.Vec{X: math.Max(b.Max.X, p.X+x), Y: math.Max(b.Max.Y, p.Y+y)}
	}
	for _, c := range d.Circles {
		grow(c.Centre, c.Diameter/2, c.Diameter/2)
	}
	for _, l := range d.Lines {
		grow(l.From, 0, 0)
		grow(l.To, 0, 0)
	}
	for _, l := range d.Labels {
		grow(l.At, l.width()/2, l.Height/2)
	}
	return b
}

// width is roughly how wide a label is: letters of common typefaces are
// narrower on average.
func (l Label) width() float64 { return 0.85 * l.Height * float64(len([]rune(l.Text))) }
