package vision

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Graduations are the equally spaced lines of a rule.
type Graduations struct {
	Along   r2.Vec  // unit vector along the rule, towards the picture's right or bottom
	Pitch   float64 // px, from line to line along the rule
	UPitch  float64 // standard uncertainty of that, from how the lines scatter
	Lines   int     // how many were measured
	Span    float64 // px, from the first to the last
	Scatter float64 // px, robust standard deviation of the lines about equal spacing
	Middle  r2.Vec  // px
}

// ErrNoRule says that a picture shows no graduations of the pitch asked for.
var ErrNoRule = errors.New("no rule's graduations were found")

const (
	ruleLines   = 40 // fewer give no pitch worth having
	ruleWindow  = 12 // periods in a patch
	ruleTilt    = 12 // degrees, how far a rule may lie off an axis
	rulePitch   = 0.03
	leastPeriod = 3.5 // px
)

// FindGraduations finds a rule's graduation lines, the pitch of which is
// about periodX px if the rule lies along x and periodY if it lies along y. It
// may lie up to 12° off either, and its lines may be dark or bright, of
// different lengths, with figures among them.
//
// The strip in which the grey repeats with that pitch is found from the
// Fourier component of small patches; how its phase runs along and across the
// strip gives direction and pitch. Then each line is located, where the
// smoothed profile is darkest or brightest, numbered, and a straight line
// fitted to place over number, robustly. Every hundredth line that is off or
// missing does no harm; one that is counted twice would, so lines are numbered
// by where the ones before them were.
func FindGraduations(pic *Picture, periodX, periodY float64) (Graduations, error) {
	if !(periodX >= leastPeriod && periodY >= leastPeriod) || periodX > 1e4 || periodY > 1e4 {
		return Graduations{}, fmt.Errorf("%w: a graduation of %.1f × %.1f px is too fine or too coarse; scan at a higher resolution, or name a coarser graduation", ErrNoRule, periodX, periodY)
	}
	p, err := pic.pyramid()
	if err != nil {
		return Graduations{}, err
	}
	l := p.levels[0]
	best := strip{}
	for _, s := range []strip{l.findStrip(r2.Vec{X: 1}, periodX), l.findStrip(r2.Vec{Y: 1}, periodY)} {
		if s.strength > best.strength {
			best = s
		}
	}
	if best.strength == 0 {
		return Graduations{}, fmt.Errorf("%w: nothing repeats every %.1f px along x or y; is --rule its finest graduation, and does it lie straight on the glass?", ErrNoRule, periodX)
	}
	if !best.straighten(l) {
		return Graduations{}, fmt.Errorf("%w: what repeats every %.1f px is no row of lines", ErrNoRule, best.period)
	}
	return best.lines(l)
}

// strip is a row of graduations as far as it is known.
type strip struct {
	axis, along, across r2.Vec
	at                  r2.Vec // px, a point on it
	period              float64
	strength            float64
	from, to            float64 // px along it from at
}

// grey is the picture between its pixels, or NaN outside.
func (l level) grey(p r2.Vec) float64 {
	v, ok := l.sample(p.X, p.Y)
	if !ok {
		return math.NaN()
	}
	return v
}

// patch is a small part of the picture with the component that repeats with
// the period along the axis.
type patch struct {
	at        r2.Vec
	amplitude float64
}

// findStrip looks for the line along which most of the patches repeat.
func (l level) findStrip(axis r2.Vec, period float64) strip {
	across := r2.Vec{X: -axis.Y, Y: axis.X}
	if axis.Y != 0 {
		across = r2.Vec{X: 1}
	}
	long, wide := float64(l.w), float64(l.h)
	if axis.Y != 0 {
		long, wide = wide, long
	}
	window := ruleWindow * period
	height := math.Max(1.2*period, 6)
	rows, cols := int(wide/height), int(long/(window/2))-1
	if rows < 1 || cols < 3 {
		return strip{}
	}
	found := make([][]patch, rows)
	each(rows, func(r int) {
		n := int(window)
		profile := make([]float64, n)
		for c := range cols {
			at := r2.Add(r2.Scale(float64(c)*window/2, axis), r2.Scale((float64(r)+0.5)*height, across))
			if a := l.repeats(profile, at, axis, across, height, period); a > 0 {
				found[r] = append(found[r], patch{r2.Add(at, r2.Scale(window/2, axis)), a})
			}
		}
	})
	// The line that most of them lie on: angle and offset (a Hough transform).
	type bin struct{ angle, offset int }
	votes := map[bin]float64{}
	tan := func(angle int) float64 { return math.Tan(float64(angle) * math.Pi / 360) } // in half degrees
	for _, row := range found {
		for _, p := range row {
			u, v := r2.Dot(p.at, axis)-long/2, r2.Dot(p.at, across)
			for a := -2 * ruleTilt; a <= 2*ruleTilt; a++ {
				votes[bin{a, int(math.Round((v - u*tan(a)) / height))}] += p.amplitude
			}
		}
	}
	best, most := bin{}, 0.0
	for b, v := range votes {
		if v > most || v == most && (b.offset < best.offset || b.offset == best.offset && b.angle < best.angle) {
			best, most = b, v
		}
	}
	if most == 0 {
		return strip{}
	}
	s := strip{axis: axis, across: across, period: period, strength: most, from: math.Inf(1), to: math.Inf(-1)}
	s.at = r2.Add(r2.Scale(long/2, axis), r2.Scale(float64(best.offset)*height, across))
	s.along = r2.Unit(r2.Add(axis, r2.Scale(tan(best.angle), across)))
	s.across = r2.Vec{X: -s.along.Y, Y: s.along.X}
	for _, row := range found {
		for _, p := range row {
			d := r2.Sub(p.at, s.at)
			if math.Abs(r2.Dot(d, s.across)) < 1.1*height {
				s.from = math.Min(s.from, r2.Dot(d, s.along)-window/2)
				s.to = math.Max(s.to, r2.Dot(d, s.along)+window/2)
			}
		}
	}
	if !(s.to-s.from >= ruleLines*period) {
		return strip{}
	}
	return s
}

