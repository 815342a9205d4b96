package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// outline is four lines of a level that close.
type outline struct {
	corner  [4]r2.Vec
	lighter [4]bool // is the sheet lighter than its ground along that side
	score   float64
}

const (
	leastSide  = 0.05 // of the picture's diagonal, the shortest side of an outline
	leastShare = 0.45 // of a side's length on which its edge must be seen
	leastMean  = 0.65 // and of all four on average
	leastScore = 0.35
	outBy      = 0.15 // of a side, how far a corner may lie outside the picture
)

// outlines judges every four lines that close and returns the best outlines,
// the likeliest first. Where there is none, missing is the side that the best
// of three sides lacks, or -1.
//
// A sheet is lighter than its ground on all sides, or darker. Only where no
// such outline is found are sides of both kinds taken together: a sheet half
// on a dark cloth.
func (m *edgeMap) outlines(lines []edgeLine) (found []outline, missing int) {
	j := &judge{edgeMap: m, missing: -1}
	j.all(lines)
	dark := make([]edgeLine, len(lines))
	for i, e := range lines {
		dark[i] = e.fromBehind()
	}
	j.all(dark)
	if len(j.found) == 0 {
		j.all(slices.Concat(lines, dark))
	}
	slices.SortFunc(j.found, func(a, b outline) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.corner[0].X, b.corner[0].X), cmp.Compare(a.corner[0].Y, b.corner[0].Y), cmp.Compare(a.corner[2].X, b.corner[2].X))
	})
	return j.found, j.missing
}

// fromBehind is the line with the darker side as its inside.
func (e edgeLine) fromBehind() edgeLine {
	n := len(e.seen) - 1
	e.normal, e.rho = r2.Scale(-1, e.normal), -e.rho
	back := make([]int, len(e.seen))
	for i := range back {
		back[i] = e.seen[n] - e.seen[n-i]
	}
	e.seen, e.from = back, -e.from-float64(n)
	e.turned = !e.turned
	return e
}

type judge struct {
	*edgeMap
	found       []outline
	missing     int
	bestMissing float64
}

// all judges every four lines whose normals point inwards.
func (j *judge) all(lines []edgeLine) {
	type pair struct{ a, b int }
	var pairs []pair
	diag := math.Hypot(float64(j.w), float64(j.h))
	middle := r2.Vec{X: float64(j.w) / 2, Y: float64(j.h) / 2}
	for a := range lines {
		for b := a + 1; b < len(lines); b++ {
			// Opposite sides face one another, up to strong perspective.
			if r2.Dot(lines[a].normal, lines[b].normal) > -0.64 {
				continue
			}
			apart := -(lines[a].rho - r2.Dot(lines[a].normal, middle)) - (lines[b].rho - r2.Dot(lines[b].normal, middle))
			if apart > leastSide*diag*0.7 {
				pairs = append(pairs, pair{a, b})
			}
		}
	}
	for i, p := range pairs {
		for _, q := range pairs[i+1:] {
			if p.a == q.a || p.a == q.b || p.b == q.a || p.b == q.b {
				continue
			}
			if math.Abs(r2.Dot(lines[p.a].normal, lines[q.a].normal)) > 0.8 {
				continue
			}
			j.four([4]edgeLine{lines[p.a], lines[q.a], lines[p.b], lines[q.b]})
		}
	}
}

