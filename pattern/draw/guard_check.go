package draw

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	leastWall   = 3.0 // mm, below which a printed wall breaks at the first knock (common practice)
	leastLeft   = 1.0 // running clearance that is left at worst, for runout and bending (common practice)
	leastEnd    = 2.0 // past the shaft's end: shafts float, and grow with heat (common practice)
	leastVent   = 1.0
	mostVents   = 100
	mostGuardMM = 2000.0

	// A slot of up to 4 mm lets a fingertip in by less than 2 mm; the wall alone
	// is thicker (ISO 13857, reaching through regular openings, from 14 years of
	// age on: seen in an engineer's print of its table; from 3 years on the same,
	// from memory).
	mostVent = 4.0
)

// checkEach refuses sizes that are none, which would make the others'
// arithmetic meaningless.
func (g *Guard) checkEach() error {
	sizes := []struct {
		name       string
		v, lo, hi  float64
		mayBeLeast bool
	}{
		{"a shaft's diameter", g.Shaft, 0, mostGuardMM, false},
		{"how far the shaft projects", g.Projects, 0, mostGuardMM, false},
		{"a running clearance", g.RunRadius, 0, mostGuardMM, false},
		{"a running clearance past the shaft's end", g.RunLength, 0, mostGuardMM, false},
		{"a wall", g.Wall, 0, mostGuardMM, false},
		{"a flange's thickness", g.Thickness, 0, mostGuardMM, false},
		{"an allowance", g.Allowance, 0, maxAllowance, true},
		{"a number of vents", float64(g.Vents), 0, mostVents, true},
		{"a vent's width", g.VentWidth, 0, mostGuardMM, g.Vents == 0},
		{"the shaft's place", r2.Norm(g.ShaftAt), 0, mostGuardMM, true},
	}
	add := func(name string, v *float64) {
		if v != nil {
			sizes = append(sizes, struct {
				name       string
				v, lo, hi  float64
				mayBeLeast bool
			}{name, *v, 0, 2 * mostGuardMM, false})
		}
	}
	add("a flange's diameter", g.Flange)
	add("a foot's radius", g.Foot)
	for _, s := range sizes {
		if !(s.v > s.lo && s.v <= s.hi || s.mayBeLeast && s.v == s.lo) {
			from := "above 0"
			if s.mayBeLeast {
				from = "0"
			}
			return fmt.Errorf("%s cannot be %g: give %s to %g", s.name, s.v, from, s.hi)
		}
	}
	for _, b := range g.Bolts {
		switch {
		case !(b.Bolt > 0 && b.Bolt <= mostGuardMM && b.Head.Washer > 0 && b.Head.Washer <= mostGuardMM && b.Head.Socket > 0 && b.Head.Socket <= mostGuardMM):
			return fmt.Errorf("hole %d's bolt of %g mm cannot be", b.ID, b.Bolt)
		case !(b.Hole <= mostGuardMM):
			return fmt.Errorf("hole %d's diameter cannot be %g mm", b.ID, b.Hole)
		case !(r2.Norm(b.At) <= mostGuardMM):
			return fmt.Errorf("hole %d lies %g mm from the middle: no guard is so large", b.ID, r2.Norm(b.At))
		case !(b.hole(g) > b.Bolt):
			return fmt.Errorf("hole %d, of %s mm, does not let its bolt of %s mm through: %s mm would do", b.ID, short(b.Hole), short(b.Bolt), up(1.05*b.Bolt+0.2))
		case !(b.hole(g) < b.Head.Washer):
			return fmt.Errorf("hole %d, of %s mm, lets its washer of %s mm through: %s mm would do", b.ID, short(b.hole(g)), short(b.Head.Washer), short(b.Bolt*1.1))
		}
	}
	return nil
}

// up and down round to tenths, to the side on which the number does.
func up(mm float64) string   { return short(math.Ceil(mm*10-1e-6) / 10) }
func down(mm float64) string { return short(math.Floor(mm*10+1e-6) / 10) }

