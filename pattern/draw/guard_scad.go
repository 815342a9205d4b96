package draw

import (
	"bufio"
	"fmt"
	"io"
	"math"
)

// Cautions are what whoever makes or uses the guard must be told.
func (g *Guard) Cautions() []string {
	rule := fmt.Sprintf("It projects %s mm, more than half its diameter", short(g.Projects))
	if g.Projects <= g.Shaft/2 {
		rule = fmt.Sprintf("It projects %s mm, no more than half its diameter", short(g.Projects))
	}
	return []string{
		"Before you measure, fit or remove the guard, switch the machine off and lock it out.",
		"Plastic creeps with heat, so that bolts come loose and a cap sags, and is brittle when cold. It is no substitute where a rated guard is required.",
		// WAC 296-806-30030: its text was read. 29 CFR 1910.219(c)(4): from memory,
		// but for the safety sleeve, which the agency's letter of 24 June 1977 explains.
		"A projecting shaft end must have a smooth edge and end and project no more than half the shaft's diameter, or be guarded by a nonrotating cap or safety sleeve (WAC 296-806-30030; 29 CFR 1910.219(c)(4)). " + rule + ".",
		"Turn the shaft by hand before you switch on: nothing may touch. Keys, set screws and couplings on it need room that this guard does not know of.",
		"Local codes and licensed practice decide whether this guard will do.",
	}
}

// Notes are what its maker should know of this guard.
func (g *Guard) Notes() []string {
	notes := []string{
		fmt.Sprintf("The cap is closed at its end, stands %s mm out of the face and is %s mm wide; the flange is %s mm wide and %s mm thick. Volume %s cm³.",
			short(round(g.height())), short(round(2*g.outside())), short(round(*g.Flange)), short(round(g.Thickness)), short(round(g.Volume()/1000))),
		fmt.Sprintf("Running clearance %s mm in radius and %s mm past the shaft's end; with the bolts' play of %s mm%s, %s mm in radius are left at worst.",
			short(g.RunRadius), short(g.RunLength), short(round(g.play())), g.doubt(), short(round(g.Left()))),
		"The shaft's place is " + g.ShaftFrom + ".",
		g.seats(),
	}
	if worst := g.worstU95(); worst > g.play() {
		notes = append(notes, fmt.Sprintf("The holes are known to ±%s mm only, and the bolts' play is %s mm: the guard may not go on. Choose looser holes, or ask boltrose mate.", short(round(worst)), short(round(g.play()))))
	}
	if g.rim != nil {
		if over := *g.Flange/2 - (g.rim.Diameter/2 - math.Hypot(g.rim.X, g.rim.Y)); over > 0.05 {
			notes = append(notes, fmt.Sprintf("The flange stands up to %s mm over the face's rim.", short(round(over))))
		}
	}
	if g.Vents > 0 {
		notes = append(notes, fmt.Sprintf("%d slots of %s mm in the cap's side: no finger gets in (ISO 13857: up to 4 mm, a fingertip reaches less than 2 mm deep), but water, dust and thin things do.", g.Vents, short(g.VentWidth)))
	}
	return notes
}

// seats says what room the bolts have: sockets differ by their makers.
func (g *Guard) seats() string {
	washer, socket := 0.0, 0.0
	for _, b := range g.Bolts {
		washer, socket = math.Max(washer, b.Head.Washer), math.Max(socket, b.Head.Socket)
	}
	return fmt.Sprintf("The bolts have room for washers of %s mm and a socket of %s mm outer diameter: measure yours.", short(round(washer)), short(round(socket)))
}

// doubt says how surely the shaft's place is known.
func (g *Guard) doubt() string {
	if g.ShaftAtU95 == 0 {
		return ""
	}
	return fmt.Sprintf(" and the doubt about the shaft's place of %s mm", short(round(g.ShaftAtU95)))
}

// worstU95 is the largest uncertainty of a hole's place.
func (g *Guard) worstU95() float64 {
	worst := 0.0
	for _, b := range g.Bolts {
		worst = math.Max(worst, b.U95)
	}
	return worst
}

