package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	besideNoise = 3.0  // times the usual slope that a place has which is an edge
	besideLean  = 16   // px, how far such an edge may lean over half the side
	besideNear  = 1.5  // px, how near to a line a place is that belongs to it
	besideSeen  = 0.55 // of the side, along which such an edge must be seen
	mostBeside  = 6
)

// lookBeside looks at what lies along the sides of an outline.
func (p *pyramid) lookBeside(q *Quad) {
	short := math.Inf(1)
	for i := range q.Corner {
		short = min(short, r2.Norm(r2.Sub(q.Corner[(i+1)%4], q.Corner[i])))
	}
	each(4, func(i int) {
		q.Sides[i].Across = p.across(q.bowed[i], acrossReach*short)
		q.Sides[i].Beside = p.beside(q.bowed[i], acrossReach*short)
	})
}

// beside returns the straight edges that run along a side within reach px to
// either hand, from inside to outside, the side's own among them: the foot of a
// thick sheet, its shadow, a line printed along it. What was measured as one
// side may be partly the one and partly the other.
//
// At each of many stations every steep place across the side is marked, and each
// votes for the lines that it may be of (Duda and Hart, see [FindQuads]); the
// line of most votes takes its places with it.
func (p *pyramid) beside(s bowed, reach float64) []Side {
	l := p.levels[0]
	along, out := s.unit()
	long := r2.Norm(r2.Sub(s.b, s.a))
	n := min(max(int(long/4), 24), 240)
	places, ok := l.steepPlaces(s, n, reach)
	if !ok {
		return nil
	}
	var found []Side
	for len(found) < mostBeside {
		at, lean, sign, votes := mostVotes(places, n, reach)
		if float64(votes) < besideSeen*float64(n) {
			break
		}
		line := s
		line.poly[0] += at
		line.poly[1] += lean
		looks := make([]station, n)
		for k := range places {
			for i, c := range places[k] {
				off := c.off - at - lean*(2*c.t-1)
				if c.strength*sign <= 0 || math.Abs(off) > besideNear {
					continue
				}
				if !looks[k].ok || c.strength*sign > looks[k].strength {
					looks[k] = station{true, c.t, c.at, off, c.strength * sign}
				}
				places[k][i].ok = false
			}
			places[k] = slices.DeleteFunc(places[k], func(c station) bool { return !c.ok })
		}
		side, ok := line.fit(looks, along, out, long, 1)
		if !ok {
			continue
		}
		side.Contrast *= -sign
		side.Out = at
		found = append(found, side)
	}
	slices.SortFunc(found, func(a, b Side) int { return cmp.Compare(a.Out, b.Out) })
	return found
}

// steepPlaces are the places at which the grey is steepest across a side, at
// each of n stations along it; strength is the slope outwards.
func (l level) steepPlaces(s bowed, n int, reach float64) ([][]station, bool) {
	along, out := s.unit()
	long := r2.Norm(r2.Sub(s.b, s.a))
	half := int(math.Ceil(reach / acrossStep))
	kernel := slopeKernel(acrossStep, 1.3)
	places := make([][]station, n)
	var usual []float64
	width := long * (1 - 2*cornerShare) / float64(n)
	rays := min(max(int(math.Round(width)), 1), 8)
	profile := make([]float64, 2*half+1)
	for k := range n {
		t := cornerShare + (1-2*cornerShare)*(float64(k)+0.5)/float64(n)
		at := r2.Add(s.a, r2.Add(r2.Scale(t*long, along), r2.Scale(s.off(t), out)))
		clear(profile)
		for r := range rays {
			c := r2.Add(at, r2.Scale(width*((float64(r)+0.5)/float64(rays)-0.5), along))
			for i := range profile {
				d := float64(i-half) * acrossStep
				v, ok := l.sample(c.X+d*out.X, c.Y+d*out.Y)
				if !ok {
					return nil, false
				}
				profile[i] += v / float64(rays)
			}
		}
		d := slopeAlong(profile, kernel)
		for i := 1; i+1 < len(d); i++ {
			if i%4 == 0 {
				usual = append(usual, math.Abs(d[i]))
			}
			v := math.Abs(d[i])
			if v < math.Abs(d[i-1]) || v <= math.Abs(d[i+1]) {
				continue
			}
			a, c := math.Abs(d[i-1]), math.Abs(d[i+1])
			shift := 0.0
			if bend := a - 2*v + c; bend < 0 {
				shift = min(max((a-c)/(2*bend), -0.5), 0.5)
			}
			off := (float64(i-half) + shift) * acrossStep
			places[k] = append(places[k], station{true, t, r2.Add(at, r2.Scale(off, out)), off, d[i]})
		}
	}
	least := math.Max(besideNoise*median(usual), leastContrast)
	for k := range places {
		places[k] = slices.DeleteFunc(places[k], func(c station) bool { return math.Abs(c.strength) < least })
	}
	return places, true
}

// mostVotes is the line that most stations vote for: how far outside of the side
// its middle lies, how far it leans outwards over the half of it, px, and whether
// the grey rises or falls outwards.
func mostVotes(places [][]station, n int, reach float64) (at, lean, sign float64, votes int) {
	half := int(math.Ceil(reach)) + besideLean
	wide := 2*half + 1
	for _, rising := range []float64{1, -1} {
		count := make([]int, wide*(2*besideLean+1))
		last := make([]int, len(count)) // the station that voted last, from 1
		for k, of := range places {
			for _, c := range of {
				if c.strength*rising <= 0 {
					continue
				}
				for j := -besideLean; j <= besideLean; j++ {
					m := c.off - float64(j)*(2*c.t-1)
					lo, hi := int(math.Floor(m)), int(math.Ceil(m))
					for i := lo; i <= hi; i++ {
						b := (j+besideLean)*wide + i + half
						if i+half < 0 || i+half >= wide || last[b] == k+1 {
							continue
						}
						last[b] = k + 1
						if count[b]++; count[b] > votes {
							votes, at, lean, sign = count[b], float64(i), float64(j), rising
						}
					}
				}
			}
		}
	}
	return at, lean, sign, votes
}
