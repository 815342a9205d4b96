package samples

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Limits that no real rubbing comes near; they keep wild settings from
// drawing for ever.
const (
	maxCount  = 200   // of anything
	maxLength = 600.0 // mm on the face or the page
)

// sane is the rubbing with every setting inside its range: the nearest value
// that makes sense, and zero for what is not a number. A picture without a
// size is made to fit, and without a resolution it has 300 dpi.
func (r Rubbing) sane() Rubbing {
	for _, a := range []*float64{&r.Turn, &r.Paper.Turn, &r.StrokeAngle, &r.CrossAngle} {
		*a = math.Mod(within(*a, 1e9), 360)
	}
	for _, v := range []*r2.Vec{&r.Offset, &r.Slip} {
		v.X, v.Y = within(v.X, maxLength), within(v.Y, maxLength)
	}
	for _, n := range []*int{&r.PaleAreas, &r.Smudges, &r.Handwriting, &r.Folds, &r.Face.Scratches, &r.Face.Pits} {
		*n = min(max(*n, 0), maxCount)
	}
	for _, share := range []*float64{
		&r.Cross, &r.Streaks, &r.Grain, &r.SlipShare, &r.Paper.Lid, &r.Face.FeedDepth,
	} {
		*share = clamp(*share, 0, 1)
	}
	r.Tone = clamp(r.Tone, 0, 0.9)
	r.Uneven = clamp(r.Uneven, 0, 2)
	r.StrokeWidth = clamp(r.StrokeWidth, 0.8, 30)
	r.Ragged = clamp(r.Ragged, 0, 50)
	r.GrainSize = orElse(r.GrainSize, 1, 0.3, 5)
	r.EdgeLine = clamp(r.EdgeLine, 0, 10)
	r.EdgeLineWidth = clamp(r.EdgeLineWidth, 0.1, 1.5)
	r.EdgeSoftness = clamp(r.EdgeSoftness, 0, 2)
	r.Bridging = within(r.Bridging, 1)
	r.EdgeWander = clamp(r.EdgeWander, 0, 1)
	r.ScaleX, r.ScaleY, r.Shear = within(r.ScaleX, 0.2), within(r.ScaleY, 0.2), within(r.Shear, 0.2)
	r.Paper.Width, r.Paper.Height = clamp(r.Paper.Width, 0, 2*maxLength), clamp(r.Paper.Height, 0, 2*maxLength)
	r.Blur = clamp(r.Blur, 0, 20)
	r.Noise = clamp(r.Noise, 0, 255)
	r.UnevenLight = clamp(r.UnevenLight, 0, 0.5)
	r.WhitePoint = orElse(r.WhitePoint, 1, 0.1, 2)
	r.JPEGQuality = min(max(r.JPEGQuality, 0), 100)

	r.Face = r.Face.sane()
	if !(r.Width > 0) || !(r.Height > 0) {
		r.Fit(12)
	}
	r.Width, r.Height = clamp(r.Width, 1, 2*maxLength), clamp(r.Height, 1, 2*maxLength)
	r.DPI = orElse(r.DPI, 300, 20, 4800)
	return r
}

// sane leaves the caller's holes and discs alone.
func (f Face) sane() Face {
	f.Holes = slices.Clone(f.Holes[:min(len(f.Holes), maxCount)])
	f.Holes = slices.DeleteFunc(f.Holes, func(h Hole) bool { return !(h.Diameter > 0) })
	for i := range f.Holes {
		h := &f.Holes[i]
		h.X, h.Y = within(h.X, maxLength), within(h.Y, maxLength)
		h.Diameter, h.Outer = clamp(h.Diameter, 0, maxLength), clamp(h.Outer, 0, maxLength)
		h.Unrubbed, h.Blocked = clamp(h.Unrubbed, 0, 1), clamp(h.Blocked, 0, 1)
	}
	disc := func(d *Disc) *Disc {
		if d == nil || !(d.Diameter > 0) {
			return nil
		}
		own := Disc{
			X: within(d.X, maxLength), Y: within(d.Y, maxLength),
			Diameter: clamp(d.Diameter, 0, maxLength),
			Outer:    clamp(d.Outer, 0, maxLength),
			Keyway:   clamp(d.Keyway, 0, maxLength),
		}
		if own.Keyway > 0 {
			own.Outer = 0
		}
		return &own
	}
	f.Bore, f.Rim = disc(f.Bore), disc(f.Rim)
	if f.FeedPitch > 0 {
		f.FeedPitch = clamp(f.FeedPitch, 0.05, 10)
	} else {
		f.FeedPitch = 0
	}
	return f
}

// clamp also turns what is not a number into lo.
func clamp(v, lo, hi float64) float64 {
	if !(v > lo) {
		return lo
	}
	return min(v, hi)
}

// within is v between plus and minus a limit, and zero for what is not a
// number.
func within(v, limit float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return clamp(v, -limit, limit)
}

// orElse is v within its limits, or a value for a v that was not set.
func orElse(v, unset, lo, hi float64) float64 {
	if !(v > 0) {
		return unset
	}
	return clamp(v, lo, hi)
}
