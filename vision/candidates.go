package vision

import (
	"cmp"
	"image"
	"math"
	"runtime"
	"slices"
	"sync"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"
)

// candidate is a place where a circular edge may be, to be measured.
type candidate struct {
	centre r2.Vec  // picture px
	radius float64 // picture px
	sign   float64 // +1: brighter outside, −1: darker outside
	z      float64 // strength over the filter's own noise on its level
	seen   float64 // share of the rim, once it has been looked at
}

// What the search looks at. At each level of halving, circles of searchRadii
// level pixels are looked for: together the levels cover every size from the
// smallest up to the whole picture.
const (
	searchArea   = 400_000 // pixels of the first level
	firstRadius  = 4.0
	lowestRadius = 6.0
	highRadius   = 12.0
	radiusStep   = 0.11 // from one radius to the next, of the radius
	leastStep    = 0.8  // px of the level, but no less: an edge is not sharper
	maxPerLevel  = 100
	leastZ       = 4.5
)

// candidates finds where circular edges may be. For each radius r it computes
// at every pixel c the mean, over all directions u, of the outward slope of
// the grey at c + r·u, with slopes taken relative to what is usual around
// them: a circular edge adds up, strokes and texture cancel. The mean over a
// circle is a product with a Bessel function in the frequency domain, so the
// cost does not depend on the radius. What the picture shows of an edge lies in
// the lower two thirds of the frequencies, so that a coarser grid of c will do.
func candidates(p *pyramid, maxRadius float64) ([]candidate, error) {
	base, err := p.searchLevel()
	if err != nil {
		return nil, err
	}
	var found []candidate
	lowest := firstRadius
	for l := base; ; {
		// The last level takes what is left, up to a circle that just fits.
		highest := highRadius
		last := highRadius/l.sx > maxRadius || min(l.w, l.h) < 4*highRadius
		if last {
			highest = max(highRadius, 0.52*float64(min(l.w, l.h)))
		}
		c, err := searchLevel(l, lowest, highest)
		if err != nil {
			return nil, err
		}
		found = append(found, c...)
		if last {
			break
		}
		if l, err = l.resized((l.w+1)/2, (l.h+1)/2); err != nil {
			return nil, err
		}
		lowest = lowestRadius
	}
	return notTwice(found), nil
}

// searchLevel returns the picture averaged down to about searchArea pixels.
func (p *pyramid) searchLevel() (level, error) {
	l := p.levels[0]
	for _, smaller := range p.levels[1:] {
		if smaller.w*smaller.h < searchArea {
			break
		}
		l = smaller
	}
	f := math.Sqrt(float64(searchArea) / float64(l.w*l.h))
	if f >= 1 {
		return l, nil
	}
	return l.resized(max(1, int(math.Round(float64(l.w)*f))), max(1, int(math.Round(float64(l.h)*f))))
}

// notTwice keeps the strongest of candidates that are the same circle.
func notTwice(all []candidate) []candidate {
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.z, a.z) })
	var kept []candidate
next:
	for _, c := range all {
		for _, k := range kept {
			if k.sign == c.sign && r2.Norm(r2.Sub(k.centre, c.centre)) < 0.25*k.radius &&
				math.Abs(k.radius-c.radius) < 0.12*k.radius {
				continue next
			}
		}
		kept = append(kept, c)
	}
	return kept
}

// searchLevel returns the strongest local maxima of the circle filter on one
// level, over radii in level pixels.
func searchLevel(l level, lowest, highest float64) ([]candidate, error) {
	var radii []float64
	for r := lowest; r <= highest; r += max(leastStep, radiusStep*r) {
		radii = append(radii, r)
	}
	s, err := newSpectrum(l, int(highest)+3)
	if err != nil {
		return nil, err
	}
	defer s.close()
	maps := make([]ringMap, len(radii))
	peaks := make([][]candidate, len(radii))
	// A batch of radii at a time, and no map longer than it is needed: fresh
	// memory costs more than the arithmetic.
	batch := max(2, runtime.GOMAXPROCS(0))
	taken := 0
	for first := 0; first < len(radii); first += batch {
		end := min(first+batch, len(radii))
		each(end-first, func(i int) { maps[first+i] = s.ringMean(radii[first+i]) })
		ready := end - 1 // the next radius decides on the last one's peaks
		if end == len(radii) {
			ready = end
		}
		each(ready-taken, func(i int) {
			i += taken
			peaks[i] = peaksOf(maps, i, func(x, y, z float64) candidate {
				return candidate{
					centre: l.up(r2.Vec{X: mapStep*x + 0.5, Y: mapStep*y + 0.5}),
					radius: radii[i] * 2 / (l.sx + l.sy),
					sign:   math.Copysign(1, z),
					z:      math.Abs(z),
				}
			})
		})
		for i := max(taken-1, 0); i < ready-1; i++ {
			s.reuse(maps[i])
		}
		taken = ready
	}
	all := slices.Concat(peaks...)
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.z, a.z) })
	return all[:min(len(all), maxPerLevel)], nil
}

