package vision

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// How deep grooves are, in pitches, worn and dirty ones among them.
const (
	shallowest = 0.12
	steepest   = 1.0
)

// located is a crest as it is found on one side.
type located struct {
	number    int
	along     float64 // px
	amplitude float64
	tip       float64 // px from the axis
	tipAt     float64
	used      bool
}

// thread locates the teeth of a zone and what follows from them.
func (o *contour) thread(z threadZone) (*ThreadOutline, error) {
	t := &ThreadOutline{Along: o.along}
	var teeth [2][]located
	period := z.period
	var start [2]float64
	for side := range teeth {
		start[side] = o.firstCrest(side, z, period)
	}
	for range 5 {
		for side := range teeth {
			teeth[side] = o.locate(side, z, period, start[side])
		}
		next, starts, ok := fitTeeth(&teeth)
		if !ok {
			return nil, fmt.Errorf("%w: fewer than %d teeth follow one another; is the bolt clean, and no hard shadow beside it?", ErrNoThread, threadTurns)
		}
		period, start = next, starts
	}
	t.Period = period
	var deep []float64
	for _, list := range teeth {
		for _, k := range list {
			if k.used {
				deep = append(deep, k.amplitude)
			}
		}
	}
	if depth := median(deep); depth < shallowest*period || depth > steepest*period {
		return nil, fmt.Errorf("%w: what repeats every %.1f px is no thread, which is about 0.6 pitches deep; is the bolt clean?", ErrNoThread, period)
	}
	var mean, high [2]float64
	var scatter []float64
	for side, list := range teeth {
		mean[side] = o.meanReach(side, z)
		var tips []float64
		first, last := math.MaxInt, math.MinInt
		for _, k := range list {
			if k.used {
				tips = append(tips, k.tip)
				first, last = min(first, k.number), max(last, k.number)
			}
		}
		t.Turns = max(t.Turns, last-first)
		slices.Sort(tips)
		// Calipers lie on the higher crests, and so do the lines.
		high[side] = tips[len(tips)*3/4]
		middle := median(tips)
		for _, v := range tips {
			scatter = append(scatter, math.Abs(v-middle))
		}
	}
	lost := crestLoss(period, o.blur)
	// Rust and dirt stand on crests: two hundredths of a pitch (common practice).
	t.UCrest = math.Hypot(math.Hypot(0.3*lost+0.1, 0.02*period), 1.4826*median(scatter)/math.Sqrt(float64(len(scatter))/4+1))
	middleAlong := float64(z.from+z.to) / 2 * outlineStep
	for side, list := range teeth {
		out := 1 - 2*float64(side)
		t.Crests[side] = o.at(middleAlong, out*(high[side]+lost))
		for _, k := range list {
			t.Teeth[side] = append(t.Teeth[side], Tooth{
				Number: k.number, Used: k.used,
				At: o.at(k.along, out*mean[side]), Tip: o.at(k.tipAt, out*k.tip),
			})
		}
	}
	o.flanks(t, teeth, period, start)
	return t, nil
}

// firstCrest is where the crests of a side begin, by the phase of the whole
// zone.
func (o *contour) firstCrest(side int, z threadZone, period float64) float64 {
	re, im := 0.0, 0.0
	mean := o.meanReach(side, z)
	for i := z.from; i < z.to; i++ {
		v := o.reach[side][i] - mean
		if math.IsNaN(v) {
			continue
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(i) * outlineStep / period)
		re, im = re+v*cos, im+v*sin
	}
	at := math.Atan2(im, re) / (2 * math.Pi) * period
	first := float64(z.from) * outlineStep
	return at + math.Ceil((first-at)/period)*period
}

