package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// outlineStep is how far apart (px) the outline is looked up along the axis,
// and how far apart the greys are on the way in to it.
const outlineStep = 0.5

// contour is how far (px) a silhouette reaches to either side of its axis, at
// steps along it; NaN where it is not seen.
type contour struct {
	origin, along, across r2.Vec
	reach                 [2][]float64 // towards across, and away from it
	contrast              float64      // grey levels between outside and inside
	blur                  float64      // px, standard deviation of what blurs the edge
}

// trace follows the outline on both sides of an axis through the silhouette.
// The edge is where the grey is half-way from what is just outside to what is
// just inside, on the way in from outside.
func (l level) trace(s silhouette) contour {
	o := contour{along: s.along, across: r2.Vec{X: -s.along.Y, Y: s.along.X}}
	const beyond = 6 // px past the ends
	o.origin = r2.Sub(s.middle, r2.Scale(s.long/2+beyond, s.along))
	n := int((s.long + 2*beyond) / outlineStep)
	far := s.wide + 12
	sign := 1.0
	if s.inside < s.behind {
		sign = -1
	}
	cut := sign * (s.inside - s.behind) / 2
	// Round by round: the first cut is rough, the second knows both sides.
	for round := range 2 {
		var inner, steep []float64
		for side := range o.reach {
			o.reach[side] = make([]float64, n)
			out := o.across
			if side == 1 {
				out = r2.Scale(-1, o.across)
			}
			each(n/256+1, func(part int) {
				ray := make([]float64, int(far/outlineStep))
				for i := part * 256; i < min((part+1)*256, n); i++ {
					base := r2.Add(o.origin, r2.Scale(float64(i)*outlineStep, o.along))
					o.reach[side][i] = l.inward(ray, base, out, far, s.behind, sign, cut, round > 0)
				}
			})
			for i := 0; i < n; i += 3 {
				r := o.reach[side][i]
				if math.IsNaN(r) || r < 5 {
					continue
				}
				base := r2.Add(o.origin, r2.Scale(float64(i)*outlineStep, o.along))
				look := func(r float64) float64 {
					p := r2.Add(base, r2.Scale(r, out))
					v, _ := l.sample(p.X, p.Y)
					return sign * v
				}
				outside := look(r + 4)
				inner = append(inner, math.Max(look(r-3), look(r-4))-outside)
				steep = append(steep, look(r-0.5)-look(r+0.5))
			}
		}
		if len(inner) == 0 {
			return o
		}
		o.contrast = median(inner)
		cut = o.contrast / 2
		// On flanks that lean, the way in is longer than across the edge.
		const lean = 0.5 // the sine of a flank's half angle: most edges lean by that
		if s := median(steep); s > 0 {
			o.blur = math.Max(0.3, o.contrast/(math.Sqrt(2*math.Pi)*s)*lean)
		}
	}
	return o
}

// inward is where a ray from outside meets the edge, px from the axis, or NaN.
func (l level) inward(ray []float64, base, out r2.Vec, far, behind, sign, cut float64, local bool) float64 {
	for k := range ray {
		p := r2.Add(base, r2.Scale(far-float64(k)*outlineStep, out))
		v, ok := l.sample(p.X, p.Y)
		if !ok {
			v = behind
		}
		ray[k] = sign * (v - behind)
	}
	at := crossing(ray, cut, 0)
	if local && !math.IsNaN(at) {
		// What is just outside may be in the bolt's shadow or in stray light.
		from := max(int(at)-12, 0)
		to := max(int(at)-5, from+1)
		outside := 0.0
		for k := from; k < to; k++ {
			outside += ray[k] / float64(to-from)
		}
		if math.Abs(outside) < cut {
			at = crossing(ray, outside+cut*0.999, from)
		}
	}
	if math.IsNaN(at) {
		return at
	}
	return far - at*outlineStep
}

// crossing is where values first rise above a cut and stay there for three
// steps.
func crossing(v []float64, cut float64, from int) float64 {
	for k := from + 1; k+2 < len(v); k++ {
		if v[k] > cut && v[k-1] <= cut && v[k+1] > cut && v[k+2] > cut {
			return float64(k-1) + (cut-v[k-1])/(v[k]-v[k-1])
		}
	}
	return math.NaN()
}

// at is a point of the outline's frame in the picture: along the axis from its
// origin, and out from it.
func (o *contour) at(along, across float64) r2.Vec {
	return r2.Add(o.origin, r2.Add(r2.Scale(along, o.along), r2.Scale(across, o.across)))
}
