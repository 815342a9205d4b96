package draw

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"boltrose/pattern"
	"boltrose/pattern/thread"

	"gonum.org/v1/gonum/spatial/r2"
)

// Guard is a cover for a shaft end that projects from the measured face: a
// round flange that is bolted on, and on it a cap, closed at its end. All
// lengths are mm. The face is z = 0 and +z looks away from it, so that from +z
// the holes lie as the reading has them.
type Guard struct {
	GuardSizes

	Bolts      []GuardBolt
	ShaftAt    r2.Vec  // where the shaft comes through the face
	ShaftAtU95 float64 // expanded
	ShaftFrom  string  // what the shaft's place was taken from

	source string // the reading's file
	bore   *pattern.Feature
	rim    *pattern.Feature
}

// GuardSizes are the sizes of a guard that its maker chooses. Where a pointer
// is nil, NewGuard chooses.
type GuardSizes struct {
	Shaft    float64 // its diameter
	Projects float64 // how far it stands out of the face

	RunRadius float64 // running clearance round the shaft
	RunLength float64 // and past its end
	Wall      float64 // of the cap
	Thickness float64 // of the flange
	Allowance float64 // added to each hole's diameter, for prints whose holes come out small

	Flange *float64 // its diameter
	Foot   *float64 // radius of the fillet between flange and cap
	At     *r2.Vec  // the shaft's place, from the reading's origin

	Vents     int     // slots in the cap's side, 0 for none
	VentWidth float64 // of a slot
}

// The usual sizes.
const (
	UsualRunning = 5.0
	UsualWall    = 5.0
	UsualVent    = 4.0
)

// GuardBolt is a bolt that holds the guard.
type GuardBolt struct {
	ID   int
	At   r2.Vec
	U95  float64     // of its place, expanded
	Bolt float64     // diameter
	Hole float64     // diameter of its clearance hole, without the allowance
	Head thread.Head // hexagon, washer and socket
}

// seat is the diameter of what must be flat and free round a bolt: its washer
// lies there, and a socket turns there.
func (b GuardBolt) seat() float64 {
	const play = 1.0
	return math.Max(b.Head.Washer, math.Max(b.Head.Socket, b.Head.Corners)) + play
}

// NewGuard makes the guard for a reading: bolts has, for each of its holes in
// their order, what goes through it (only Bolt, Hole and Head are read). It
// refuses sizes that cannot work, all of them in one error, and says what
// would do.
func NewGuard(r *pattern.Reading, bolts []GuardBolt, sizes GuardSizes) (*Guard, error) {
	if len(bolts) != len(r.Holes) || len(bolts) == 0 {
		return nil, fmt.Errorf("%d bolts are given for %d holes", len(bolts), len(r.Holes))
	}
	g := &Guard{GuardSizes: sizes, Bolts: slices.Clone(bolts), source: r.Source.Names(), bore: r.Bore, rim: r.Rim}
	for i, h := range r.Holes {
		b := &g.Bolts[i]
		b.ID, b.At, b.U95 = h.ID, r2.Vec{X: h.X, Y: h.Y}, math.Max(h.XU95, h.YU95)
	}
	if err := g.place(r); err != nil {
		return nil, err
	}
	if err := g.checkEach(); err != nil {
		return nil, err
	}
	g.choose()
	if problems := g.check(); len(problems) > 0 {
		var texts []string
		for _, p := range problems {
			texts = append(texts, p.Error())
		}
		return nil, errors.New(strings.Join(texts, "; "))
	}
	return g, nil
}

// unseen is how far (mm) a shaft may be from the pitch circle's centre where
// nothing says that it is there (common practice).
const unseen = 0.5

// place finds where the shaft is.
func (g *Guard) place(r *pattern.Reading) error {
	switch {
	case g.At != nil:
		g.ShaftAt, g.ShaftFrom = *g.At, "as given"
	case r.Bore != nil:
		g.ShaftAt, g.ShaftFrom = r2.Vec{X: r.Bore.X, Y: r.Bore.Y}, "the bore's centre"
		g.ShaftAtU95 = math.Max(r.Bore.XU95, r.Bore.YU95)
	case r.PitchCircle != nil:
		g.ShaftFrom = fmt.Sprintf("the pitch circle's centre, give or take %s mm, because the reading has no bore: measure that it is there", short(unseen))
		g.ShaftAtU95 = unseen
	default:
		return errors.New("the reading has neither a bore nor a pitch circle, so that the shaft's place is not known: give it, in mm from the middle of all holes")
	}
	return nil
}

const (
	leastFoot = 2.0 // mm, of any outside radius
	mostEdge  = 3.0 // radius of the flange's rim
)

// edge is the radius of the flange's upper rim.
func (g *Guard) edge() float64 { return math.Min(g.Thickness/2, mostEdge) }

