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
	radiusStep   = 1.11 // from one radius to the next, as a ratio
	maxPerLevel  = 100
	leastZ       = 4.5
)

// candidates finds where circular edges may be. For each radius r it computes
// at every pixel c the mean, over all directions u, of the outward slope of
// the grey at c + r·u, with slopes taken relative to what is usual around
// them: a circular edge adds up, strokes and texture cancel. The mean over a
// circle is a product with a Bessel function in the frequency domain, so the
// cost does not depend on the radius.
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
	for r := lowest; r <= highest; r *= radiusStep {
		radii = append(radii, r)
	}
	s, err := newSpectrum(l, int(highest)+3)
	if err != nil {
		return nil, err
	}
	maps := make([][]float32, len(radii))
	each(len(radii), func(i int) { maps[i] = s.ringMean(radii[i]) })

	noise := make([]float64, len(radii))
	each(len(radii), func(i int) { noise[i] = typical(maps[i], l.w) })
	peaks := make([][]candidate, len(radii))
	each(len(radii), func(i int) {
		if noise[i] == 0 {
			return
		}
		places(maps[i], l.w, float32(leastZ*noise[i]), func(x, y int) {
			if !isPeak(maps, noise, l.w, l.h, i, x, y) {
				return
			}
			z := float64(maps[i][y*l.w+x]) / noise[i]
			peaks[i] = append(peaks[i], candidate{
				centre: l.up(r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}),
				radius: radii[i] * 2 / (l.sx + l.sy),
				sign:   math.Copysign(1, z),
				z:      math.Abs(z),
			})
		})
	})
	all := slices.Concat(peaks...)
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.z, a.z) })
	return all[:min(len(all), maxPerLevel)], nil
}

// places calls f for every value of a map w wide that is at least least from
// zero and no nearer to it than its neighbours on the row.
func places(m []float32, w int, least float32, f func(x, y int)) {
	for y := range len(m) / w {
		row := m[y*w : (y+1)*w]
		for x, v := range row {
			before, after := row[max(x-1, 0)], row[min(x+1, w-1)]
			if v >= least && v >= before && v >= after || v <= -least && v <= before && v <= after {
				f(x, y)
			}
		}
	}
}

// isPeak says whether the filter's value is no weaker than its neighbours' in
// place and radius.
func isPeak(maps [][]float32, noise []float64, w, h, i, x, y int) bool {
	v := float64(maps[i][y*w+x]) / noise[i]
	sign := math.Copysign(1, v)
	v *= sign
	left, right := max(x-1, 0), min(x+1, w-1)
	for _, j := range [3]int{i, max(0, i-1), min(len(maps)-1, i+1)} {
		if noise[j] == 0 {
			continue
		}
		most := float32(v * noise[j] * (1 + 1e-6))
		for yy := max(0, y-1); yy <= min(h-1, y+1); yy++ {
			for _, n := range maps[j][yy*w+left : yy*w+right+1] {
				if float32(sign)*n > most {
					return false
				}
			}
		}
	}
	return true
}

