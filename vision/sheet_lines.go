package vision

import (
	"cmp"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"
)

// edgeMap holds the ridges of the gradient of a level.
type edgeMap struct {
	level
	blur   []uint8    // the smoothed grey
	gx, gy []float32  // gradient, grey levels a pixel
	ridge  []bool     // where it is steepest across the edge, and not noise
	least  float64    // what counts as no noise
	clear  [3]float64 // slopes above which to look: all, a clear edge's, the clearest edges'
}

func newEdgeMap(l level) (*edgeMap, error) {
	src, err := l.mat()
	if err != nil {
		return nil, err
	}
	defer src.Close()
	blur, dx, dy := gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer blur.Close()
	defer dx.Close()
	defer dy.Close()
	gocv.GaussianBlur(src, &blur, image.Pt(5, 5), 1.2, 1.2, gocv.BorderReplicate)
	gocv.Sobel(blur, &dx, gocv.MatTypeCV32F, 1, 0, 3, 1.0/8, 0, gocv.BorderReplicate)
	gocv.Sobel(blur, &dy, gocv.MatTypeCV32F, 0, 1, 3, 1.0/8, 0, gocv.BorderReplicate)
	gx, err := dx.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	gy, err := dy.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	m := &edgeMap{level: l, blur: blur.ToBytes(), gx: slices.Clone(gx), gy: slices.Clone(gy)}
	m.findRidges()
	return m, nil
}

// findRidges keeps the pixels whose gradient is larger than that of their two
// neighbours across the edge (J. Canny, IEEE TPAMI 8 (1986) 679-698).
func (m *edgeMap) findRidges() {
	size := make([]float32, len(m.gx))
	for i := range size {
		size[i] = float32(math.Hypot(float64(m.gx[i]), float64(m.gy[i])))
	}
	some := make([]float64, 0, len(size)/7+1)
	for i := 0; i < len(size); i += 7 {
		some = append(some, float64(size[i]))
	}
	m.least = math.Max(0.8, 1.5*median(some))
	slices.Sort(some)
	few, fewest := some[len(some)*995/1000], some[len(some)*9995/10000]
	m.clear = [3]float64{0, math.Max(clearEdge*few, m.least), math.Max(clearEdge*fewest, 1.5*m.least)}
	m.ridge = make([]bool, len(size))
	for y := 1; y < m.h-1; y++ {
		for x := 1; x < m.w-1; x++ {
			i := y*m.w + x
			g := size[i]
			if float64(g) < m.least {
				continue
			}
			ax, ay := m.gx[i], m.gy[i]
			step := 1 // along x
			switch t := math.Abs(float64(ay)) / math.Max(math.Abs(float64(ax)), 1e-6); {
			case t > 2.414:
				step = m.w
			case t > 0.414 && (ax > 0) == (ay > 0):
				step = m.w + 1
			case t > 0.414:
				step = m.w - 1
			}
			m.ridge[i] = g >= size[i+step] && g > size[i-step]
		}
	}
}

// edgeLine is a straight edge of a level: the points p with normal·p = rho.
// The normal points to the lighter side, or, turned, to the darker one.
type edgeLine struct {
	normal r2.Vec
	rho    float64
	least  float64 // an edge less steep is none of this line's
	turned bool    // the darker side is taken for the inside

	length float64 // px, of the longest stretch of it that is seen
	steep  float64 // grey levels a pixel there
	seen   []int   // how many steps of a pixel along the line have an edge on it, summed up
	from   float64
}

// along is the direction of the line; the lighter side is on its right hand
// in a picture (y down).
func (e edgeLine) along() r2.Vec { return r2.Vec{X: e.normal.Y, Y: -e.normal.X} }

// at is the place of a point along the line.
func (e edgeLine) at(p r2.Vec) float64 { return r2.Dot(p, e.along()) }

// share is the share of the line between two places on which its edge is
// seen.
func (e edgeLine) share(from, to float64) float64 {
	if from > to {
		from, to = to, from
	}
	n := len(e.seen) - 1
	i := int(math.Round(from - e.from))
	j := int(math.Round(to - e.from))
	if j <= i {
		return 0
	}
	return float64(e.seen[min(max(j, 0), n)]-e.seen[min(max(i, 0), n)]) / float64(j-i)
}

const (
	angleBins  = 720  // over the full turn: an edge has a lighter side
	sectors    = 24   // of the full turn
	mostPeaks  = 40   // of each sector, so that the grain of wood does not crowd out the rest
	mostLines  = 6    // of each sector and of each degree of clearness
	ownAngle   = 0.30 // radian, how far an edge pixel's gradient may be from its line's normal
	lineWithin = 3.0  // px, and as far its ridge from the line
	clearEdge  = 0.4  // of the steepest edges' slope
)

