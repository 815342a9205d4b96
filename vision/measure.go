package vision

import (
	"cmp"
	"math"
	"slices"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/spatial/r2"
)

// unrolled is the ring-shaped neighbourhood of a circle, cut open: one
// averaged profile from inside to outside for each sector of the rim.
type unrolled struct {
	about   circle.Circle // level px
	oval    oval
	inner   float64 // radius of the first sample, level px, where the circle is not oval
	step    float64 // radial distance between samples, level px
	samples int
	profile [][]float64 // per sector; nil where the picture ends
}

// oval is how much farther out a rim lies than its circle, in the directions
// 0° and 45°, and so much nearer a quarter of a turn on: axes of two scales
// make a circle so. Level px.
type oval struct{ at0, at45 float64 }

func (o oval) towards(sin, cos float64) float64 {
	return o.at0*(cos*cos-sin*sin) + o.at45*2*sin*cos
}

// unroll averages the rays of each sector over radii within reach of the
// circle (level px).
func unroll(l level, c circle.Circle, o oval, sectors int, reach, step float64) unrolled {
	u := unrolled{about: c, oval: o, inner: math.Max(c.Radius-reach, 0.5), step: step}
	u.samples = int(math.Round((c.Radius+reach-u.inner)/step)) + 1
	rays := max(1, int(math.Ceil(2*math.Pi*c.Radius/float64(sectors))))
	u.profile = make([][]float64, sectors)
	buf := make([]float64, sectors*u.samples)
	// The ray's direction, turned on by one ray at a time.
	turn := 2 * math.Pi / float64(sectors*rays)
	sin, cos := math.Sincos(turn / 2)
	turnSin, turnCos := math.Sincos(turn)
	for s := range sectors {
		p := buf[s*u.samples : (s+1)*u.samples]
		inside := true
		for range rays {
			out := o.towards(sin, cos)
			from := r2.Vec{X: c.Centre.X + (u.inner+out)*cos, Y: c.Centre.Y + (u.inner+out)*sin}
			along := r2.Vec{X: step * cos, Y: step * sin}
			if !l.addRay(p, from, along) {
				// Where the ray ends, so does what is known; a rim that lies
				// beyond the picture's edge is not seen.
				if _, ok := l.sample(c.Centre.X+(c.Radius+out)*cos, c.Centre.Y+(c.Radius+out)*sin); !ok {
					inside = false
				}
				last := 0.0
				for i := range p {
					if v, ok := l.sample(from.X, from.Y); ok {
						last = v
					}
					p[i] += last
					from = r2.Add(from, along)
				}
			}
			sin, cos = sin*turnCos+cos*turnSin, cos*turnCos-sin*turnSin
		}
		for i := range p {
			p[i] /= float64(rays)
		}
		if inside {
			u.profile[s] = p
		}
	}
	return u
}

// direction returns the angle of the middle of sector s.
func (u unrolled) direction(s int) float64 {
	return 2 * math.Pi * (float64(s) + 0.5) / float64(len(u.profile))
}

// slopes returns the profiles' outward slope, smoothed over sigma samples.
func (u unrolled) slopes(sigma float64) [][]float64 {
	half := int(math.Ceil(3 * sigma))
	kernel := make([]float64, half) // derivative of a Gaussian at 1, 2, …, unit response to a unit ramp
	sum := 0.0
	for k := range kernel {
		x := float64(k + 1)
		kernel[k] = x * math.Exp(-x*x/(2*sigma*sigma))
		sum += 2 * x * kernel[k]
	}
	for k := range kernel {
		kernel[k] /= sum * u.step
	}
	out := make([][]float64, len(u.profile))
	buf := make([]float64, len(u.profile)*u.samples)
	padded := make([]float64, u.samples+2*half) // the profile goes on as it ends
	for s, p := range u.profile {
		if p == nil {
			continue
		}
		for i := range half {
			padded[i], padded[len(padded)-1-i] = p[0], p[len(p)-1]
		}
		copy(padded[half:], p)
		out[s] = buf[s*u.samples : (s+1)*u.samples]
		for k, w := range kernel {
			inward, outward := padded[half-1-k:], padded[half+1+k:]
			inward, outward = inward[:u.samples], outward[:u.samples]
			for i := range out[s] {
				out[s][i] += w * (outward[i] - inward[i])
			}
		}
	}
	return out
}

// rim is what one look at a circle's neighbourhood found.
type rim struct {
	fit      circle.Fit // level px
	sector   []int      // the sector of each point
	points   []r2.Vec   // level px, one for each sector with an edge
	strength []float64  // grey levels per level px, along the sign looked for
	sectors  int        // how many there are in all
	rise     []float64  // grey levels, from the inner end of its sector's profile to the outer one; nil where nobody looked
	thin     bool       // a line, thinner than the smoothing
	ink      float64    // how far outside it, level px, an edge of the other sign follows; 0 where none does
	inkSteep float64    // and how steep that is beside the rim's own
}

