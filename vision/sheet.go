package vision

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Quad is the outline of a sheet or card: four sides that are straight but
// for the lens. Sides and corners are in order as one goes round the outline
// clockwise in the picture: the side that is the top one in the picture, the
// right one, the bottom one, the left one. Corner i is where side i begins.
type Quad struct {
	Sides  [4]Side
	Corner [4]r2.Vec // px, where the sides meet; rounded or hidden corners are made sharp
	Score  float64   // 0 to 1: how much of the outline is seen, whether the sides end at the corners, whether inside they border on one tone

	// Rivals share a side with this one, so that only one of them can be meant: a
	// card has a stripe along its edge. The likeliest first, and only a few.
	Rivals []Quad

	bowed [4]bowed // the sides as they were measured
}

// Side is one side of an outline.
type Side struct {
	// Edge holds the edge points along the side, from corner to corner, and
	// Weight how much each is to be trusted, relative to the others. What lies
	// near the corners is left out: they may be rounded, bent or held.
	Edge   []r2.Vec
	Weight []float64

	Seen     float64 // share of the side along which its edge stands out, 0 to 1
	Contrast float64 // grey levels a pixel across the edge, positive where the sheet is lighter than what it lies on
	Scatter  float64 // px, robust standard deviation of the edge points about the side
	Bow      float64 // px, how far the middle of the side lies outside the line between its ends
	Out      float64 // px, of an edge beside a side: how far outside of the side its middle lies
	Beside   []Side  // straight edges along the side, near it, from inside to outside, its own among them
	Across   Across  // the grey across it
}

// SideNames are the names of a quad's sides in their order.
var SideNames = [4]string{"top", "right", "bottom", "left"}

// ErrNoQuad says that a picture shows no outline of four sides.
var ErrNoQuad = errors.New("no sheet or card with four straight edges was found")

// FindQuads returns the outlines of sheets and cards in a picture, the
// likeliest first, and no more than a few. Of those that share a side the likeliest
// is returned, and the others are its rivals.
//
// Straight edges are found on a reduced picture by a Hough transform in which
// every edge pixel votes near the direction of its own gradient (R. Duda and
// P. Hart, Communications of the ACM 15 (1972) 11-15; F. O'Gorman and
// M. Clowes, IEEE Trans. Computers C-25 (1976) 449-456). Every four of them
// that close are judged: is the outline seen all along, do its edges stop at
// its corners (those of a table or of wood's grain run on), and is there the
// same paper inside along all four. The sides are then measured on the
// picture itself, each edge point where the grey is steepest across the side.
//
// The error wraps ErrNoQuad and says what was missing.
func FindQuads(pic *Picture) ([]Quad, error) {
	p, err := pic.pyramid()
	if err != nil {
		return nil, err
	}
	l := p.levels[len(p.levels)-1]
	for _, k := range p.levels {
		if max(k.w, k.h) <= quadSide {
			l = k
			break
		}
	}
	if min(l.w, l.h) < 32 {
		return nil, fmt.Errorf("%w: the picture is only %d × %d pixels", ErrNoQuad, p.levels[0].w, p.levels[0].h)
	}
	edges, err := newEdgeMap(l)
	if err != nil {
		return nil, err
	}
	lines := edges.lines()
	found, missing := edges.outlines(lines)
	var quads []Quad
	measured := 0
	for _, o := range found {
		if len(quads) == mostQuads || measured == mostMeasures {
			break
		}
		rough := Quad{}
		for i, c := range o.corner {
			rough.Corner[i] = l.up(c)
		}
		if k := slices.IndexFunc(quads, rough.sharesSide); k >= 0 && len(quads[k].Rivals) == mostRivals {
			continue
		}
		measured++
		q, ok := p.measureQuad(l, o)
		if !ok {
			continue
		}
		switch k := slices.IndexFunc(quads, q.sharesSide); {
		case k < 0:
			quads = append(quads, q)
		case !q.same(quads[k]) && !slices.ContainsFunc(quads[k].Rivals, q.same):
			quads[k].Rivals = append(quads[k].Rivals, q)
		}
	}
	slices.SortStableFunc(quads, func(a, b Quad) int { return cmp.Compare(b.Score, a.Score) })
	if len(quads) > 0 {
		for i := range quads {
			p.lookBeside(&quads[i])
			for k := range quads[i].Rivals {
				p.lookBeside(&quads[i].Rivals[k])
			}
		}
		return quads, nil
	}
	if missing >= 0 {
		return nil, fmt.Errorf("%w: three sides are seen, but not the %s one; the whole sheet must be in the picture, on a ground that it stands out from, with nothing along its edges", ErrNoQuad, SideNames[missing])
	}
	return nil, fmt.Errorf("%w; lay it flat on a plain ground that is darker or lighter than it, all of it in the picture, and light it evenly", ErrNoQuad)
}

const (
	quadSide  = 800 // px, the longer side of the level on which outlines are looked for
	mostQuads = 6

	mostRivals = 4

	mostMeasures = 24 // outlines that are measured to find them
)

// sharesSide says whether one edge is a side of both outlines, so that only
// one of them can be meant.
func (q Quad) sharesSide(o Quad) bool {
	near := 0.012 * q.size()
	for i := range q.Corner {
		a, b := q.Corner[i], q.Corner[(i+1)%4]
		u := r2.Unit(r2.Sub(b, a))
		for k := range o.Corner {
			c, d := o.Corner[k], o.Corner[(k+1)%4]
			if math.Abs(r2.Cross(u, r2.Sub(c, a))) < near && math.Abs(r2.Cross(u, r2.Sub(d, a))) < near && r2.Dot(u, r2.Sub(d, c)) > 0 {
				return true
			}
		}
	}
	return false
}

// same says whether two outlines have the same corners.
func (q Quad) same(o Quad) bool {
	for i := range q.Corner {
		if r2.Norm(r2.Sub(q.Corner[i], o.Corner[i])) > 0.012*q.size() {
			return false
		}
	}
	return true
}

// size is the mean length of the sides, px.
func (q Quad) size() float64 {
	sum := 0.0
	for i := range q.Corner {
		sum += r2.Norm(r2.Sub(q.Corner[(i+1)%4], q.Corner[i]))
	}
	return sum / 4
}

// Contains says whether the corners of another outline all lie in this one.
func (q Quad) Contains(o Quad) bool {
	for _, c := range o.Corner {
		for i := range q.Corner {
			if r2.Cross(r2.Sub(q.Corner[(i+1)%4], q.Corner[i]), r2.Sub(c, q.Corner[i])) < -0.01*q.size()*q.size() {
				return false
			}
		}
	}
	return true
}