// mapStep is how far it is, in pixels of the level, from one of a map to the next.
const mapStep = 1.5

// ringMap is the circle filter's response for one radius, at points of the
// level that lie mapStep apart.
type ringMap struct {
	w, h, stride int
	v            []float32
	noise        float64 // its typical size

	mat gocv.Mat // whose memory v is
}

func (m ringMap) row(y int) []float32 { return m.v[y*m.stride:][:m.w] }

// peaksOf returns what made makes of the local maxima of map i: where they are,
// between its pixels, and their strength.
func peaksOf(maps []ringMap, i int, made func(x, y, z float64) candidate) []candidate {
	m := maps[i]
	if m.noise == 0 {
		return nil
	}
	var peaks []candidate
	least := float32(leastZ * m.noise)
	for y := range m.h {
		row := m.row(y)
		for x, v := range row {
			if -least < v && v < least {
				continue
			}
			before, after := row[max(x-1, 0)], row[min(x+1, m.w-1)]
			if (v > 0 && v >= before && v >= after || v < 0 && v <= before && v <= after) && isPeak(maps, i, x, y) {
				dx, morex := vertex(before, v, after)
				dy, morey := vertex(m.row(max(y-1, 0))[x], v, m.row(min(y+1, m.h-1))[x])
				peaks = append(peaks, made(float64(x)+dx, float64(y)+dy, (float64(v)+morex+morey)/m.noise))
			}
		}
	}
	return peaks
}

// vertex is where, from the middle of three neighbours, the parabola through
// them has its extreme, at most half a step away, and how much more it is there.
func vertex(before, v, after float32) (at, more float64) {
	slope, bend := (float64(after)-float64(before))/2, float64(before)-2*float64(v)+float64(after)
	if bend == 0 {
		return 0, 0
	}
	at = min(max(-slope/bend, -0.5), 0.5)
	return at, (slope + bend*at/2) * at
}

// isPeak says whether the filter's value is no weaker than its neighbours' in
// place and radius.
func isPeak(maps []ringMap, i, x, y int) bool {
	v := float64(maps[i].row(y)[x]) / maps[i].noise
	sign := math.Copysign(1, v)
	v *= sign
	left, right := max(x-1, 0), min(x+1, maps[i].w-1)
	for _, j := range [3]int{i, max(0, i-1), min(len(maps)-1, i+1)} {
		m := maps[j]
		if m.noise == 0 {
			continue
		}
		most := float32(v * m.noise * (1 + 1e-6))
		for yy := max(0, y-1); yy <= min(m.h-1, y+1); yy++ {
			for _, n := range m.row(yy)[left : right+1] {
				if float32(sign)*n > most {
					return false
				}
			}
		}
	}
	return true
}

// typical returns the root mean square of the smaller four fifths of the
// values, so that the circles themselves do not count as noise.
func (m ringMap) typical() float64 {
	const bins = 4096
	const every = 7 // a seventh of the rows says as much
	top := float32(0)
	n := 0
	for y := 0; y < m.h; y += every {
		for _, x := range m.row(y) {
			top = max(top, x, -x)
		}
		n += m.w
	}
	if top == 0 {
		return 0
	}
	var count [bins]int
	scale := bins * 0.999 / top
	for y := 0; y < m.h; y += every {
		for _, x := range m.row(y) {
			count[int(max(x, -x)*scale)]++
		}
	}
	seen, sum := 0, 0.0
	for b, c := range count {
		x := (float64(b) + 0.5) / float64(scale)
		sum += float64(c) * x * x
		if seen += c; seen > n*4/5 {
			break
		}
	}
	return math.Sqrt(sum / float64(seen))
}

