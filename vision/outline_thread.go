package vision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Tooth is one crest of a thread's outline, on one side of the bolt.
type Tooth struct {
	Number int    // counted along the axis
	At     r2.Vec // px: where the crest's period has its middle, on the line of mean reach
	Tip    r2.Vec // px: the crest's highest point
	Used   bool   // whether it follows the others
}

// ThreadOutline is the outline of a bolt's thread, in pixels.
type ThreadOutline struct {
	Along  r2.Vec  // unit vector along the axis
	Period float64 // px between crests along the axis, roughly
	Teeth  [2][]Tooth

	// Crests are two points, one on each side, on the lines along the axis that
	// the higher of the crests reach; UCrest is the standard uncertainty of
	// either across the axis, px.
	Crests [2]r2.Vec
	UCrest float64

	// Flanks are the directions of the rising and of the falling flank, with
	// the standard uncertainty of the angle between each and the axis in
	// radians. UFlank is 0 where the outline is too coarse to tell.
	Flanks [2]r2.Vec
	UFlank float64

	Turns int // pitches between the first tooth used and the last, the longer side
}

// Least of what a thread must show.
const (
	threadPeriod = 3.5 // px, of the finest thread that the outline can follow
	threadTurns  = 4   // crests to either side
	swingLeast   = 0.04
	swingMost    = 0.5
)

// FindThread finds the largest thing in the picture, takes it for a bolt on a
// plain ground, and follows the outline of its thread.
//
// A thread with one start is half a pitch further on the other side of the
// axis: the middle between both sides swings with the pitch, while heads,
// shanks and chamfers leave it where it is. So the pitch is looked for in that
// middle line. Then each crest of each side is located by the phase of its own
// period, so that the pitch rests on all of them.
//
// The errors are ErrNoThread.
func FindThread(p *Picture) (*ThreadOutline, error) {
	s, err := findSilhouette(p)
	if err != nil {
		return nil, err
	}
	pyr, err := p.pyramid()
	if err != nil {
		return nil, err
	}
	l := pyr.levels[0]
	if s.slender >= stubby {
		if t, err := l.threadOf(s); err == nil {
			return t, nil
		}
	}
	return l.threadOf(l.bestAxis(s))
}

// threadOf follows the thread from an axis that is nearly right.
func (l level) threadOf(s silhouette) (*ThreadOutline, error) {
	var o contour
	var zone threadZone
	for round := range 6 {
		o = l.trace(s)
		var err error
		if zone, err = o.findZone(); err != nil {
			return nil, err
		}
		turn := o.lean(zone)
		if round > 0 && math.Abs(turn) < 2e-4 {
			break
		}
		sin, cos := math.Sincos(turn)
		s = s.facing(r2.Unit(r2.Add(r2.Scale(cos, o.along), r2.Scale(sin, o.across))))
	}
	return o.thread(zone)
}

// stubby is how slender a bolt's silhouette must be for its moments to tell its
// axis: a short bolt with a wide head may be as wide as it is long.
const stubby = 2.5

// bestAxis is the silhouette along the axis on which its middle line repeats
// most clearly.
func (l level) bestAxis(s silhouette) silhouette {
	best, clear := s, 0.0
	look := func(angle float64) {
		sin, cos := math.Sincos(angle)
		across := r2.Vec{X: -s.along.Y, Y: s.along.X}
		t := s.facing(r2.Unit(r2.Add(r2.Scale(cos, s.along), r2.Scale(sin, across))))
		o := l.trace(t)
		if z, err := o.findZone(); err == nil && z.clear > clear {
			best, clear = t, z.clear
		}
	}
	const step = 3 // degrees
	for a := 0.0; a < 180; a += step {
		look(a * math.Pi / 180)
	}
	return best
}

// threadZone is where the outline is a thread's.
type threadZone struct {
	from, to int     // steps
	period   float64 // px
	clear    float64 // the share of the middle line's swing that is the period's, times the root of the turns
}