// lines returns the straight edges, the longest first.
func (m *edgeMap) lines() []edgeLine {
	diag := math.Hypot(float64(m.w), float64(m.h))
	const rhoStep = 2.0
	rhos := int(2*diag/rhoStep) + 3
	votes := make([]float32, angleBins*rhos)
	var sin, cos [angleBins]float64
	for a := range angleBins {
		sin[a], cos[a] = math.Sincos(2 * math.Pi * float64(a) / angleBins)
	}
	strong := m.clear[2] / clearEdge
	centre := r2.Vec{X: float64(m.w) / 2, Y: float64(m.h) / 2}
	for y := range m.h {
		for x := range m.w {
			i := y*m.w + x
			if !m.ridge[i] {
				continue
			}
			gx, gy := float64(m.gx[i]), float64(m.gy[i])
			weight := float32(math.Pow(min(math.Hypot(gx, gy)/strong, 1), 0.75))
			own := int(math.Round(math.Atan2(gy, gx) / (2 * math.Pi) * angleBins))
			px, py := float64(x)+0.5-centre.X, float64(y)+0.5-centre.Y
			for k := -14; k <= 14; k++ { // 7° either way
				a := (own + k + angleBins) % angleBins
				r := int((px*cos[a]+py*sin[a]+diag)/rhoStep + 0.5)
				votes[a*rhos+r] += weight
			}
		}
	}
	type peak struct {
		a, r int
		v    float32
	}
	var peaks []peak
	at := func(a, r int) float32 {
		if r < 0 || r >= rhos {
			return 0
		}
		return votes[(a+angleBins)%angleBins*rhos+r]
	}
	leastVotes := float32(0.05 * diag * math.Pow(m.least/strong, 0.75))
	for a := range angleBins {
	next:
		for r := range rhos {
			v := at(a, r)
			if v < leastVotes {
				continue
			}
			for da := -4; da <= 4; da++ {
				for dr := -2; dr <= 2; dr++ {
					o := at(a+da, r+dr)
					if o > v || o == v && (da > 0 || da == 0 && dr > 0) {
						continue next
					}
				}
			}
			peaks = append(peaks, peak{a, r, v})
		}
	}
	slices.SortFunc(peaks, func(p, q peak) int {
		return cmp.Or(cmp.Compare(q.v, p.v), cmp.Compare(p.a, q.a), cmp.Compare(p.r, q.r))
	})
	var taken [sectors]int
	peaks = slices.DeleteFunc(peaks, func(p peak) bool {
		taken[p.a*sectors/angleBins]++
		return taken[p.a*sectors/angleBins] > mostPeaks
	})
	// Each is followed three times, along all edges and along clear ones only: a
	// card's edge may run on in the grain of the table.
	ways := len(m.clear)
	lines := make([]edgeLine, ways*len(peaks))
	each(len(lines), func(i int) {
		p := peaks[i/ways]
		n := r2.Vec{X: cos[p.a], Y: sin[p.a]}
		e := edgeLine{normal: n, rho: float64(p.r)*rhoStep - diag + r2.Dot(n, centre), least: m.clear[i%ways]}
		lines[i] = m.follow(e)
	})
	return m.foremost(lines)
}

// foremost keeps the longest lines of each direction and each degree of
// clearness.
func (m *edgeMap) foremost(lines []edgeLine) []edgeLine {
	var kept []edgeLine
	rank := func(e edgeLine) float64 { return e.length * math.Pow(e.steep, 0.35) }
	slices.SortStableFunc(lines, func(a, b edgeLine) int { return cmp.Compare(rank(b), rank(a)) })
	for _, least := range m.clear {
		var taken [sectors]int
		for _, e := range lines {
			k := int((math.Atan2(e.normal.Y, e.normal.X)/(2*math.Pi) + 1) * sectors)
			if e.length == 0 || e.least != least || taken[k%sectors] == mostLines || slices.ContainsFunc(kept, func(k edgeLine) bool { return m.sameLine(k, e) }) {
				continue
			}
			taken[k%sectors]++
			kept = append(kept, e)
		}
	}
	return kept
}