// four judges four lines of which 0 and 2, and 1 and 3, are opposite.
func (j *judge) four(e [4]edgeLine) {
	if r2.Cross(e[0].normal, e[1].normal) < 0 {
		e[1], e[3] = e[3], e[1]
	}
	// Clockwise in the picture (y down), each normal is the one before it
	// turned clockwise. The top side's normal points down.
	top := 0
	for i := range e {
		if e[i].normal.Y > e[top].normal.Y {
			top = i
		}
	}
	e = [4]edgeLine{e[top], e[(top+1)%4], e[(top+2)%4], e[(top+3)%4]}
	var o outline
	for i := range e {
		c, ok := meet(e[(i+3)%4], e[i])
		if !ok {
			return
		}
		o.corner[i] = c
	}
	diag := math.Hypot(float64(j.w), float64(j.h))
	var share [4]float64
	mean, runsOn, misses, unseen := 0.0, 0.0, 0.0, -1
	for i := range e {
		a, b := o.corner[i], o.corner[(i+1)%4]
		long := r2.Norm(r2.Sub(b, a))
		// The inside is on the right hand of who goes round clockwise.
		if long < leastSide*diag || r2.Dot(r2.Sub(b, a), e[i].along()) < 0 {
			return
		}
		if out := max(-a.X, -a.Y, a.X-float64(j.w), a.Y-float64(j.h)); out > outBy*long {
			return
		}
		from, to := e[i].at(a), e[i].at(b)
		share[i] = e[i].share(from+0.03*long, to-0.03*long)
		if share[i] < leastShare {
			if unseen >= 0 {
				return
			}
			unseen = i
		}
		mean += share[i] / 4
		beyond := math.Max(0.1*long, 8)
		runsOn += (e[i].share(from-beyond-4, from-4) + e[i].share(to+4, to+beyond+4)) / 8
		// An edge of something else may end a little before a corner or after it.
		near := math.Max(0.06*long, 8)
		misses += (2 - e[i].share(from+2, from+near) - e[i].share(to-near, to-2) + e[i].share(from-near, from-3) + e[i].share(to+3, to+near)) / 16
	}
	if unseen >= 0 {
		if three := mean - share[unseen]/4; three > max(0.55, j.bestMissing) {
			j.bestMissing, j.missing = three, unseen
		}
		return
	}
	if mean < leastMean {
		return
	}
	o.score = mean * math.Sqrt(slices.Min(share[:])) * (1 - 0.6*runsOn) * (1 - 0.3*misses)
	if o.score < leastScore {
		return
	}
	for i := range e {
		o.lighter[i] = !e[i].turned
	}
	o.score *= j.oneTone(o)
	if o.score >= leastScore {
		j.found = append(j.found, o)
	}
}

// oneTone is near 1 where the grey just inside all four sides is the same,
// compared with the step across them, and falls off where it is not: then one
// of the sides is another thing's.
func (j *judge) oneTone(o outline) float64 {
	var inside [4]float64
	step := 0.0
	for i := range o.corner {
		a, b := o.corner[i], o.corner[(i+1)%4]
		u := r2.Unit(r2.Sub(b, a))
		in := r2.Vec{X: -u.Y, Y: u.X}
		var ins, outs []float64
		for k := 1; k < 20; k++ {
			p := r2.Add(a, r2.Scale(float64(k)/20, r2.Sub(b, a)))
			for _, d := range []float64{3, 4, 5} {
				if v, ok := j.grey(r2.Add(p, r2.Scale(d, in))); ok {
					ins = append(ins, v)
				}
				if v, ok := j.grey(r2.Sub(p, r2.Scale(d, in))); ok {
					outs = append(outs, v)
				}
			}
		}
		inside[i] = median(ins)
		step += math.Abs(inside[i]-median(outs)) / 4
	}
	spread := (slices.Max(inside[:]) - slices.Min(inside[:])) / math.Max(step, 1)
	return 1 / (1 + 0.35*spread*spread)
}

func (j *judge) grey(p r2.Vec) (float64, bool) {
	x, y := int(math.Floor(p.X)), int(math.Floor(p.Y))
	if x < 0 || y < 0 || x >= j.w || y >= j.h {
		return 0, false
	}
	return float64(j.blur[y*j.w+x]), true
}

// meet is where two lines cross.
func meet(a, b edgeLine) (r2.Vec, bool) {
	det := r2.Cross(a.normal, b.normal)
	if math.Abs(det) < 0.1 {
		return r2.Vec{}, false
	}
	return r2.Vec{
		X: (a.rho*b.normal.Y - b.rho*a.normal.Y) / det,
		Y: (b.rho*a.normal.X - a.rho*b.normal.X) / det,
	}, true
}