// middle is the line between both sides; NaN where one side is not seen, and
// where both together are so much wider than elsewhere that it is a head: seen
// a little askew, a head's corners throw its middle far off.
func (o *contour) middle() []float64 {
	var widths []float64
	for i, a := range o.reach[0] {
		if w := a + o.reach[1][i]; !math.IsNaN(w) {
			widths = append(widths, w)
		}
	}
	slices.Sort(widths)
	most := math.Inf(1)
	if n := len(widths); n > 0 {
		const wider = 1.35
		most = wider * widths[n*3/10]
	}
	m := make([]float64, len(o.reach[0]))
	for i := range m {
		m[i] = (o.reach[0][i] - o.reach[1][i]) / 2
	}
	const corner = 8 // steps, over which a head's corner rounds
	for i := range m {
		if !(o.reach[0][i]+o.reach[1][i] > most) {
			continue
		}
		from, to := i-corner, i+corner
		// What is left between a head and the end of the bolt is its far side.
		if i < len(m)/8 {
			from = 0
		}
		if i > len(m)-len(m)/8 {
			to = len(m) - 1
		}
		for k := max(from, 0); k <= min(to, len(m)-1); k++ {
			m[k] = math.NaN()
		}
	}
	return m
}

// findZone looks for the part of the outline whose middle line repeats.
func (o *contour) findZone() (threadZone, error) {
	m := o.flatMiddle()
	n := len(m)
	if n < 40 {
		return threadZone{}, fmt.Errorf("%w: what is seen is too small", ErrNoThread)
	}
	long := float64(n) * outlineStep
	best, power := 0.0, 0.0
	var all []float64
	for f := threadTurns / long; f < 1/threadPeriod; f += 0.2 / long {
		// Steps and bends have more power the lower the frequency is.
		p := o.powerAt(m, f) * f
		all = append(all, p)
		if p > power {
			best, power = f, p
		}
	}
	if best == 0 || power < 12*median(all) {
		return threadZone{}, fmt.Errorf("%w: the outline does not repeat; lay the bolt on the glass with at least %d turns of its thread free of dirt, on a plain ground, without a hard shadow beside it, and give the resolution that it was scanned at", ErrNoThread, threadTurns)
	}
	for step := 0.1 / long; step > 1e-4/long; step /= 2 { // to the peak
		for _, f := range []float64{best - step, best + step} {
			if p := o.powerAt(m, f) * f; p > power {
				best, power = f, p
			}
		}
	}
	z := threadZone{period: 1 / best}
	amplitude := demodulated(m, best)
	high := slices.Clone(amplitude)
	slices.Sort(high)
	cut := 0.35 * high[len(high)*9/10]
	// The longest run that swings, with gaps that grease may leave.
	gap := int(6 * z.period / outlineStep)
	from, last := -1, -1
	for i, a := range amplitude {
		if a < cut {
			continue
		}
		if from < 0 || i-last > gap {
			from = i
		}
		last = i
		if last-from > z.to-z.from {
			z.from, z.to = from, last
		}
	}
	turns := float64(z.to-z.from) * outlineStep / z.period
	if turns < threadTurns {
		return z, fmt.Errorf("%w: only %.0f turns repeat, and at least %d are wanted", ErrNoThread, turns, threadTurns)
	}
	// A thread is 0.6 pitches deep, so that its middle line swings by a quarter.
	within := m[z.from:z.to]
	swing := 2 * math.Sqrt(o.powerAt(within, best)) / float64(len(within))
	if swing < swingLeast*z.period || swing > swingMost*z.period {
		return z, nil // not clear at all; on a better axis it may be
	}
	squares := 0.0
	for _, v := range within {
		squares += v * v / float64(len(within))
	}
	z.clear = swing * swing / 2 / math.Max(squares, 1e-9) * math.Sqrt(turns)
	return z, nil
}

