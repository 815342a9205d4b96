package calib

import (
	"math"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// grid is a border of spots whose corner between two rows is the origin; the
// rows run along its two axes. Which corner of a frame that is, and whether of
// a frame at all, only the code says.
type grid struct {
	toPx  homography    // from grid steps to the picture
	on    map[cell]int  // which spot lies on a point of the grid
	cells map[cell]int  // those of them that seem to be on the border
	large map[cell]bool // whether the spot is as large as a large dot
}

// cornerCells are the grid's points that two rows lie on whose corner has the
// given places on them.
func cornerCells(a, b *row, cornerA, cornerB int) (map[cell]int, bool) {
	if !onArm(a, cornerA) || !onArm(b, cornerB) {
		return nil, false
	}
	cells := map[cell]int{}
	for k, i := range a.at {
		cells[cell{abs(a.index[k] - cornerA), 0}] = i
	}
	for k, i := range b.at {
		cells[cell{0, abs(b.index[k] - cornerB)}] = i
	}
	return cells, true
}

// oppositeCells are the grid's points that two opposite rows lie on, across
// places from each other, whose corners on one side have the given places.
func oppositeCells(a, b *row, cornerA, cornerB, across int) (map[cell]int, bool) {
	if !onArm(a, cornerA) || !onArm(b, cornerB) {
		return nil, false
	}
	// Both run the same way from their corners.
	wayA, wayB := a.index[0]+a.index[len(a.index)-1]-2*cornerA, b.index[0]+b.index[len(b.index)-1]-2*cornerB
	if (wayA > 0) == (wayB > 0) != (r2.Dot(a.forward(), b.forward()) > 0) {
		return nil, false
	}
	cells := map[cell]int{}
	for k, i := range a.at {
		cells[cell{abs(a.index[k] - cornerA), 0}] = i
	}
	for k, i := range b.at {
		cells[cell{abs(b.index[k] - cornerB), across}] = i
	}
	return cells, true
}

// gridOf follows a grid's points to the rest of the border.
func gridOf(spots []vision.Spot, cells map[cell]int) (*grid, bool) {
	g := &grid{cells: cells}
	for _, stray := range []float64{0.42, 0.35, 0.28, 0.22, 0.18} {
		if !g.fit(spots) {
			return nil, false
		}
		g.gather(spots, stray)
		if len(g.cells) < leastFrame {
			return nil, false
		}
	}
	if !g.fit(spots) {
		return nil, false
	}
	return g, g.classify(spots)
}

// leastFrame is how many dots are the least to know a frame by.
const leastFrame = 12

// onArm tells whether all spots of a row lie on one side of its corner.
func onArm(r *row, corner int) bool {
	first, last := r.index[0], r.index[len(r.index)-1]
	return (first >= corner || last <= corner) && max(abs(first-corner), abs(last-corner)) < mostAlong
}

func abs(i int) int { return max(i, -i) }

func (g *grid) fit(spots []vision.Spot) bool {
	var from, to []r2.Vec
	for c, i := range g.cells {
		from = append(from, r2.Vec{X: float64(c.i), Y: float64(c.j)})
		to = append(to, spots[i].Centre)
	}
	h, ok := direct(from, to)
	g.toPx = h
	return ok
}

// gather takes the spots that lie on the grid's points within a share of a
// step, and those on the border as cells.
func (g *grid) gather(spots []vision.Spot, stray float64) {
	off := map[cell]float64{}
	g.on = map[cell]int{}
	for i, s := range spots {
		p, w := g.toPx.invert(s.Centre)
		if !(w > 0) || !(math.Abs(p.X) < mostAlong && math.Abs(p.Y) < mostAlong) {
			continue
		}
		c := cell{int(math.Round(p.X)), int(math.Round(p.Y))}
		d := math.Hypot(p.X-float64(c.i), p.Y-float64(c.j))
		if c.i < 0 || c.j < 0 || d > stray {
			continue
		}
		if share := s.Area / g.cellArea(c); share < 0.07 || share > 0.6 {
			continue
		}
		if have, ok := off[c]; !ok || d < have {
			off[c], g.on[c] = d, i
		}
	}
	// A far side is where most spots lie in one line.
	var along, across [mostAlong + 1]int
	for c := range g.on {
		if c.i >= leastDots-1 {
			along[c.i]++
		}
		if c.j >= leastDots-1 {
			across[c.j]++
		}
	}
	right, below := farSide(along[:]), farSide(across[:])
	g.cells = map[cell]int{}
	for c, i := range g.on {
		if c.i == 0 || c.j == 0 || c.i == right || c.j == below {
			g.cells[c] = i
		}
	}
}

// farSide returns on which line most spots lie; −1 when they are too few.
func farSide(count []int) int {
	best := 0
	for i, n := range count {
		if n > count[best] {
			best = i
		}
	}
	if count[best] < 3 {
		return -1
	}
	return best
}

// cellArea returns the area (px) of a grid step's square around a point.
func (g *grid) cellArea(c cell) float64 {
	at := func(dx, dy float64) r2.Vec {
		p, _ := g.toPx.apply(r2.Vec{X: float64(c.i) + dx, Y: float64(c.j) + dy})
		return p
	}
	return math.Abs(r2.Cross(r2.Sub(at(0.5, 0), at(-0.5, 0)), r2.Sub(at(0, 0.5), at(0, -0.5))))
}

// classify tells large dots from small ones by the share of a grid step's
// square that they cover: two clusters, about 0.16 and 0.35. It fails where
// there are no two sizes.
func (g *grid) classify(spots []vision.Spot) bool {
	const smallShare, largeShare = math.Pi / 4 * smallDot * smallDot / (Pitch * Pitch), math.Pi / 4 * largeDot * largeDot / (Pitch * Pitch)
	limit := math.Sqrt(smallShare * largeShare)
	share := map[cell]float64{}
	for c, i := range g.cells {
		share[c] = spots[i].Area / g.cellArea(c)
	}
	var sum, n [2]float64
	for range 5 {
		sum, n = [2]float64{}, [2]float64{}
		for _, s := range share {
			k := 0
			if s > limit {
				k = 1
			}
			sum[k] += math.Log(s)
			n[k]++
		}
		if n[0] < leastOfASize || n[1] < leastOfASize {
			return false
		}
		limit = math.Exp((sum[0]/n[0] + sum[1]/n[1]) / 2)
	}
	g.large = map[cell]bool{}
	for c, i := range g.on {
		g.large[c] = spots[i].Area/g.cellArea(c) > limit
	}
	times := math.Exp(sum[1]/n[1] - sum[0]/n[0])
	return times > 1.5 && times < 3.2 // 2.1 as drawn; ink and blur change it
}

// leastOfASize is how many dots of either size the least part of a frame has.
const leastOfASize = 3
