package vision

import (
	"cmp"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// FindMouth looks for the edges of something deep: circles of radii between from
// and to whose centres lie on the way from one place to another, or as far as
// about beside it (px). Their inside may be darker on one side and lighter on the
// other, as a bore's wall is that is lit from aside.
//
// On a reduced picture for each centre and radius it is counted along how much of
// the rim the grey is steepest just there, whichever way it goes. What stands out
// is then measured finely.
func FindMouth(pic *Picture, way [2]r2.Vec, about, from, to float64) ([]Mark, error) {
	p, err := pic.pyramid()
	if err != nil || !(to > from) || !(from > 0) {
		return nil, err
	}
	// All are looked for on one level, on which faint edges stand out, and small
	// ones on finer levels than large ones once more.
	var starts []candidate
	if to <= mouthBand*from || to > mouthBand*mouthBand*from {
		starts = p.mouths(way, about, from, to)
	}
	for lo := from; lo < to && to > mouthBand*from; lo *= mouthBand {
		starts = append(starts, p.mouths(way, about, lo, min(mouthBand*lo, to))...)
	}
	return p.mouthsAtAll(starts), nil
}

const (
	mouthRadius  = 90.0 // px of the level, of the largest circle that is looked for
	mouthBand    = 1.5  // times as large as the smallest is the largest that is looked for at once
	mouthSectors = 72
	mouthStep    = 1.5   // px of the level, from centre to centre
	mouthSeen    = 0.6   // of the rim, along which a mouth must be seen
	mouthScatter = 0.012 // and how round it must be, over its radius
	mouthNoise   = 2.5   // times the usual slope that an edge has
	mostMouths   = 8     // places of each band that are measured
	mouthScore   = 3.0   // a mark's score for each time that it is seen more than any circle here

	fineRadius  = 140.0 // px of the level, of a circle that is measured
	fineSectors = 96
	fineReach   = 0.06 // of the radius, how far about a start edges are taken
	fineAside   = 5    // px, how far a centre may be from the start's
	fineNear    = 1.2  // px, how near to a circle an edge is that is of it
	mostAtStart = 4    // circles about one start
)

// mouths are the places and radii about which an edge stands out along most of
// the rim, the most so first.
func (p *pyramid) mouths(way [2]r2.Vec, about, from, to float64) []candidate {
	l := p.fit(to, mouthRadius)
	scale := (l.sx + l.sy) / 2
	first := math.Max(from*scale, 3)
	n := int(to*scale-first) + 1
	if n < 3 {
		return nil
	}
	type place struct {
		centre r2.Vec
		share  float64
	}
	best := make([]place, n)
	all := 0.0
	path := placesOn(way, about, mouthStep/scale)
	shares := make([][]float64, len(path))
	each(len(path), func(k int) { shares[k] = l.steepShares(l.down(path[k]), first, n) })
	for k, c := range path {
		for i, v := range shares[k] {
			if v > best[i].share {
				best[i] = place{c, v}
			}
			all += v
		}
	}
	usual := math.Max(all/float64(n*len(path)), 0.05)
	var out []candidate
	for i, b := range best {
		if b.share < 0.8*mouthSeen || i > 0 && best[i-1].share > b.share || i+1 < n && best[i+1].share >= b.share {
			continue
		}
		out = append(out, candidate{centre: b.centre, radius: (first + float64(i)) / scale, z: mouthScore * b.share / usual})
	}
	slices.SortStableFunc(out, func(a, b candidate) int { return cmp.Compare(b.z, a.z) })
	return out[:min(len(out), mostMouths)]
}

// placesOn are places at most a step apart on a way, and as far as about beside it.
func placesOn(way [2]r2.Vec, about, step float64) []r2.Vec {
	steps, beside := math.Ceil(r2.Norm(r2.Sub(way[1], way[0]))/step), math.Ceil(about/step)
	var places []r2.Vec
	for k := 0.0; k <= steps; k++ {
		on := r2.Add(way[0], r2.Scale(k/max(steps, 1), r2.Sub(way[1], way[0])))
		for x := -beside; x <= beside; x++ {
			for y := -beside; y <= beside; y++ {
				places = append(places, r2.Add(on, r2.Scale(about/max(beside, 1), r2.Vec{X: x, Y: y})))
			}
		}
	}
	return places
}

// steepShares are the shares of the rim on which the grey is steepest within a
// pixel of circles about a point of the level, of the radii first, first+1, …
func (l level) steepShares(at r2.Vec, first float64, n int) []float64 {
	const step = 0.5
	u := unroll(l, circle.Circle{Centre: at, Radius: first + float64(n-1)/2}, oval{}, mouthSectors, float64(n)/2+2, step)
	out := make([]float64, n)
	seen := make([]bool, n)
	for _, places := range u.steepPlaces(u.slopes(1/step), 0) {
		clear(seen)
		for _, e := range places {
			r := e.radius - first
			for k := max(int(math.Ceil(r-1)), 0); k <= min(int(math.Floor(r+1)), n-1); k++ {
				seen[k] = true
			}
		}
		for k, s := range seen {
			if s {
				out[k] += 1 / float64(mouthSectors)
			}
		}
	}
	return out
}

// steepPlace is where the grey is steepest along a ray, either way.
type steepPlace struct{ radius, strength float64 } // level px; grey levels a level px

// steepPlaces are the steep places of each sector, by the sectors' slopes: those of
// a sign, or for zero of either.
func (u unrolled) steepPlaces(slopes [][]float64, sign float64) [][]steepPlace {
	var usual []float64
	for _, p := range slopes {
		for i := range p {
			signed := p[i]
			p[i] = math.Abs(signed)
			if i%3 == 0 {
				usual = append(usual, p[i])
			}
			if sign*signed < 0 {
				p[i] = 0
			}
		}
	}
	least := math.Max(mouthNoise*median(usual), leastContrast)
	out := make([][]steepPlace, len(slopes))
	for s, p := range slopes {
		for i := 1; i+1 < len(p); i++ {
			if p[i] < least || p[i] < p[i-1] || p[i] <= p[i+1] {
				continue
			}
			shift := 0.0
			if bend := p[i-1] - 2*p[i] + p[i+1]; bend < 0 {
				shift = min(max((p[i-1]-p[i+1])/(2*bend), -0.5), 0.5)
			}
			out[s] = append(out[s], steepPlace{u.inner + (float64(i)+shift)*u.step, p[i]})
		}
	}
	return out
}

// mouthsAtAll are the clear ones of the circles near some starts.
func (p *pyramid) mouthsAtAll(starts []candidate) []Mark {
	found := make([][]Mark, len(starts))
	each(len(starts), func(i int) { found[i] = p.mouthsAt(starts[i]) })
	return slices.DeleteFunc(distinct(slices.Concat(found...)), func(m Mark) bool {
		return m.RimSeen < mouthSeen || m.Scatter > mouthScatter*m.Radius
	})
}

// mouthsAt are the circles near a start on which edges lie along most of the rim.
// A mouth and what lies close within it are told apart by that each steep place
// votes for the circles that it may be on: the steepest in each sector would be
// now of the one and now of the other.
//
// With a sign only edges of that sign count.
func (p *pyramid) mouthsAt(start candidate) []Mark {
	l := p.fit(start.radius, fineRadius)
	about := circle.Circle{Centre: l.down(start.centre), Radius: start.radius * (l.sx + l.sy) / 2}
	const step, sigma = 0.5, 1.3
	reach := math.Max(fineReach*about.Radius, 4)
	u := unroll(l, about, oval{}, fineSectors, reach+fineAside+3*sigma, step)
	places := u.steepPlaces(smoothAround(u.slopes(sigma/step), 3), start.sign)
	var marks []Mark
	for range mostAtStart {
		voted, votes := u.votedCircle(places, reach)
		if float64(votes) < mouthSeen*fineSectors {
			break
		}
		r := u.takeOf(places, voted)
		fit, err := circle.Robust(voted, r.points, bounded(r.strength), 0.1)
		if err != nil {
			continue
		}
		r.fit = fit
		marks = append(marks, r.mark(l, candidate{z: start.z, sign: start.sign}))
	}
	return marks
}

// votedCircle is the circle on which places of the most sectors lie, and how
// many these are.
func (u unrolled) votedCircle(places [][]steepPlace, reach float64) (voted circle.Circle, votes int) {
	half := int(math.Ceil(reach))
	count, last := make([]int, 2*half+1), make([]int, 2*half+1)
	for dy := -fineAside; dy <= fineAside; dy++ {
		for dx := -fineAside; dx <= fineAside; dx++ {
			clear(count)
			clear(last)
			for s, of := range places {
				sin, cos := math.Sincos(u.direction(s))
				for _, e := range of {
					d := e.radius - float64(dx)*cos - float64(dy)*sin - u.about.Radius
					for k := int(math.Floor(d)) + half; k <= int(math.Ceil(d))+half; k++ {
						if k < 0 || k >= len(count) || last[k] == s+1 {
							continue
						}
						last[k] = s + 1
						if count[k]++; count[k] > votes {
							votes = count[k]
							voted = circle.Circle{
								Centre: r2.Add(u.about.Centre, r2.Vec{X: float64(dx), Y: float64(dy)}),
								Radius: u.about.Radius + float64(k-half),
							}
						}
					}
				}
			}
		}
	}
	return voted, votes
}

// takeOf takes the places on a circle, the nearest of each sector, as a rim.
func (u unrolled) takeOf(places [][]steepPlace, on circle.Circle) rim {
	r := rim{sectors: len(places)}
	for s, of := range places {
		sin, cos := math.Sincos(u.direction(s))
		var rest []steepPlace
		var point r2.Vec
		strength, near := 0.0, fineNear
		for _, e := range of {
			at := r2.Vec{X: u.about.Centre.X + e.radius*cos, Y: u.about.Centre.Y + e.radius*sin}
			off := math.Abs(on.Distance(at))
			if off >= fineNear {
				rest = append(rest, e)
			} else if off < near {
				point, strength, near = at, e.strength, off
			}
		}
		places[s] = rest
		if strength > 0 {
			r.sector, r.points, r.strength = append(r.sector, s), append(r.points, point), append(r.strength, strength)
		}
	}
	return r
}