// flatMiddle is the middle line less its straight trend, with what is not seen
// at zero and what is far off held back.
func (o *contour) flatMiddle() []float64 {
	m := o.middle()
	var xs, ys []float64
	for i, v := range m {
		if !math.IsNaN(v) {
			xs, ys = append(xs, float64(i)), append(ys, v)
		}
	}
	if len(xs) < 20 {
		return nil
	}
	a, b := robustLine(xs, ys)
	off := make([]float64, len(ys))
	for i := range ys {
		off[i] = math.Abs(ys[i] - a - b*xs[i])
	}
	most := 3*1.4826*median(off) + 0.3
	for i := range m {
		d := m[i] - a - b*float64(i)
		if math.IsNaN(d) {
			d = 0
		}
		m[i] = math.Max(-most, math.Min(most, d))
	}
	return m
}

// powerAt is the power of a frequency (1/px) in values at the outline's steps.
func (o *contour) powerAt(v []float64, f float64) float64 {
	// A phasor turned step by step costs a tenth of a sine each.
	sin, cos := math.Sincos(2 * math.Pi * f * outlineStep)
	c, s, re, im := 1.0, 0.0, 0.0, 0.0
	for _, x := range v {
		re, im = re+x*c, im+x*s
		c, s = c*cos-s*sin, c*sin+s*cos
	}
	return re*re + im*im
}

// demodulated is the amplitude of a frequency in the three periods round each
// value.
func demodulated(v []float64, f float64) []float64 {
	n := len(v)
	re, im := make([]float64, n+1), make([]float64, n+1)
	for i, x := range v {
		sin, cos := math.Sincos(2 * math.Pi * f * float64(i) * outlineStep)
		re[i+1], im[i+1] = re[i]+x*cos, im[i]+x*sin
	}
	half := max(int(1.5/f/outlineStep), 1)
	out := make([]float64, n)
	for i := range v {
		a, b := max(i-half, 0), min(i+half, n)
		out[i] = 2 * math.Hypot(re[b]-re[a], im[b]-im[a]) / float64(2*half)
	}
	return out
}

// lean is the angle by which the middle line of the zone leans from the axis.
func (o *contour) lean(z threadZone) float64 {
	m := o.middle()
	window := max(int(math.Round(z.period/outlineStep)), 2)
	var xs, ys []float64
	for i := z.from; i+window <= z.to; i += window / 2 {
		sum, ok := 0.0, true
		for _, v := range m[i : i+window] {
			sum += v / float64(window)
			ok = ok && !math.IsNaN(v)
		}
		if ok {
			xs, ys = append(xs, (float64(i)+float64(window-1)/2)*outlineStep), append(ys, sum)
		}
	}
	if len(xs) < 3 {
		return 0
	}
	_, b := robustLine(xs, ys)
	return math.Atan(b)
}

// robustLine fits y = a + b x with Tukey's weights, from the median of slopes
// on (the estimator of Theil and Sen, over pairs half the span apart).
func robustLine(x, y []float64) (a, b float64) {
	n := len(x)
	half := n / 2
	slopes := make([]float64, 0, half)
	for i := 0; i+half < n; i++ {
		slopes = append(slopes, (y[i+half]-y[i])/(x[i+half]-x[i]))
	}
	b = median(slopes)
	off := make([]float64, n)
	for i := range x {
		off[i] = y[i] - b*x[i]
	}
	a = median(slices.Clone(off))
	for range 10 {
		for i := range x {
			off[i] = math.Abs(y[i] - a - b*x[i])
		}
		scale := math.Max(1.4826*median(slices.Clone(off)), 1e-6)
		var sw, sx, sy float64
		w := make([]float64, n)
		for i := range x {
			u := math.Min(off[i]/(4.7*scale), 1)
			w[i] = (1 - u*u) * (1 - u*u)
			sw, sx, sy = sw+w[i], sx+w[i]*x[i], sy+w[i]*y[i]
		}
		if sw == 0 {
			break
		}
		mx, my := sx/sw, sy/sw
		var sxx, sxy float64
		for i := range x {
			sxx, sxy = sxx+w[i]*(x[i]-mx)*(x[i]-mx), sxy+w[i]*(x[i]-mx)*(y[i]-my)
		}
		if sxx == 0 {
			break
		}
		b = sxy / sxx
		a = my - b*mx
	}
	return a, b
}
