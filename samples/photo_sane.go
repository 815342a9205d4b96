package samples

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// sane is the photograph with every setting inside its range, as
// [Rubbing.sane] is for rubbings.
func (p Photo) sane() Photo {
	for _, a := range []*float64{
		&p.Camera.Toward, &p.Camera.Turn, &p.Light.From, &p.Light.GradientTo, &p.Shot.MotionAngle,
	} {
		*a = math.Mod(within(*a, 1e9), 360)
	}
	p.Face = p.Face.sane()
	p.Face.Scratches, p.Face.Pits = min(max(p.Face.Scratches, 0), maxCount), min(max(p.Face.Pits, 0), maxCount)
	p.Face.FeedDepth = clamp(p.Face.FeedDepth, 0, 1)
	p.Metal = p.Metal.sane()
	p.Drop = orElse(p.Drop, 14, 0.5, 200)
	if p.Ground < Bench || p.Ground > Cloth {
		p.Ground = Bench
	}
	if p.Sheet != nil {
		s := p.Sheet.sane()
		p.Sheet = &s
	}
	p.Things = slices.Clone(p.Things[:min(len(p.Things), maxCount)])
	for i := range p.Things {
		t := &p.Things[i]
		t.X, t.Y, t.Base = within(t.X, maxLength), within(t.Y, maxLength), within(t.Base, 100)
		t.Size, t.Turn = clamp(t.Size, 0.5, 200), math.Mod(within(t.Turn, 1e9), 360)
	}

	if p.Screw != nil {
		s := p.Screw.sane()
		p.Screw = &s
	}

	c := &p.Camera
	if c.Width <= 0 || c.Height <= 0 {
		c.Width, c.Height = 4000, 3000
	}
	c.Width, c.Height = min(c.Width, 12000), min(c.Height, 12000)
	c.Focal = orElse(c.Focal, 0.76*float64(max(c.Width, c.Height)), 10, 1e6)
	c.Principal.X, c.Principal.Y = within(c.Principal.X, 1e6), within(c.Principal.Y, 1e6)
	if c.Principal == (r2.Vec{}) {
		c.Principal = r2.Vec{X: float64(c.Width) / 2, Y: float64(c.Height) / 2}
	}
	c.K1, c.K2 = within(c.K1, 2), within(c.K2, 2)
	c.Aim.X, c.Aim.Y = within(c.Aim.X, maxLength), within(c.Aim.Y, maxLength)
	c.Distance = orElse(c.Distance, 400, 100, 10000)
	c.Tilt = clamp(c.Tilt, 0, 75)

	l := &p.Light
	l.Height = orElse(l.Height, 50, 10, 90)
	l.Distance = orElse(l.Distance, 1500, 300, 1e6)
	l.Warm = within(l.Warm, 1)
	for _, share := range []*float64{&l.Ambient, &l.Vignette, &l.Hotspot} {
		*share = clamp(*share, 0, 1)
	}
	l.Glare = clamp(l.Glare, 0, 5)
	l.Gradient = clamp(l.Gradient, 0, 0.9)
	l.HotspotAt.X, l.HotspotAt.Y = within(l.HotspotAt.X, 3), within(l.HotspotAt.Y, 3)

	s := &p.Shot
	s.Exposure = within(s.Exposure, 6)
	s.Defocus, s.Motion = clamp(s.Defocus, 0, 20), clamp(s.Motion, 0, 60)
	s.Noise, s.Sharpen = clamp(s.Noise, 0, 100), clamp(s.Sharpen, 0, 4)
	s.SharpenRange = orElse(s.SharpenRange, 1.6, 0.5, 10)
	s.Contrast = clamp(s.Contrast, 0, 1)
	if s.JPEGQuality <= 0 {
		s.JPEGQuality = 90
	}
	s.JPEGQuality = min(s.JPEGQuality, 100)
	return p
}

func (m Metal) sane() Metal {
	m.Tone = orElse(m.Tone, 0.5, 0.02, 1)
	m.Rust, m.Grease = clamp(m.Rust, 0, 1), clamp(m.Grease, 0, 1)
	m.Burr = clamp(m.Burr, 0, 2)
	m.Depth = orElse(m.Depth, 16, 0.5, 200)
	m.Behind = clamp(m.Behind, 0, 1)
	return m
}

// sane leaves the caller's dots alone.
func (s Sheet) sane() Sheet {
	s.Width, s.Height = orElse(s.Width, 210, 5, maxLength), orElse(s.Height, 297, 5, maxLength)
	s.WindowWidth, s.WindowHeight = clamp(s.WindowWidth, 0, maxLength), clamp(s.WindowHeight, 0, maxLength)
	s.Corner = clamp(s.Corner, 0, min(s.Width, s.Height)/2)
	s.Offset.X, s.Offset.Y = within(s.Offset.X, maxLength), within(s.Offset.Y, maxLength)
	s.Turn, s.CurlLine = math.Mod(within(s.Turn, 1e9), 360), math.Mod(within(s.CurlLine, 1e9), 360)
	s.Above, s.Curl = within(s.Above, 60), within(s.Curl, 20)
	s.Wrinkled = clamp(s.Wrinkled, 0, 1)
	s.Tone = orElse(s.Tone, 0.86, 0.05, 1)
	const maxDots = 20000
	s.Dots = slices.Clone(s.Dots[:min(len(s.Dots), maxDots)])
	for i := range s.Dots {
		d := &s.Dots[i]
		d.X, d.Y, d.Diameter = within(d.X, maxLength), within(d.Y, maxLength), clamp(d.Diameter, 0, maxLength)
	}
	s.Bars = slices.Clone(s.Bars[:min(len(s.Bars), maxDots)])
	for i := range s.Bars {
		b := &s.Bars[i]
		b.X1, b.Y1, b.X2, b.Y2 = within(b.X1, maxLength), within(b.Y1, maxLength), within(b.X2, maxLength), within(b.Y2, maxLength)
		b.Width = clamp(b.Width, 0, maxLength)
	}
	if s.Picture != nil && s.Picture.Bounds().Empty() {
		s.Picture = nil
	}
	return s
}