// leastRunning is the running clearance that leaves leastLeft at worst.
func (g *Guard) leastRunning() float64 { return leastLeft + g.RunRadius - g.Left() }

// check lists what of the guard cannot work, each with a size that would do.
func (g *Guard) check() []error {
	var problems []error
	refuse := func(when bool, format string, args ...any) {
		if when {
			problems = append(problems, fmt.Errorf(format, args...))
		}
	}
	const slack = 1e-9
	refuse(g.Wall < leastWall, "a wall of %s mm is too thin: %s mm would do", short(g.Wall), short(leastWall))
	refuse(g.Thickness < leastWall, "a flange %s mm thick is too thin: %s mm would do", short(g.Thickness), short(leastWall))
	if b := g.bore; b != nil && g.At == nil {
		refuse(g.Shaft > b.Diameter+b.DiameterU95, "a shaft of %s mm does not pass through the bore of %s ±%s mm that the reading has: %s mm at most would, or give the shaft's place if that bore is not the shaft's",
			short(g.Shaft), short(round(b.Diameter)), short(round(b.DiameterU95)), down(b.Diameter+b.DiameterU95))
	}
	refuse(g.Left() < leastLeft-slack, "the cap would touch the shaft: of %s mm running clearance, %s mm goes to the bolts' play%s, and %s mm must be left: %s mm would do",
		short(g.RunRadius), short(round(g.play())), g.doubt(), short(leastLeft), up(g.leastRunning()))
	refuse(g.RunLength < leastEnd, "the cap's end would touch the shaft: %s mm of running clearance past it are too little: %s mm would do", short(g.RunLength), short(leastEnd))
	refuse(*g.Foot < leastFoot-slack, "a foot's radius of %s mm leaves a sharp corner: %s mm would do", short(*g.Foot), short(leastFoot))
	if rise := g.height() - g.Thickness - *g.Foot - leastFoot; rise < -slack {
		refuse(true, "the cap would stand out of the flange too little to be rounded: a running clearance of %s mm past the shaft's end would do", up(g.RunLength-rise))
	}
	for _, p := range []error{g.headsMeetCap(), g.headsMeet(), g.flangeTooSmall()} {
		if p != nil {
			problems = append(problems, p)
		}
	}
	if g.Vents > 0 {
		problems = append(problems, g.checkVents()...)
	}
	return problems
}

// headsMeetCap finds the bolt that the cap is most in the way of.
func (g *Guard) headsMeetCap() error {
	worst, lacks := GuardBolt{}, 1e-9
	for _, b := range g.Bolts {
		if l := g.needs(b) - r2.Norm(r2.Sub(b.At, g.ShaftAt)); l > lacks {
			worst, lacks = b, l
		}
	}
	if worst.ID == 0 {
		return nil
	}
	would, withFoot := "", ""
	foot := math.Max(*g.Foot-leastFoot, 0)
	running, wall := math.Max(g.RunRadius-g.leastRunning(), 0), math.Max(g.Wall-leastWall, 0)
	if foot > 0 && lacks > foot {
		withFoot = fmt.Sprintf(" with a foot's radius of %s mm", short(leastFoot))
	}
	switch {
	case lacks <= foot:
		would = fmt.Sprintf("a foot's radius of %s mm would do", down(*g.Foot-lacks))
	case lacks <= foot+running-0.1:
		would = fmt.Sprintf("a running clearance of %s mm would do", down(g.RunRadius-lacks+foot))
	case lacks <= foot+wall-0.1:
		would = fmt.Sprintf("a wall of %s mm would do", down(g.Wall-lacks+foot))
	case lacks <= foot+running+wall-0.2:
		would = fmt.Sprintf("a running clearance of %s mm with a wall of %s mm would do", up(g.leastRunning()), down(g.Wall-(lacks-foot-running)-0.1))
	default:
		// The shaft is what it is: only less room for the socket helps then.
		seat := worst.seat() - 2*(lacks-foot-running-wall)
		would = fmt.Sprintf("with %s mm of running clearance and a wall of %s mm its socket and washer may be %s mm across at most", up(g.leastRunning()), short(leastWall), down(seat-1.3))
		if seat-1.3 < worst.Head.Corners {
			would = fmt.Sprintf("even the thinnest cap passes only a shaft of %s mm: these holes cannot hold it", down(math.Max(g.Shaft-2*(lacks-foot-running-wall), 0)))
		}
	}
	return fmt.Errorf("the cap meets the head of hole %d's bolt, or its socket: from the shaft's centre it is %s mm, and %s mm are needed (shaft %s, running clearance %s, wall %s, foot %s, half the seat %s): %s%s",
		worst.ID, short(round(r2.Norm(r2.Sub(worst.At, g.ShaftAt)))), up(g.needs(worst)),
		short(g.Shaft/2), short(g.RunRadius), short(g.Wall), short(round(*g.Foot)), short(round(worst.seat()/2)), would, withFoot)
}