// sameLine says whether two lines run along one edge inside the picture.
func (m *edgeMap) sameLine(a, b edgeLine) bool {
	// One that is as long when only its clear parts are taken is the same.
	if a.least != b.least && b.length < 0.9*a.length || r2.Dot(a.normal, b.normal) < 0.995 {
		return false
	}
	// Where b's edge is seen, how far is it from a?
	first, last := 0, 0
	for i := 1; i < len(b.seen); i++ {
		if b.seen[i] > b.seen[i-1] {
			if first == 0 {
				first = i
			}
			last = i
		}
	}
	for _, i := range []int{first, last} {
		p := r2.Add(r2.Scale(b.rho, b.normal), r2.Scale(b.from+float64(i), b.along()))
		if math.Abs(r2.Dot(a.normal, p)-a.rho) > 2.5 {
			return false
		}
	}
	return true
}

// follow fits the line to the longest stretch of its edge and notes where the
// edge is seen. Its weight is the length of that stretch and how clear it is.
func (m *edgeMap) follow(e edgeLine) edgeLine {
	for range 2 {
		hits, from := m.hits(e)
		first, last := longest(hits)
		if last-first < 12 {
			return edgeLine{}
		}
		// A line through the ridges of that stretch.
		var n, st, so, stt, sto float64
		for i := first; i <= last; i++ {
			if hits[i].ok {
				t := from + float64(i)
				n++
				st, so = st+t, so+hits[i].off
				stt, sto = stt+t*t, sto+t*hits[i].off
			}
		}
		slope := 0.0
		if d := n*stt - st*st; d > 0 {
			slope = (n*sto - st*so) / d
		}
		at := (so - slope*st) / n // offset at t = 0
		normal := r2.Unit(r2.Sub(e.normal, r2.Scale(slope, e.along())))
		p := r2.Scale(e.rho+at, e.normal)
		e = edgeLine{normal: normal, rho: r2.Dot(normal, p), least: e.least}
	}
	hits, from := m.hits(e)
	first, last := longest(hits)
	e.from, e.seen = from, make([]int, len(hits)+1)
	var steep []float64
	for i, h := range hits {
		e.seen[i+1] = e.seen[i]
		if h.ok {
			e.seen[i+1]++
			if i >= first && i <= last {
				steep = append(steep, h.steep)
			}
		}
	}
	if len(steep) < 12 {
		return edgeLine{}
	}
	e.length, e.steep = float64(len(steep)), median(steep)
	return e
}

// hit is what lies on a line at one step along it.
type hit struct {
	ok    bool
	off   float64 // px, how far the ridge is from the line, towards its lighter side
	steep float64
}

// hits looks for ridges of the line's direction near it, at each pixel along
// it from the place from on.
func (m *edgeMap) hits(e edgeLine) (hits []hit, from float64) {
	u, cosOwn := e.along(), math.Cos(ownAngle)
	// Where the line enters and leaves the picture.
	from, to := math.Inf(1), math.Inf(-1)
	for _, c := range [4]r2.Vec{{}, {X: float64(m.w)}, {Y: float64(m.h)}, {X: float64(m.w), Y: float64(m.h)}} {
		from, to = min(from, e.at(c)), max(to, e.at(c))
	}
	from = math.Floor(from)
	base := r2.Scale(e.rho, e.normal)
	hits = make([]hit, int(to-from)+1)
	for i := range hits {
		p := r2.Add(base, r2.Scale(from+float64(i), u))
		for off := -lineWithin; off <= lineWithin; off += 0.5 {
			x, y := int(math.Floor(p.X+off*e.normal.X)), int(math.Floor(p.Y+off*e.normal.Y))
			if x < 0 || y < 0 || x >= m.w || y >= m.h || !m.ridge[y*m.w+x] {
				continue
			}
			gx, gy := float64(m.gx[y*m.w+x]), float64(m.gy[y*m.w+x])
			size := math.Hypot(gx, gy)
			if size < e.least || gx*e.normal.X+gy*e.normal.Y < cosOwn*size {
				continue
			}
			if d := (float64(x)+0.5-p.X)*e.normal.X + (float64(y)+0.5-p.Y)*e.normal.Y; !hits[i].ok || math.Abs(d) < math.Abs(hits[i].off) {
				hits[i] = hit{true, d, size}
			}
		}
	}
	return hits, from
}

// longest returns the stretch of a line that is seen best: each step with an
// edge counts for it, each without against it.
func longest(hits []hit) (first, last int) {
	best, sum, start := 0.0, 0.0, 0
	for i, h := range hits {
		if h.ok {
			sum++
		} else {
			sum--
		}
		if sum > best {
			best, first, last = sum, start, i
		}
		if sum < 0 {
			sum, start = 0, i+1
		}
	}
	return first, last
}