func (g *Guard) inside() float64  { return g.Shaft/2 + g.RunRadius } // radius
func (g *Guard) outside() float64 { return g.inside() + g.Wall }     // radius
func (g *Guard) depth() float64   { return g.Projects + g.RunLength }
func (g *Guard) height() float64  { return g.depth() + g.Wall }

// inner is the radius inside the cap's closed end. It is no more than the
// running clearance, so that the shaft's edge is nowhere closer to it.
func (g *Guard) inner() float64 { return math.Min(g.RunRadius, g.RunLength) }

// outer is the radius outside the cap's closed end: as round as inside, less
// where the cap is low.
func (g *Guard) outer() float64 {
	return math.Min(g.inner()+g.Wall, g.height()-g.Thickness-*g.Foot)
}

// choose fills in what was left open: the largest fillet up to the wall that
// leaves the bolts their room, and the smallest flange in whole millimetres.
func (g *Guard) choose() {
	if g.Foot == nil {
		foot := math.Min(g.Wall, (g.height()-g.Thickness)/2)
		for _, b := range g.Bolts {
			foot = math.Min(foot, r2.Norm(r2.Sub(b.At, g.ShaftAt))-g.outside()-b.seat()/2)
		}
		foot = math.Max(foot, leastFoot)
		g.Foot = &foot
	}
	if g.Flange == nil {
		need, _ := g.flangeNeeds()
		need = math.Ceil(need - 1e-9)
		g.Flange = &need
	}
}

// flangeNeeds is the least diameter of the flange, and what needs it.
func (g *Guard) flangeNeeds() (float64, string) {
	need, by := r2.Norm(g.ShaftAt)+g.outside()+*g.Foot+g.edge(), "the cap's foot needs"
	for _, b := range g.Bolts {
		// The seat lies on the flat, and the hole's centre 1.5 diameters from
		// the rim (common practice).
		if reach := r2.Norm(b.At) + math.Max(b.seat()/2+g.edge(), 1.5*b.hole(g)); reach > need+1e-9 {
			need, by = reach, fmt.Sprintf("hole %d needs", b.ID)
		}
	}
	if g.bore != nil {
		if reach := math.Hypot(g.bore.X, g.bore.Y) + g.bore.Diameter/2 + g.Wall; reach > need+1e-9 {
			need, by = reach, "resting on the face outside its bore needs"
		}
	}
	return 2 * need, by
}

// hole is the diameter of a bolt's hole in the guard.
func (b GuardBolt) hole(g *Guard) float64 { return b.Hole + g.Allowance }

// play is how far the guard can shift before a bolt stops it.
func (g *Guard) play() float64 {
	least := math.Inf(1)
	for _, b := range g.Bolts {
		least = math.Min(least, (b.hole(g)-b.Bolt)/2)
	}
	return least
}

// Left is the running clearance in radius that is left at worst: with the
// guard shifted as far as its bolts let it, and the shaft where the
// measurement may have it.
func (g *Guard) Left() float64 { return g.RunRadius - g.play() - g.ShaftAtU95 }

// Volume is that of the guard in mm³, in closed form but for the slots.
func (g *Guard) Volume() float64 {
	// What a rounding of radius f cuts off a square corner, or fills into one,
	// has this area and its centroid so far from either side.
	area := func(f float64) float64 { return (1 - math.Pi/4) * f * f }
	centroid := func(f float64) float64 { return f * (5./6 - math.Pi/4) / (1 - math.Pi/4) }
	cylinder := func(r, h float64) float64 { return math.Pi * r * r * h }
	// By Pappus's rule a turned area's volume is the area times its centroid's way.
	turned := func(r, f, sign float64) float64 { return 2 * math.Pi * (r + sign*centroid(f)) * area(f) }

	v := cylinder(*g.Flange/2, g.Thickness) - turned(*g.Flange/2, g.edge(), -1)
	v += cylinder(g.outside(), g.height()-g.Thickness) - turned(g.outside(), g.outer(), -1) + turned(g.outside(), *g.Foot, 1)
	v -= cylinder(g.inside(), g.depth()) - turned(g.inside(), g.inner(), -1)
	for _, b := range g.Bolts {
		v -= cylinder(b.hole(g)/2, g.Thickness)
	}
	if g.Vents > 0 {
		from, to := g.ventSpan()
		const steps = 1000
		half := g.VentWidth / 2
		for i := range steps {
			s := (2*(float64(i)+0.5)/steps - 1) * half
			through := math.Sqrt(g.outside()*g.outside()-s*s) - math.Sqrt(g.inside()*g.inside()-s*s)
			v -= float64(g.Vents) * (to - from - g.VentWidth + 2*math.Sqrt(half*half-s*s)) * through * g.VentWidth / steps
		}
	}
	return v
}

// ventSpan is from where to where the slots go, in z: in the straight part of
// the cap's side.
func (g *Guard) ventSpan() (from, to float64) {
	return g.Thickness + *g.Foot + g.Wall/2, math.Min(g.depth()-g.inner(), g.height()-g.outer()) - g.Wall/2
}