// locate takes, in each sector, the steepest place of the wanted sign near
// the circle (level px), and fits a circle to those places.
func (l level) locate(about circle.Circle, o oval, sign float64, k pass) (rim, bool) {
	near := math.Max(k.near*about.Radius, k.nearPx) // one standard deviation of a bell
	sigma := min(max(leastSigma*about.Radius, 0.8), k.sigma)
	u := unroll(l, about, o, k.sectors, 3*near+2*sigma, k.step*sigma)
	d := smoothAround(u.slopes(sigma/u.step), k.arc)
	out := rim{sectors: len(u.profile)}
	for s, p := range d {
		if p == nil {
			continue
		}
		best, at := 0.0, -1
		for i := 1; i+1 < len(p); i++ {
			v := sign * p[i]
			offset := (u.inner + float64(i)*u.step - u.about.Radius) / near
			if v <= 0 || v < sign*p[i-1] || v < sign*p[i+1] {
				continue
			}
			if w := v * math.Exp(-offset*offset/2); w > best {
				best, at = w, i
			}
		}
		if at < 0 {
			continue
		}
		a, b, c := sign*p[at-1], sign*p[at], sign*p[at+1]
		shift := 0.0
		if bend := a - 2*b + c; bend < 0 {
			shift = min(max((a-c)/(2*bend), -0.5), 0.5)
		}
		sin, cos := math.Sincos(u.direction(s))
		rho := u.inner + u.oval.towards(sin, cos) + (float64(at)+shift)*u.step
		out.sector = append(out.sector, s)
		out.points = append(out.points, r2.Vec{X: u.about.Centre.X + rho*cos, Y: u.about.Centre.Y + rho*sin})
		out.strength = append(out.strength, b)
		out.rise = append(out.rise, u.profile[s][u.samples-1]-u.profile[s][0])
	}
	if len(out.points) < len(u.profile)/4 {
		return out, false
	}
	fit, err := circle.Robust(u.about, out.points, bounded(out.strength), 0.1)
	if err != nil {
		return out, false
	}
	out.fit = fit
	if k.lines {
		out = out.onLine(u, d, sign, sigma)
	}
	return out, true
}

// bounded turns strengths into weights: no sector weighs more than the
// typical one, so that a blot does not stand for the rim.
func bounded(strength []float64) []float64 {
	m := median(strength)
	w := make([]float64, len(strength))
	for i, s := range strength {
		w[i] = min(s/m, 1)
	}
	return w
}

// smoothAround averages each sector's profile with its neighbours'.
func smoothAround(d [][]float64, arc int) [][]float64 {
	if arc <= 1 {
		return d
	}
	out := make([][]float64, len(d))
	for s := range d {
		if d[s] == nil {
			continue
		}
		sum := make([]float64, len(d[s]))
		n := 0.0
		for k := -(arc / 2); k <= arc/2; k++ {
			p := d[(s+k+len(d))%len(d)]
			if p == nil {
				continue
			}
			n++
			p = p[:len(sum)]
			for i := range sum {
				sum[i] += p[i]
			}
		}
		for i := range sum {
			sum[i] /= n
		}
		out[s] = sum
	}
	return out
}

func median(v []float64) float64 { return circle.Median(slices.Clone(v)) }

// pass is one look of a measurement: on a level where the radius is at most
// radius pixels, edges are expected within near of it (relative to the
// radius, but at least nearPx), slopes are smoothed over sigma pixels and
// over arc neighbouring sectors. The grey is sampled every step sigmas. lines:
// a rim that is a line is told from one that is a step.
type pass struct {
	sectors                     int
	radius, near, nearPx, sigma float64
	arc                         int
	step                        float64
	lines                       bool
}

var (
	glance = []pass{{32, 16, 0.14, 1.5, 1.3, 3, 0.75, false}}
	coarse = []pass{
		{48, 24, 0.10, 1.2, 1.3, 5, 0.5, false},
		{48, 24, 0.08, 1.0, 1.2, 5, 0.5, false},
	}
	narrow = []pass{
		{48, 24, 0.05, 1.0, 1.0, 3, 0.5, false},
		{48, 24, 0.05, 1.0, 1.0, 3, 0.5, false},
	}
	fine = []pass{
		{96, 48, 0.05, 1.5, 1.5, 5, 0.5, false},
		{96, 140, 0.03, 2.0, 2.0, 3, 0.5, true},
	}
)