// typical returns the root mean square of the smaller four fifths of the
// values of a map w wide, so that the circles themselves do not count as
// noise.
func typical(m []float32, w int) float64 {
	const bins = 4096
	const every = 7 // a seventh of the rows says as much
	top := float32(0)
	n := 0
	for y := 0; y < len(m)/w; y += every {
		for _, x := range m[y*w : (y+1)*w] {
			top = max(top, x, -x)
		}
		n += w
	}
	if top == 0 {
		return 0
	}
	var count [bins]int
	scale := bins * 0.999 / top
	for y := 0; y < len(m)/w; y += every {
		for _, x := range m[y*w : (y+1)*w] {
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

// spectrum is the transform of a level's relative slopes: everything of the
// circle filter that does not depend on the radius.
type spectrum struct {
	w, h, fw, fh int
	q            []float32 // complex, fh rows of fw, i(N̂x cosφ + N̂y sinφ); the right half follows from symmetry and is left empty
	bin          []uint16  // of the Bessel table, fh rows of fw/2+1
}

func newSpectrum(l level, pad int) (*spectrum, error) {
	nx, ny, err := relativeSlopes(l)
	if err != nil {
		return nil, err
	}
	// pad leaves room for the largest circle, so that the transform's
	// wrap-around does not join opposite sides of the picture.
	s := &spectrum{w: l.w, h: l.h, fw: gocv.GetOptimalDFTSize(l.w + pad), fh: gocv.GetOptimalDFTSize(l.h + pad)}
	var transforms [2]gocv.Mat
	var errs [2]error
	each(2, func(i int) { transforms[i], errs[i] = s.transform([2][]float32{nx, ny}[i]) })
	defer transforms[0].Close()
	defer transforms[1].Close()
	if err := cmp.Or(errs[0], errs[1]); err != nil {
		return nil, err
	}
	x, err := transforms[0].DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	y, err := transforms[1].DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	s.q = make([]float32, len(x))
	s.bin = make([]uint16, s.fh*(s.fw/2+1))
	bands(s.fh, func(v int) {
		fy := frequency(v, s.fh)
		bin := s.bin[v*(s.fw/2+1):]
		for u := range s.fw/2 + 1 {
			fx := frequency(u, s.fw)
			f2 := fx*fx + fy*fy
			if f2 == 0 {
				continue
			}
			bin[u] = uint16(f2 * besselBins)
			f := math.Sqrt(f2)
			c, sn := float32(fx/f), float32(fy/f)
			k := 2 * (v*s.fw + u)
			re := x[k]*c + y[k]*sn
			im := x[k+1]*c + y[k+1]*sn
			s.q[k], s.q[k+1] = -im, re
		}
	})
	return s, nil
}

// frequency returns the frequency, in cycles a pixel, of bin k of n.
func frequency(k, n int) float64 {
	if k > n/2 {
		k -= n
	}
	return float64(k) / float64(n)
}

func (s *spectrum) transform(v []float32) (gocv.Mat, error) {
	padded := gocv.NewMatWithSize(s.fh, s.fw, gocv.MatTypeCV32F)
	defer padded.Close()
	p, err := padded.DataPtrFloat32()
	if err != nil {
		return gocv.NewMat(), err
	}
	clear(p)
	for y := range s.h {
		copy(p[y*s.fw:], v[y*s.w:(y+1)*s.w])
	}
	out := gocv.NewMat()
	gocv.DFT(padded, &out, gocv.DftComplexOutput)
	return out, nil
}

// ringMean returns, for every pixel of the level, the mean outward relative
// slope on the circle of radius r around it:
//
//	(1/2π) ∫ N(c + r u)·u dθ = F⁻¹[ i J₁(2πr|f|) (N̂x cosφ + N̂y sinφ) ].
func (s *spectrum) ringMean(r float64) []float32 {
	bessel := besselTable(2 * math.Pi * r)
	in := gocv.NewMatWithSize(s.fh, s.fw, gocv.MatTypeCV32FC2)
	defer in.Close()
	p, err := in.DataPtrFloat32()
	if err != nil { // cannot happen: the matrix was just made as floats
		return make([]float32, s.w*s.h)
	}
	half := s.fw/2 + 1
	for v := range s.fh {
		row, q := p[2*v*s.fw:][:2*half], s.q[2*v*s.fw:][:2*half]
		for u, bin := range s.bin[v*half : (v+1)*half] {
			j := bessel[bin]
			row[2*u], row[2*u+1] = q[2*u]*j, q[2*u+1]*j
		}
	}
	out := gocv.NewMat()
	defer out.Close()
	gocv.DFT(in, &out, gocv.DftInverse|gocv.DftScale|gocv.DftRealOutput)
	m, err := out.DataPtrFloat32()
	if err != nil { // cannot happen: the transform of floats is floats
		return make([]float32, s.w*s.h)
	}
	res := make([]float32, s.w*s.h)
	for y := range s.h {
		copy(res[y*s.w:(y+1)*s.w], m[y*s.fw:])
	}
	return res
}

// besselBins is how finely the squared frequency (at most ½) is divided.
const besselBins = 1 << 12

func besselTable(scale float64) []float32 {
	t := make([]float32, besselBins/2+2)
	for i := range t {
		t[i] = float32(math.J1(scale * math.Sqrt((float64(i)+0.5)/besselBins)))
	}
	return t
}

// relativeSlopes returns the grey's slope along x and y divided by the usual
// size of slopes around the place, and cut off so that one blot cannot stand
// for a rim.
func relativeSlopes(l level) (nx, ny []float32, err error) {
	src, err := l.mat()
	if err != nil {
		return nil, nil, err
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
	vx, err := gx.DataPtrFloat32()
	if err != nil {
		return nil, nil, err
	}
	vy, err := gy.DataPtrFloat32()
	if err != nil {
		return nil, nil, err
	}
	energy := gocv.NewMatWithSize(l.h, l.w, gocv.MatTypeCV32F)
	defer energy.Close()
	e, err := energy.DataPtrFloat32()
	if err != nil {
		return nil, nil, err
	}
	sums := make([]float64, l.h)
	bands(l.h, func(y int) {
		for i := y * l.w; i < (y+1)*l.w; i++ {
			e[i] = vx[i]*vx[i] + vy[i]*vy[i]
			sums[y] += float64(e[i])
		}
	})
	mean := floats.Sum(sums) / float64(len(e))
	gocv.BoxFilter(energy, &energy, -1, image.Pt(aroundSide, aroundSide))
	if e, err = energy.DataPtrFloat32(); err != nil {
		return nil, nil, err
	}
	nx, ny = make([]float32, len(e)), make([]float32, len(e))
	floor := float32(leastSlope*leastSlope + 0.1*mean)
	bands(l.h, func(row int) {
		for i := row * l.w; i < (row+1)*l.w; i++ {
			x, y := vx[i], vy[i]
			size := (x*x + y*y) / (e[i] + floor)
			scale := 1 / (e[i] + floor)
			if size > mostSlope*mostSlope {
				scale *= mostSlope * mostSlope / size
			}
			k := float32(math.Sqrt(float64(scale)))
			nx[i], ny[i] = x*k, y*k
		}
	})
	return nx, ny, nil
}

const (
	aroundSide = 31  // px of the level: what counts as around a place
	leastSlope = 0.5 // grey levels a pixel that count as nothing
	mostSlope  = 2.0 // times the usual slope that one pixel may weigh
)
