package draw

import (
	"bufio"
	"fmt"
	"io"
)

// WriteSCAD writes the pattern as an OpenSCAD file, in mm whatever the
// drawing's unit: parameters on top, and modules for the holes and for a plate
// that has them, seen from +z as on the drawing.
func (d *Drawing) WriteSCAD(w io.Writer) error {
	o := bufio.NewWriter(w)
	for _, note := range d.inMM().Notes {
		fmt.Fprintf(o, "// %s\n", note)
	}
	if d.Options.Mirror {
		fmt.Fprintln(o, "// +z looks at the side that lies on the face.")
	} else {
		fmt.Fprintln(o, "// +z looks away from the face; z = 0 lies on it.")
	}
	// One size for all is a parameter, several are in the table.
	clearance, why := 0.0, "0: each as in the table below"
	one := len(d.Options.Clearance) == 1
	if one {
		clearance = d.Options.Clearance[0]
		if d.Options.Size != "" {
			why = d.Options.Size + "; " + why
		}
	}
	fmt.Fprintf(o, `
// mm
clearance = %s; // diameter of the holes (%s)
allowance = %s; // added to each hole's diameter, for prints whose holes come out small
wall = 6; // material round the holes, where the rim is not known
thickness = 5; // of the plate
`, number(clearance), why, number(d.Options.Allowance))
	for _, f := range []struct {
		layer, name, about string
	}{{LayerRim, "rim", "outer diameter of the plate, as measured; 0: as wide as the holes and the wall need"}, {LayerBore, "bore", "diameter of the centre bore, as measured; 0: none"}} {
		var c Circle
		if on := d.on(f.layer); len(on) > 0 {
			c = on[0]
		}
		fmt.Fprintf(o, "%s = %s; // %s\n%s_at = [%s, %s];\n", f.name, number(c.Diameter), f.about, f.name, number(c.Centre.X), number(c.Centre.Y))
	}
	if c := d.Reading.PitchCircle; c != nil {
		fmt.Fprintf(o, "pcd = %s; // pitch circle diameter as measured, for your own use; the holes lie where they were measured\n", number(c.Diameter))
	}
	fmt.Fprintf(o, "\n// Each hole: x, y, diameter%s.\nholes = [\n", map[bool]string{true: " as measured", false: ""}[one || d.Options.Clearance == nil])
	for _, h := range d.Holes {
		size := h.Diameter - d.Options.Allowance
		if one {
			size = h.Measured.Diameter
		}
		fmt.Fprintf(o, "  [%s, %s, %s], // %d\n", number(h.Centre.X), number(h.Centre.Y), number(size), h.Measured.ID)
	}
	fmt.Fprint(o, scadModules)
	return o.Flush()
}

// inMM is the drawing with its notes in mm.
func (d *Drawing) inMM() *Drawing {
	mm := *d
	mm.Options.Unit = MM
	mm.Notes = nil
	mm.note()
	return &mm
}

// A polygon's flats, not its corners, are to be as far apart as the hole is
// wide: inscribed polygons would make every hole too small.
const scadModules = `];

$fn = 96;

function hole_diameter(hole) = (clearance > 0 ? clearance : hole[2]) + allowance;

// An opening whose sides, not its corners, lie on the diameter.
module opening(diameter) {
  circle(d = diameter / cos(180 / $fn));
}

// The holes, as an outline to subtract or to extrude.
module hole_pattern() {
  for (hole = holes) translate([hole[0], hole[1]]) opening(hole_diameter(hole));
}

// The part's outline without holes.
module outline() {
  if (rim > 0) {
    translate(rim_at) circle(d = rim);
  } else {
    hull() for (hole = holes) translate([hole[0], hole[1]]) circle(d = hole_diameter(hole) + 2 * wall);
  }
}

module plate() {
  linear_extrude(height = thickness) difference() {
    outline();
    hole_pattern();
    if (bore > 0) translate(bore_at) opening(bore);
  }
}

plate();
`