// WriteSCAD writes the guard as an OpenSCAD file whose parameters can be
// changed; what cannot work then fails with a message there too.
func (g *Guard) WriteSCAD(w io.Writer) error {
	o := bufio.NewWriter(w)
	fmt.Fprintln(o, "// Guard for a shaft end, in mm. z = 0 lies on the face, +z looks away from it.")
	if g.source != "" {
		fmt.Fprintf(o, "// Holes as measured: %s.\n", clean(g.source, 60))
	}
	fmt.Fprintln(o, "//")
	for _, group := range [][]string{g.Notes(), g.Cautions()} {
		for _, note := range group {
			for i, line := range wrapped(note, 74) {
				fmt.Fprintf(o, "// %s %s\n", map[bool]string{true: "-", false: " "}[i == 0], line)
			}
		}
		fmt.Fprintln(o, "//")
	}
	fmt.Fprintf(o, `
shaft_diameter = %s;
shaft_projects = %s; // out of the face
running_radius = %s; // clearance round the shaft
running_length = %s; // clearance past its end
least_running = %s; // of running_radius: the bolts' play, the doubt about the shaft's place, and %s
wall = %s; // of the cap
thickness = %s; // of the flange
flange_diameter = %s;
foot = %s; // radius between flange and cap
allowance = %s; // added to each hole's diameter, for prints whose holes come out small
vents = %d; // slots in the cap's side
vent_width = %s;
$fn = 96;

shaft_at = [%s, %s]; // %s

// Each hole: x, y, diameter, seat that its washer and a socket need.
holes = [
`, number(g.Shaft), number(g.Projects), number(g.RunRadius), number(g.RunLength), number(g.leastRunning()), short(leastLeft), number(g.Wall), number(g.Thickness),
		number(*g.Flange), number(*g.Foot), number(g.Allowance), g.Vents, number(g.VentWidth), number(g.ShaftAt.X), number(g.ShaftAt.Y), clean(g.ShaftFrom, 200))
	for _, b := range g.Bolts {
		fmt.Fprintf(o, "  [%s, %s, %s, %s], // %d\n", number(b.At.X), number(b.At.Y), number(b.Hole), number(b.seat()), b.ID)
	}
	fmt.Fprintf(o, guardModules, number(mostEdge), number(leastWall), number(leastWall), number(leastEnd), number(leastFoot), number(leastFoot), number(mostVent))
	return o.Flush()
}

// guardModules repeat the arithmetic of Guard, so that the parameters stay
// free; a test holds the volumes of both together.
const guardModules = `];

inside = shaft_diameter / 2 + running_radius; // radii of the cap
outside = inside + wall;
depth = shaft_projects + running_length;
height = depth + wall;
edge = min(thickness / 2, %s); // radius of the flange's rim
inner = min(running_radius, running_length); // radius inside the closed end
outer = min(inner + wall, height - thickness - foot); // radius outside
vent_from = thickness + foot + wall / 2;
vent_to = min(depth - inner, height - outer) - wall / 2;

slack = 0.001; // for numbers that were rounded when this file was written
assert(wall >= %s, "the wall is too thin");
assert(thickness >= %s, "the flange is too thin");
assert(running_radius >= least_running - slack, "the cap would touch the shaft");
assert(running_length >= %s, "the cap's end would touch the shaft");
assert(foot >= %s && outer >= %s - slack, "the cap stands out too little to be rounded");
for (hole = holes) {
  assert(norm([hole[0], hole[1]] - shaft_at) >= outside + foot + hole[3] / 2 - slack, "the cap meets a bolt's head");
  assert(flange_diameter / 2 >= norm([hole[0], hole[1]]) + max(hole[3] / 2 + edge, 1.5 * (hole[2] + allowance)) - slack, "the flange is too small for the holes");
}
assert(flange_diameter / 2 >= norm(shaft_at) + outside + foot + edge - slack, "the flange is too small for the cap");
assert(vents == 0 || vent_width <= %s && vent_to - vent_from >= 2 * vent_width, "a finger gets into the slots, or the cap is too low for them");

// Points on an arc, from angle a to angle b.
steps = ceil($fn / 4);
function arc(centre, radius, a, b) = [for (i = [0:steps])
  let (angle = a + (b - a) * i / steps) centre + radius * [cos(angle), sin(angle)]];

// So much wider a polygon must be for its sides to lie on the circle.
clear = 1 / cos(180 / $fn);

module flange() {
  radius = flange_diameter / 2;
  rotate_extrude() polygon(concat([[0, 0], [radius, 0]],
    arc([radius - edge, thickness - edge], edge, 0, 90), [[0, thickness]]));
}

module cap() {
  rotate_extrude() polygon(concat([[0, 0], [outside + foot, 0]],
    arc([outside + foot, thickness + foot], foot, 270, 180),
    arc([outside - outer, height - outer], outer, 0, 90), [[0, height]]));
}

module cavity() {
  scale([clear, clear, 1]) rotate_extrude() polygon(concat([[0, -1], [inside, -1]],
    arc([inside - inner, depth - inner], inner, 0, 90), [[0, depth]]));
}

module hole_pattern() {
  for (hole = holes) translate([hole[0], hole[1], -1])
    cylinder(d = (hole[2] + allowance) * clear, h = thickness + 2);
}

module slots() {
  if (vents > 0) for (i = [0 : vents - 1]) rotate((i + 0.5) * 360 / vents) hull()
    for (z = [vent_from, vent_to]) translate([inside / 2, 0, z + (z == vent_from ? 1 : -1) * vent_width / 2])
      rotate([0, 90, 0]) cylinder(d = vent_width, h = outside);
}

module guard() {
  difference() {
    union() {
      flange();
      translate(shaft_at) cap();
    }
    translate(shaft_at) cavity();
    translate(shaft_at) slots();
    hole_pattern();
  }
}

guard();
`