// repeats returns the amplitude with which a patch repeats, or 0 where other
// things in it are larger.
func (l level) repeats(profile []float64, at, axis, across r2.Vec, height, period float64) float64 {
	const rows = 5
	mean := 0.0
	for i := range profile {
		profile[i] = 0
		for k := range rows {
			p := r2.Add(at, r2.Add(r2.Scale(float64(i)+0.5, axis), r2.Scale(height*((float64(k)+0.5)/rows-0.5), across)))
			v, ok := l.sample(p.X, p.Y)
			if !ok {
				return 0
			}
			profile[i] += v / rows
		}
		mean += profile[i] / float64(len(profile))
	}
	var re, im, all float64
	for i, v := range profile {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / period)
		re += (v - mean) * cos
		im += (v - mean) * sin
		all += (v - mean) * (v - mean)
	}
	n := float64(len(profile))
	// Thin lines have a third of their power in the fundamental.
	if power := re*re + im*im; all < n || 2*power/(n*all) < 0.15 {
		return 0
	}
	return 2 * math.Hypot(re, im) / n
}

// profile averages the strip over a width about an offset across it, at steps
// of a quarter pixel.
func (s *strip) profile(l level, offset, width float64) []float64 {
	n := int((s.to - s.from) / profileStep)
	out := make([]float64, n)
	rows := max(int(width), 1)
	each(n/512+1, func(part int) {
		for i := part * 512; i < min((part+1)*512, n); i++ {
			seen := 0.0
			for k := range rows {
				across := offset + width*((float64(k)+0.5)/float64(rows)-0.5)
				p := r2.Add(s.at, r2.Add(r2.Scale(s.from+float64(i)*profileStep, s.along), r2.Scale(across, s.across)))
				if v := l.grey(p); !math.IsNaN(v) {
					out[i] += v
					seen++
				}
			}
			out[i] /= math.Max(seen, 1)
		}
	})
	return out
}

const profileStep = 0.25

// phases returns the phase (periods) of the repeating component in windows
// along a profile, and its amplitude.
func (s *strip) phases(profile []float64) (phase, amplitude []float64) {
	n := int(ruleWindow * s.period / profileStep)
	for from := 0; from+n <= len(profile); from += n {
		var re, im, mean float64
		for i := range n {
			mean += profile[from+i] / float64(n)
		}
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(from+i) * profileStep / s.period)
			re += (profile[from+i] - mean) * cos
			im += (profile[from+i] - mean) * sin
		}
		phase = append(phase, math.Atan2(im, re)/(2*math.Pi))
		amplitude = append(amplitude, 2*math.Hypot(re, im)/float64(n))
	}
	return phase, amplitude
}

// straighten turns the strip until its lines stand square to it, and finds
// the period: both from how the phase runs, across and along.
func (s *strip) straighten(l level) bool {
	for round := range 4 {
		reach := 0.3 * s.period
		one, a1 := s.phases(s.profile(l, -reach, 0.4*s.period))
		two, a2 := s.phases(s.profile(l, reach, 0.4*s.period))
		var re, im, along, weight float64
		for i := range one {
			w := math.Min(a1[i], a2[i])
			sin, cos := math.Sincos(2 * math.Pi * (two[i] - one[i]))
			re, im = re+w*cos, im+w*sin
			if i > 0 {
				w = math.Min(w, math.Min(a1[i-1], a2[i-1]))
				step := math.Remainder(one[i]-one[i-1], 1)/2 + math.Remainder(two[i]-two[i-1], 1)/2
				along, weight = along+w*step, weight+w
			}
		}
		if !(weight > 0) {
			return false
		}
		// Lines that come later on the far side lean: the strip turns against that.
		lean := math.Atan2(im, re) / (2 * math.Pi) * s.period / (2 * reach)
		s.turn(-math.Atan(lean))
		if round > 0 { // the lean comes first: it moves the ends of the strip
			gain := along / weight / ruleWindow
			s.period /= 1 - gain
		}
	}
	return math.Abs(math.Atan2(r2.Cross(s.axis, s.along), r2.Dot(s.axis, s.along))) < (ruleTilt+2)*math.Pi/180
}

// turn turns the strip about its middle, along towards across.
func (s *strip) turn(angle float64) {
	middle := r2.Add(s.at, r2.Scale((s.from+s.to)/2, s.along))
	sin, cos := math.Sincos(angle)
	s.along = r2.Add(r2.Scale(cos, s.along), r2.Scale(sin, s.across))
	s.across = r2.Vec{X: -s.along.Y, Y: s.along.X}
	s.at = r2.Sub(middle, r2.Scale((s.from+s.to)/2, s.along))
}
