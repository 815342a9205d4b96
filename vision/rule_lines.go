package vision

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// lines locates each line of a straightened strip and fits their pitch.
func (s *strip) lines(l level) (Graduations, error) {
	profile := s.profile(l, 0, 0.9*s.period)
	smooth := smoothed(profile, math.Max(0.1*s.period, 0.6)/profileStep)
	place, strength := s.extremes(smooth)
	number, at := s.numbered(place, strength)
	if len(at) < ruleLines {
		return Graduations{}, fmt.Errorf("%w: only %d lines stand out, at least %d are wanted; lay the rule's graduated edge on the glass, clean, and scan more of it", ErrNoRule, len(at), ruleLines)
	}
	g := Graduations{Along: s.along, Lines: len(at)}
	offset := fitPitch(number, at, &g)
	g.Span = at[len(at)-1] - at[0]
	middle := (number[0] + number[len(number)-1]) / 2
	g.Middle = r2.Add(s.at, r2.Scale(s.from+offset+g.Pitch*middle, s.along))
	switch expected := s.period; {
	case math.Abs(g.Pitch/expected-1) > rulePitch:
		return g, fmt.Errorf("%w: the lines found are %.2f px apart, not %.2f", ErrNoRule, g.Pitch, expected)
	case g.Scatter > 0.15*g.Pitch:
		return g, fmt.Errorf("%w: the lines found are not equally spaced (they scatter by %.1f px)", ErrNoRule, g.Scatter)
	}
	return g, nil
}

// smoothed is a profile under a Gaussian of sigma samples.
func smoothed(profile []float64, sigma float64) []float64 {
	half := int(math.Ceil(3 * sigma))
	kernel := make([]float64, 2*half+1)
	sum := 0.0
	for k := range kernel {
		x := float64(k-half) / sigma
		kernel[k] = math.Exp(-x * x / 2)
		sum += kernel[k]
	}
	out := make([]float64, len(profile))
	for i := range out {
		for k, w := range kernel {
			out[i] += w / sum * profile[min(max(i+k-half, 0), len(profile)-1)]
		}
	}
	return out
}

// extremes returns where (px along the strip) the profile is farthest from
// its surroundings, once a period, on the side on which lines are: they are
// narrower than the gaps between them, so that the profile's third moment has
// their sign.
func (s *strip) extremes(profile []float64) (place, strength []float64) {
	n := max(int(s.period/profileStep), 4)
	flat := make([]float64, len(profile)) // less the running mean over a period
	sum, third := 0.0, 0.0
	for i := range profile {
		sum += profile[i]
		if i >= n {
			sum -= profile[i-n]
		}
		if i >= n-1 {
			k := i - n/2
			flat[k] = profile[k] - sum/float64(n)
			third += flat[k] * flat[k] * flat[k]
		}
	}
	sign := 1.0
	if third < 0 {
		sign = -1
	}
	for i := n / 2; i+n/2 < len(flat)-1 && i+1 < len(flat); i++ {
		v := sign * flat[i]
		if i == 0 || v <= 0 || v < sign*flat[i-1] || v <= sign*flat[i+1] {
			continue
		}
		a, b, c := sign*flat[i-1], v, sign*flat[i+1]
		shift := 0.0
		if bend := a - 2*b + c; bend < 0 {
			shift = min(max((a-c)/(2*bend), -0.5), 0.5)
		}
		place = append(place, (float64(i)+shift)*profileStep)
		strength = append(strength, v)
	}
	return place, strength
}

// numbered gives each line its number, from the middle outwards, so that the
// lines before tell where the next one is expected. What stands out less than
// lines do, or lies between them, is left.
func (s *strip) numbered(place, strength []float64) (number, at []float64) {
	if len(place) < 3 {
		return nil, nil
	}
	least := 0.35 * median(strength)
	// Start where ten neighbours follow most evenly, but for missing ones.
	start, even := -1, math.Inf(1)
	for i := len(place) / 4; i+10 < len(place)-len(place)/4; i++ {
		off := 0.0
		for k := range 10 {
			d := place[i+k+1] - place[i+k]
			off += math.Abs(d - math.Max(1, math.Round(d/s.period))*s.period)
			if strength[i+k] < least {
				off += s.period
			}
		}
		if off < even {
			start, even = i, off
		}
	}
	if start < 0 || even > 2*s.period {
		return nil, nil
	}
	walk := func(step int) (num, pos []float64) {
		expected, n := place[start], 0.0
		period := s.period
		for i, missed := start, 0; i >= 0 && i < len(place) && missed < 12; {
			d := (place[i] - expected) * float64(step)
			switch {
			case d < -0.25*period || math.Abs(d) <= 0.25*period && strength[i] < least:
				i += step // between the lines
			case d > 0.25*period:
				missed++ // none here
				n++
				expected += float64(step) * period
			default:
				num, pos = append(num, float64(step)*n), append(pos, place[i])
				missed = 0
				// Follow slowly what the carriage does.
				expected += 0.3*(place[i]-expected) + float64(step)*period
				n++
				i += step
			}
		}
		return num, pos
	}
	backN, backAt := walk(-1)
	for i := len(backN) - 1; i > 0; i-- { // the first is the start itself
		number, at = append(number, backN[i]), append(at, backAt[i])
	}
	forthN, forthAt := walk(1)
	return append(number, forthN...), append(at, forthAt...)
}

// fitPitch fits place over number with Tukey's weights and returns the place
// of number 0. The uncertainty allows for a carriage that runs unevenly:
// neighbouring lines then err together, and it is taken from how the means of
// tenths of the span scatter.
func fitPitch(number, at []float64, g *Graduations) (offset float64) {
	n := len(at)
	weight := make([]float64, n)
	off := make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	var sxx float64
	for range 15 {
		var sw, sx, sy float64
		for i, w := range weight {
			sw, sx, sy = sw+w, sx+w*number[i], sy+w*at[i]
		}
		mx, my := sx/sw, sy/sw
		var sxy float64
		sxx = 0
		for i, w := range weight {
			sxx += w * (number[i] - mx) * (number[i] - mx)
			sxy += w * (number[i] - mx) * (at[i] - my)
		}
		g.Pitch = sxy / sxx
		offset = my - g.Pitch*mx
		abs := make([]float64, n)
		for i := range off {
			off[i] = at[i] - offset - g.Pitch*number[i]
			abs[i] = math.Abs(off[i])
		}
		g.Scatter = math.Max(1.4826*median(abs), 0.005)
		for i := range weight {
			u := math.Min(math.Abs(off[i])/(4.7*g.Scatter), 1)
			weight[i] = (1 - u*u) * (1 - u*u)
		}
	}
	const blocks = 10
	var sum, total [blocks]float64
	for i, w := range weight {
		b := i * blocks / n
		sum[b] += w * off[i]
		total[b] += w
	}
	each := 0.0
	for b := range sum {
		if total[b] > 0 {
			each += sum[b] * sum[b] / total[b] / (blocks - 2)
		}
	}
	g.UPitch = math.Sqrt(math.Max(each, g.Scatter*g.Scatter) / sxx)
	return offset
}