// each calls f(0) … f(n−1) on all processors.
func each(n int, f func(int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(runtime.GOMAXPROCS(0), n) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// bands calls f for every row of h, in bands of rows on all processors.
func bands(h int, f func(row int)) {
	n := min(runtime.GOMAXPROCS(0), h)
	each(n, func(i int) {
		for row := i * h / n; row < (i+1)*h/n; row++ {
			f(row)
		}
	})
}

// spectrum is the transform of a level's relative slopes, as far as the maps show
// it: everything of the circle filter that does not depend on the radius.
type spectrum struct {
	w, h, fw, fh int       // of the maps, and of their transforms
	q            []float32 // complex, fh rows of fw/2+1, i(N̂x cosφ + N̂y sinφ); the right half follows from symmetry
	bin          []uint16  // of the Bessel table, likewise

	mats  []gocv.Mat // to be closed
	mutex sync.Mutex // of what follows
	in    []gocv.Mat // transforms' inputs not in use
	out   []gocv.Mat // and outputs
}

// newSpectrum transforms the slopes of a level. pad leaves room for the largest
// circle, so that the transform's wrap-around does not join opposite sides of
// the picture.
func newSpectrum(l level, pad int) (*spectrum, error) {
	s := &spectrum{w: mapSize(l.w), h: mapSize(l.h), fw: transformSize(mapSize(l.w + pad)), fh: transformSize(mapSize(l.h + pad))}
	width, height := int(mapStep*float64(s.fw)), int(mapStep*float64(s.fh))
	nx, ny, err := relativeSlopes(l, width, height)
	if err != nil {
		return nil, err
	}
	defer nx.Close()
	defer ny.Close()
	tx, ty := gocv.NewMat(), gocv.NewMat()
	defer tx.Close()
	defer ty.Close()
	each(2, func(i int) {
		gocv.DFT([2]gocv.Mat{nx, ny}[i], [2]*gocv.Mat{&tx, &ty}[i], gocv.DftComplexOutput)
	})
	xs, errX := tx.DataPtrFloat32()
	ys, errY := ty.DataPtrFloat32()
	if err := cmp.Or(errX, errY); err != nil {
		return nil, err
	}
	half := s.fw/2 + 1
	s.q = make([]float32, 2*s.fh*half)
	s.bin = make([]uint16, s.fh*half)
	bands(s.fh, func(v int) {
		fy := frequency(v, s.fh) / mapStep
		from := v
		if fy < 0 {
			from += height - s.fh
		}
		x, y := xs[2*from*width:][:2*half], ys[2*from*width:][:2*half]
		q, bin := s.q[2*v*half:][:2*half], s.bin[v*half:][:half]
		for u := range bin {
			fx := float64(u) / float64(width)
			f := math.Hypot(fx, fy)
			if f == 0 || f >= highest {
				continue // both are nothing
			}
			bin[u] = uint16(f / highest * besselBins)
			k := 1 / f
			if f > fadeFrom*highest {
				k *= fade(f)
			}
			c, sn := float32(fx*k), float32(fy*k)
			q[2*u], q[2*u+1] = -(x[2*u+1]*c + y[2*u+1]*sn), x[2*u]*c+y[2*u]*sn
		}
	})
	return s, nil
}

// mapSize is how many pixels a map has along a side of so many of the level.
func mapSize(side int) int { return int(math.Ceil(float64(side) / mapStep)) }

// transformSize is the next size that transforms fast and that a whole number of
// the level's pixels, also one that transforms fast, is as long as.
func transformSize(least int) int {
	for {
		size := gocv.GetOptimalDFTSize(least)
		if size%2 == 0 {
			return size
		}
		least = size + 1
	}
}

// highest is the frequency, in cycles a pixel of the level, from which on the maps
// show nothing.
const highest = 0.5 / mapStep

func (s *spectrum) close() {
	for _, m := range s.mats {
		m.Close()
	}
}

// buffer returns a matrix of the spectrum's size that is not in use.
func (s *spectrum) buffer(free *[]gocv.Mat, kind gocv.MatType) gocv.Mat {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if n := len(*free); n > 0 {
		m := (*free)[n-1]
		*free = (*free)[:n-1]
		return m
	}
	m := gocv.NewMatWithSize(s.fh, s.fw, kind)
	s.mats = append(s.mats, m)
	return m
}

// reuse lets the memory of a map that is not needed any more be another's.
func (s *spectrum) reuse(m ringMap) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.out = append(s.out, m.mat)
}

// frequency returns the frequency, in cycles a pixel, of bin k of n.
func frequency(k, n int) float64 {
	if k > n/2 {
		k -= n
	}
	return float64(k) / float64(n)
}

// ringMean returns, for every pixel of the level, the mean outward relative
// slope on the circle of radius r around it:
//
//	(1/2π) ∫ N(c + r u)·u dθ = F⁻¹[ i J₁(2πr|f|) (N̂x cosφ + N̂y sinφ) ].
func (s *spectrum) ringMean(r float64) ringMap {
	bessel := besselTable(2 * math.Pi * r)
	in := s.buffer(&s.in, gocv.MatTypeCV32FC2)
	m := ringMap{w: s.w, h: s.h, stride: s.fw, mat: s.buffer(&s.out, gocv.MatTypeCV32F)}
	p, err := in.DataPtrFloat32()
	if err != nil { // cannot happen: the matrix was made as floats
		return ringMap{mat: m.mat}
	}
	half := s.fw/2 + 1
	for v := range s.fh {
		row, q := p[2*v*s.fw:][:2*half], s.q[2*v*half:][:2*half]
		for u, bin := range s.bin[v*half:][:half] {
			j := bessel[bin]
			row[2*u], row[2*u+1] = q[2*u]*j, q[2*u+1]*j
		}
	}
	gocv.DFT(in, &m.mat, gocv.DftInverse|gocv.DftScale|gocv.DftRealOutput)
	s.mutex.Lock()
	s.in = append(s.in, in)
	s.mutex.Unlock()
	if m.v, err = m.mat.DataPtrFloat32(); err != nil { // cannot happen: the transform of floats is floats
		return ringMap{mat: m.mat}
	}
	m.noise = m.typical()
	return m
}

// besselBins is how finely the frequency is divided.
const besselBins = 1 << 11

// besselTable is J₁ of scale times the frequency.
func besselTable(scale float64) []float32 {
	t := make([]float32, besselBins)
	for i := range t {
		t[i] = float32(math.J1(scale * highest * (float64(i) + 0.5) / besselBins))
	}
	return t
}

// fade takes frequencies out towards the highest, so that no edge rings.
func fade(f float64) float64 {
	c := math.Cos(math.Pi / 2 * (f/highest - fadeFrom) / (1 - fadeFrom))
	return c * c
}

// fadeFrom is the share of the highest frequency from which on it is faded out.
const fadeFrom = 0.8

// relativeSlopes returns the grey's slope along x and y divided by the usual
// size of slopes around the place, and cut off so that one blot cannot stand
// for a rim, in matrices of fw × fh with zeros beyond the level. The caller
// closes them.
func relativeSlopes(l level, fw, fh int) (nx, ny gocv.Mat, err error) {
	src, err := l.mat()
	if err != nil {
		return nx, ny, err
	}
	defer src.Close()
	f, gx, gy := gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer f.Close()
	defer gx.Close()
	defer gy.Close()
	src.ConvertTo(&f, gocv.MatTypeCV32F)
	gocv.GaussianBlur(f, &f, image.Point{}, 0.8, 0.8, gocv.BorderReplicate)
	gocv.Sobel(f, &gx, gocv.MatTypeCV32F, 1, 0, 3, 1./8, 0, gocv.BorderReplicate)
	gocv.Sobel(f, &gy, gocv.MatTypeCV32F, 0, 1, 3, 1./8, 0, gocv.BorderReplicate)
	vx, errX := gx.DataPtrFloat32()
	vy, errY := gy.DataPtrFloat32()
	energy, errE := f.DataPtrFloat32() // in the grey's place, which is not needed any more
	if err := cmp.Or(errX, errY, errE); err != nil {
		return nx, ny, err
	}
	sums := make([]float64, l.h)
	bands(l.h, func(y int) {
		for i := y * l.w; i < (y+1)*l.w; i++ {
			energy[i] = vx[i]*vx[i] + vy[i]*vy[i]
			sums[y] += float64(energy[i])
		}
	})
	floor := float32(leastSlope*leastSlope + 0.1*floats.Sum(sums)/float64(len(energy)))
	gocv.BoxFilter(f, &f, -1, image.Pt(aroundSide, aroundSide))

	nx, ny = gocv.NewMatWithSize(fh, fw, gocv.MatTypeCV32F), gocv.NewMatWithSize(fh, fw, gocv.MatTypeCV32F)
	px, errX := nx.DataPtrFloat32()
	py, errY := ny.DataPtrFloat32()
	energy, errE = f.DataPtrFloat32()
	if err := cmp.Or(errX, errY, errE); err != nil {
		nx.Close()
		ny.Close()
		return nx, ny, err
	}
	bands(fh, func(row int) {
		px, py := px[row*fw:][:fw], py[row*fw:][:fw]
		clear(px)
		clear(py)
		if row >= l.h {
			return
		}
		for col := range l.w {
			i := row*l.w + col
			x, y := vx[i], vy[i]
			size := (x*x + y*y) / (energy[i] + floor)
			scale := 1 / (energy[i] + floor)
			if size > mostSlope*mostSlope {
				scale *= mostSlope * mostSlope / size
			}
			k := float32(math.Sqrt(float64(scale)))
			px[col], py[col] = x*k, y*k
		}
	})
	return nx, ny, nil
}

const (
	aroundSide = 31  // px of the level: what counts as around a place
	leastSlope = 0.5 // grey levels a pixel that count as nothing
	mostSlope  = 2.0 // times the usual slope that one pixel may weigh
)
