package read

import (
	"fmt"
	"math"
	"slices"

	"boltrose/calib"
	"boltrose/pattern"
	"boltrose/vision"
)

// measure fits each mark's circle on the face.
func measure(plane *calib.Plane, marks []vision.Mark) ([]calib.Circle, error) {
	out := make([]calib.Circle, len(marks))
	for i, m := range marks {
		c, err := plane.Measure(m)
		if err != nil {
			return nil, fmt.Errorf("the mark at %.0f,%.0f px cannot be put on the face: %w", m.Centre.X, m.Centre.Y, err)
		}
		out[i] = c
	}
	return out, nil
}

// rings turns measured circles into rings. How much the edge points of one
// rim wander is known from that rim only roughly; those of the holes were all
// seen alike, in pixels, so that each one's figure is taken together with
// theirs, and the bore's too. (The larger of the two made bores a third too
// uncertain on rendered rubbings: of two rough figures the larger is too large.)
// What wanders so much more than the holes do that chance does not make it was
// seen otherwise, through a pen's line or a tear: it keeps its own figure, and
// theirs is made without it. So does the bore of a scan, which is then its chamfer's
// edge in part. A part's outer rim, where the pencil falls off, wanders no less than
// holes do.
func (r *Result) rings(circles []calib.Circle, holes []int) []pattern.Ring {
	variance := make([]float64, len(circles)) // px²
	mmPerPx := make([]float64, len(circles))
	for i, c := range circles {
		x, y := r.Scaling.Plane.MMPerPx(r.Marks[i].Centre)
		mmPerPx[i] = (x + y) / 2
		variance[i] = c.Sigma * c.Sigma / (mmPerPx[i] * mmPerPx[i])
	}
	together, apart := alike(variance, holes)
	out := make([]pattern.Ring, len(circles))
	for i, c := range circles {
		m, v := r.Marks[i], variance[i]
		switch {
		case v > apart && (slices.Contains(holes, i) || i == r.Choice.Bore && r.look.flat == nil):
		case slices.Contains(holes, i) || len(holes) > 0 && i == r.Choice.Bore:
			v = (v + othersCount*together) / (1 + othersCount)
		default:
			v = math.Max(v, together)
		}
		v *= mmPerPx[i] * mmPerPx[i]
		out[i] = pattern.Ring{
			ID: i + 1, Centre: c.Centre, Diameter: c.Diameter,
			CentreCov: [2][2]float64{
				{c.Cofactor[0][0] * v, c.Cofactor[0][1] * v},
				{c.Cofactor[1][0] * v, c.Cofactor[1][1] * v},
			},
			DiameterU: 2 * math.Sqrt(c.Cofactor[2][2]*v),
			Shared:    c.Shared, SharedDiameter: c.SharedDiameter,
			CentrePx: m.Centre, RadiusPx: m.Radius,
			Aside:   r.Scaling.Plane.Aside(m.Centre),
			Either:  m.Kind == vision.Either,
			RimSeen: m.RimSeen, Contrast: m.Contrast, Step: m.Step, Score: m.Score, Scatter: c.Scatter,
		}
	}
	if r.look.flat == nil { // in a photograph it is a highlight or a shadow
		for i, m := range r.Marks {
			out[i].Ink, out[i].InkSteep = m.Ink*mmPerPx[i], m.InkSteep
		}
	}
	return out
}

// alike is the mean variance of the holes, without those that lie apart from the
// others, and above which one does: a figure of four degrees of freedom, the
// amplitudes that [circle.Fit.SlowSigma] goes by, is once in two hundred more than
// apartVariance times its median. Without holes none does.
func alike(variance []float64, holes []int) (together, apart float64) {
	var of []float64
	for _, h := range holes {
		of = append(of, variance[h])
	}
	if len(of) == 0 {
		return 0, math.Inf(1)
	}
	slices.Sort(of)
	apart = apartVariance * of[(len(of)-1)/2]
	n := 0.0
	for _, v := range of {
		if v <= apart {
			together += v
			n++
		}
	}
	return together / n, apart
}

// apartVariance is the 99.5 % point of χ² of four degrees of freedom over its
// median.
const apartVariance = 4.43

// othersCount is how much the holes' common figure counts beside a hole's own.
const othersCount = 2