func (o *contour) meanReach(side int, z threadZone) float64 {
	sum, n := 0.0, 0.0
	for _, v := range o.reach[side][z.from:z.to] {
		if !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	return sum / math.Max(n, 1)
}

// value is the reach between the steps.
func (o *contour) value(side int, along float64) float64 {
	at := along / outlineStep
	i := int(math.Floor(at))
	r := o.reach[side]
	if i < 0 || i+1 >= len(r) {
		return math.NaN()
	}
	f := at - float64(i)
	return r[i]*(1-f) + r[i+1]*f
}

// locate finds each crest of a side: roughly by the phase of the period round
// it, then as the middle between its two flanks some way below its top. Grease
// and dirt lie in the grooves and move a phase; the flanks near the top stand
// clear of them longest.
func (o *contour) locate(side int, z threadZone, period, start float64) []located {
	const looks = 48 // values a period
	end := float64(z.to) * outlineStep
	var list []located
	for k := 0; ; k++ {
		c := start + float64(k)*period
		if c-period/2 > end {
			return list
		}
		re, im, mean := 0.0, 0.0, 0.0
		var v [looks]float64
		for i := range looks {
			v[i] = o.value(side, c+((float64(i)+0.5)/looks-0.5)*period)
			mean += v[i] / looks
		}
		for i := range looks {
			sin, cos := math.Sincos(2 * math.Pi * ((float64(i)+0.5)/looks - 0.5))
			re, im = re+(v[i]-mean)*cos, im+(v[i]-mean)*sin
		}
		if math.IsNaN(re) {
			continue
		}
		c += math.Max(-0.25, math.Min(0.25, math.Atan2(im, re)/(2*math.Pi))) * period
		if found, ok := o.crest(side, c, period); ok {
			found.number = k
			list = append(list, found)
		}
	}
}

// crest measures the crest near a place.
func (o *contour) crest(side int, near, period float64) (located, bool) {
	const top = 0.05 // pitches to either side of the middle, over which its height is taken
	c := near
	var found located
	for range 3 { // the middle moves a little as its height becomes known
		tip, n := 0.0, 0.0
		for d := -top; d <= top+1e-9; d += top / 4 {
			tip, n = tip+o.value(side, c+d*period), n+1
		}
		tip /= n
		depth := math.Inf(1)
		for _, way := range [2]float64{-1, 1} {
			low := math.Inf(1)
			for d := 0.0; d <= 0.55; d += 0.02 {
				low = math.Min(low, o.value(side, c+way*d*period))
			}
			depth = math.Min(depth, tip-low)
		}
		if !(depth > 0) {
			return found, false
		}
		cut := tip - 0.4*depth
		var edge [2]float64
		for s, way := range [2]float64{-1, 1} {
			before := o.value(side, c)
			at := math.NaN()
			for d := outlineStep / 2; d < 0.6*period; d += outlineStep / 2 {
				v := o.value(side, c+way*d)
				if v <= cut && before > cut {
					at = c + way*(d-outlineStep/2*(cut-v)/(before-v))
					break
				}
				before = v
			}
			edge[s] = at
		}
		next := (edge[0] + edge[1]) / 2
		if math.IsNaN(next) || math.Abs(next-near) > 0.3*period {
			return found, false
		}
		c = next
		found = located{along: c, amplitude: depth, tip: tip, tipAt: c, used: true}
	}
	return found, true
}

// fitTeeth fits the common period and each side's start to the teeth, with
// Tukey's weights, and marks those that follow. ok is false where too few do.
func fitTeeth(teeth *[2][]located) (period float64, start [2]float64, ok bool) {
	var amplitudes []float64
	for _, list := range teeth {
		for _, k := range list {
			amplitudes = append(amplitudes, k.amplitude)
		}
	}
	slices.Sort(amplitudes)
	if len(amplitudes) == 0 {
		return 0, start, false
	}
	usual := amplitudes[len(amplitudes)*3/4]
	weight := [2][]float64{}
	for side, list := range teeth {
		weight[side] = make([]float64, len(list))
		for i, k := range list {
			if k.amplitude > 0.2*usual && k.amplitude < 1.6*usual {
				weight[side][i] = 1
			}
		}
	}
	base := weight
	for range 12 {
		var sxx, sxy float64
		var mx, my [2]float64
		for side, list := range teeth {
			var sw float64
			for i, k := range list {
				w := weight[side][i]
				sw, mx[side], my[side] = sw+w, mx[side]+w*float64(k.number), my[side]+w*k.along
			}
			if sw < 2 {
				return 0, start, false
			}
			mx[side], my[side] = mx[side]/sw, my[side]/sw
			for i, k := range list {
				w, d := weight[side][i], float64(k.number)-mx[side]
				sxx, sxy = sxx+w*d*d, sxy+w*d*(k.along-my[side])
			}
		}
		if sxx == 0 {
			return 0, start, false
		}
		period = sxy / sxx
		var off []float64
		for side, list := range teeth {
			start[side] = my[side] - period*mx[side]
			for i, k := range list {
				if base[side][i] > 0 {
					off = append(off, math.Abs(k.along-start[side]-period*float64(k.number)))
				}
			}
		}
		scale := math.Max(1.4826*median(off), 0.01)
		next := [2][]float64{}
		for side, list := range teeth {
			next[side] = make([]float64, len(list))
			for i := range list {
				k := &list[i]
				u := math.Min(math.Abs(k.along-start[side]-period*float64(k.number))/(4.7*scale), 1)
				next[side][i] = base[side][i] * (1 - u*u) * (1 - u*u)
				k.used = next[side][i] > 0
			}
		}
		weight = next
	}
	for _, list := range teeth {
		n := 0
		for _, k := range list {
			if k.used {
				n++
			}
		}
		if n < threadTurns {
			return 0, start, false
		}
	}
	return period, start, true
}

// crestLoss is by how much (px) blur makes the crest of a V look lower: half
// the contrast is reached below the true crest, because too little metal is
// there to fill the blur. A crest an eighth of the pitch wide between flanks of
// 57° is meant, which is between what standards have.
func crestLoss(period, blur float64) float64 {
	if blur <= 0 {
		return 0
	}
	const crest, depth = 1. / 8, 0.62 // pitches
	tan := math.Tan(28.5 * math.Pi / 180)
	phi := func(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
	// seen is the share of metal at a height above the crest's middle.
	seen := func(height float64) float64 {
		sum, total := 0.0, 0.0
		for k := -40; k <= 40; k++ {
			d := float64(k) / 10 * blur // where the metal is looked at, above the point
			w := math.Exp(-d * d / (2 * blur * blur))
			total += w
			below := -(height + d) // how deep below the crest that is
			if below < 0 {
				continue
			}
			half := (crest/2)*period + math.Min(below, depth*period)*tan
			share := 0.0
			if below >= depth*period {
				share = 1
			} else {
				for n := -3.0; n <= 3; n++ {
					share += phi((n*period+half)/blur) - phi((n*period-half)/blur)
				}
			}
			sum += w * math.Min(share, 1)
		}
		return sum / total
	}
	lo, hi := -depth*period, 0.0 // seen falls with height
	for range 30 {
		if mid := (lo + hi) / 2; seen(mid) > 0.5 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return -(lo + hi) / 2
}

// flanks lays all teeth on one another and fits a line to either flank.
func (o *contour) flanks(t *ThreadOutline, teeth [2][]located, period float64, start [2]float64) {
	const finest = 14 // px, of a period whose flanks can be told
	if period < finest {
		return
	}
	const step = 0.25
	bins := int(period / step)
	fold := make([][]float64, bins)
	for side, list := range teeth {
		for _, k := range list {
			if !k.used {
				continue
			}
			c := start[side] + period*float64(k.number)
			for i := range fold {
				x := ((float64(i)+0.5)/float64(bins) - 0.5) * period
				fold[i] = append(fold[i], o.value(side, c+x)-k.tip)
			}
		}
	}
	profile := make([]float64, bins)
	for i, v := range fold {
		// Grease and dirt only add to a groove: the lower quarter is without.
		slices.Sort(v)
		profile[i] = v[len(v)/4]
	}
	low, high := slices.Min(profile), slices.Max(profile)
	depth := high - low
	margin := math.Max(0.2*depth, 1.5*o.blur)
	// Threads are 0.6 pitches deep: where much less is left, what is left of the
	// flanks is worn or dirty.
	const deepest = 0.45
	if depth < deepest*period || depth-2*margin < math.Max(3*o.blur, 2.5) {
		return
	}
	worst := 0.0
	for side := range t.Flanks { // rising, then falling
		var xs, ys []float64
		for i, v := range profile {
			x := ((float64(i)+0.5)/float64(bins) - 0.5) * period
			if (x > 0) == (side == 1) && v > low+margin && v < high-margin {
				xs, ys = append(xs, x), append(ys, v)
			}
		}
		if len(xs) < 6 {
			return
		}
		a, b := robustLine(ys, xs) // x over y: the flank is steep
		var ss, syy, my float64
		for i := range ys {
			my += ys[i] / float64(len(ys))
		}
		for i := range ys {
			d := xs[i] - a - b*ys[i]
			ss, syy = ss+d*d, syy+(ys[i]-my)*(ys[i]-my)
		}
		// Neighbouring bins err together: a few independent looks are counted.
		worst = math.Max(worst, math.Sqrt(ss/4/math.Max(syy, 1e-9)))
		t.Flanks[side] = r2.Unit(r2.Add(r2.Scale(b, o.along), o.across))
	}
	// Wear and dirt that all teeth share bend a flank by some half a degree
	// (common practice). Flanks that fit a line badly are no flanks.
	const shared, most = 0.6 * math.Pi / 180, 1.5 * math.Pi / 180
	if u := math.Hypot(worst, shared); u < most {
		t.UFlank = u
	}
}