// look makes the passes from each start and returns the marks that came of
// it, in the order of their starts.
func (p *pyramid) look(starts []candidate, passes []pass) []Mark {
	marks := make([]*Mark, len(starts))
	each(len(starts), func(i int) {
		if m, ok := p.follow(starts[i], passes); ok {
			marks[i] = &m
		}
	})
	var found []Mark
	for _, m := range marks {
		if m != nil {
			found = append(found, *m)
		}
	}
	return found
}

// follow makes the passes from one start. It fails where the edge wanders
// off, as it does when there was none.
func (p *pyramid) follow(start candidate, passes []pass) (Mark, bool) {
	c := circle.Circle{Centre: start.centre, Radius: start.radius}
	var r rim
	var l level
	step := func(k pass, o oval) bool {
		l = p.fit(c.Radius, k.radius)
		at := circle.Circle{Centre: l.down(c.Centre), Radius: c.Radius * (l.sx + l.sy) / 2}
		var ok bool
		if r, ok = l.locate(at, o, start.sign, k); !ok {
			return false
		}
		c = circle.Circle{Centre: l.up(r.fit.Centre), Radius: r.fit.Radius * 2 / (l.sx + l.sy)}
		return r2.Norm(r2.Sub(c.Centre, start.centre)) <= 0.5*start.radius && c.Radius >= 0.65*start.radius && c.Radius <= 1.5*start.radius
	}
	for _, k := range passes {
		if !step(k, oval{}) {
			return Mark{}, false
		}
	}
	// A thin line is a line only where it is seen finely, and then the steps to
	// look within are small, for it is not as round as that.
	for k := passes[len(passes)-1]; r.thin && l.sx < 1; {
		k.radius *= 2
		k.near = 0
		if !step(k, r.ovalness(2)) {
			return Mark{}, false
		}
	}
	m := r.mark(l, start)
	return m, m.RimSeen >= leastSeen && m.Scatter < mostScatter*m.Radius && math.Abs(m.Contrast) >= leastContrast
}

// leastSigma is the smoothing of a small rim's slopes, relative to its radius:
// a pass's sigma is for large ones.
const leastSigma = 0.08

// A mark is kept when at least leastSeen of its rim stands out, its edge
// points scatter by no more than mostScatter of its radius, and its edge is
// steeper than leastContrast grey levels a pixel: a grey level over five of them
// is what eight bits make of a slope, and no edge.
const (
	leastSeen     = 0.3
	mostScatter   = 0.12
	leastContrast = 0.2
)

// mark turns a rim measured on a level into a mark of the picture.
func (r rim) mark(l level, start candidate) Mark {
	m := Mark{
		Centre: l.up(r.fit.Centre),
		Radius: r.fit.Radius * 2 / (l.sx + l.sy),
		Kind:   Lighter,
		Weight: bounded(r.strength),
		Score:  start.z,
	}
	if start.sign > 0 {
		m.Kind = Darker
	}
	off := make([]float64, len(r.points))
	for i, p := range r.points {
		m.Edge = append(m.Edge, l.up(p))
		off[i] = math.Abs(r.fit.Distance(p))
	}
	m.Scatter = 1.4826 * median(off) * 2 / (l.sx + l.sy)
	seen := r.seen(off)
	m.RimSeen = start.seen
	if m.RimSeen == 0 {
		m.RimSeen = float64(len(seen)) / float64(r.sectors)
	}
	// A rim is no fainter for being rubbed by half.
	var strength, rise []float64
	for _, i := range seen {
		strength = append(strength, r.strength[i])
		if r.rise != nil {
			rise = append(rise, r.rise[i])
		}
	}
	m.Contrast = -start.sign * median(strength)
	if start.sign == 0 {
		m.Kind, m.Contrast = Either, median(strength)
	}
	m.Step = -median(rise)
	m.Ink, m.InkSteep = r.ink*2/(l.sx+l.sy), r.inkSteep
	return m
}

// seen returns the points at which the edge is on the circle and not much weaker
// than in most that are. What lies beside the circle may be another's edge, and
// stronger.
func (r rim) seen(off []float64) []int {
	limit := math.Max(0.07*r.fit.Radius, 1.2)
	var on []int
	for i := range r.points {
		if off[i] <= limit {
			on = append(on, i)
		}
	}
	if len(on) == 0 {
		return nil
	}
	slices.SortFunc(on, func(a, b int) int { return cmp.Compare(r.strength[a], r.strength[b]) })
	least := 0.3 * r.strength[on[len(on)*3/4]]
	return slices.DeleteFunc(on, func(i int) bool { return r.strength[i] < least })
}
