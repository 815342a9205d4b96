package draw

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Pick says which of a drawing's circles are meant. Zero values leave a choice
// open.
type Pick struct {
	Layer     string
	Low, High float64 // diameters, mm
}

// alike (mm) is by how much diameters of one size differ at most.
const alike = 0.02

// Holes finds the n holes among the circles: those picked, if they are n; else
// those of the one size of which there are n. Of two sizes on the same centres
// (holes and their counterbores) it takes the smaller. Circles of several sizes
// are never taken unasked: one may be the bore or the outline.
func (c *Circles) Holes(n int, pick Pick) ([]Circle, error) {
	var in []Circle
	for _, k := range c.All {
		if (pick.Layer == "" || strings.EqualFold(pick.Layer, k.Layer)) && k.Diameter >= pick.Low && (pick.High == 0 || k.Diameter <= pick.High) {
			in = append(in, k)
		}
	}
	if picked := pick != (Pick{}); picked && len(in) == n {
		return in, nil
	}
	slices.SortStableFunc(in, func(a, b Circle) int { return cmp.Compare(a.Diameter, b.Diameter) })
	var sizes [][]Circle
	for i, k := range in {
		if i == 0 || k.Diameter-in[i-1].Diameter > alike {
			sizes = append(sizes, nil)
		}
		sizes[len(sizes)-1] = append(sizes[len(sizes)-1], k)
	}
	var fit [][]Circle
	for _, s := range sizes {
		if len(s) == n && (len(fit) == 0 || n == 1 || !concentric(fit[0], s)) {
			fit = append(fit, s)
		}
	}
	if len(fit) == 1 {
		return fit[0], nil
	}
	return nil, fmt.Errorf("the face has %d holes, and %s; say which circles are the part's holes by their diameter or layer", n, c.describe(sizes))
}

// concentric says whether each circle of a has one of b about its centre.
func concentric(a, b []Circle) bool {
	for _, p := range a {
		if !slices.ContainsFunc(b, func(q Circle) bool { return r2.Norm(r2.Sub(p.Centre, q.Centre)) < alike }) {
			return false
		}
	}
	return true
}

// describe lists what circles there are.
func (c *Circles) describe(sizes [][]Circle) string {
	if len(sizes) == 0 {
		var other []string
		for _, kind := range []string{"ARC", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE"} {
			if k := c.Other[kind]; k > 0 {
				other = append(other, fmt.Sprintf("%d %s", k, kind))
			}
		}
		text := "the drawing shows no such circle"
		if c.Hidden > 0 {
			text += fmt.Sprintf(" (%d are hidden or on layers that are off)", c.Hidden)
		}
		if len(other) > 0 {
			text += fmt.Sprintf(" (it has %s, which are not read: draw holes as circles)", strings.Join(other, ", "))
		}
		return text
	}
	var parts []string
	for _, s := range sizes[:min(len(sizes), 6)] {
		parts = append(parts, fmt.Sprintf("%d of %g mm", len(s), math.Round(s[0].Diameter*1000)/1000))
	}
	if len(sizes) > 6 {
		parts = append(parts, "more sizes")
	}
	return "the drawing shows circles of these sizes: " + strings.Join(parts, ", ")
}