// needs is how far from the shaft's centre a bolt must be.
func (g *Guard) needs(b GuardBolt) float64 { return g.outside() + *g.Foot + b.seat()/2 }

// headsMeet finds two bolts that leave one another no room: for their washers,
// or for the socket on one beside the head of the other.
func (g *Guard) headsMeet() error {
	for i, a := range g.Bolts {
		for _, b := range g.Bolts[:i] {
			apart := r2.Norm(r2.Sub(a.At, b.At))
			socket := math.Max(a.Head.Socket+b.Head.Corners, a.Head.Corners+b.Head.Socket) / 2
			washers := (a.Head.Washer + b.Head.Washer) / 2
			switch {
			case apart < washers:
				return fmt.Errorf("the washers of holes %d and %d meet: the holes are %s mm apart and %s mm are needed; washers of %s mm would do", b.ID, a.ID, short(round(apart)), up(washers), down(apart))
			case apart < socket:
				return fmt.Errorf("no socket gets between the heads of holes %d and %d: they are %s mm apart and %s mm are needed; a socket of %s mm outer diameter would do", b.ID, a.ID, short(round(apart)), up(socket), down(2*apart-math.Max(a.Head.Corners, b.Head.Corners)))
			}
		}
	}
	return nil
}

func (g *Guard) flangeTooSmall() error {
	if need, by := g.flangeNeeds(); *g.Flange < need-1e-9 {
		return fmt.Errorf("a flange of %s mm is too small: %s %s mm", short(*g.Flange), by, up(need))
	}
	return nil
}

func (g *Guard) checkVents() []error {
	var problems []error
	if g.VentWidth > mostVent {
		problems = append(problems, fmt.Errorf("a finger gets into a slot %s mm wide: %s mm would do", short(g.VentWidth), short(mostVent)))
	}
	if g.VentWidth < leastVent {
		problems = append(problems, fmt.Errorf("a slot %s mm wide closes when it is made: %s mm would do", short(g.VentWidth), short(leastVent)))
	}
	width := math.Min(math.Max(g.VentWidth, leastVent), mostVent)
	if from, to := g.ventSpan(); to-from < 2*width {
		problems = append(problems, fmt.Errorf("the cap's side is too low for slots: %s mm of it are straight and %s mm are needed; leave the slots out", short(round(math.Max(to-from, 0))), up(2*width)))
	}
	// Between slots as much is left as the wall is thick, and as they are wide.
	most := int(2 * math.Pi * g.inside() / (width + math.Max(width, g.Wall)))
	if g.Vents > most {
		would := fmt.Sprintf("%s would do", plural(most, "1 slot", fmt.Sprintf("%d slots", most)))
		if most == 0 {
			would = "leave them out"
		}
		problems = append(problems, fmt.Errorf("%d slots leave too little of the cap's side: %s", g.Vents, would))
	}
	return problems
}

// round is a number to hundredths.
func round(mm float64) float64 { return math.Round(mm*100) / 100 }
