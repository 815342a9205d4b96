package samples

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"slices"
	"testing"

	"github.com/bep/imagemeta"
	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// drawing is a photograph without anything that disturbs its edges: even
// light, no noise, no blur, no sharpening, and dots on plain paper.
func drawing(dots ...Disc) Photo {
	p := Photo{NoFace: true, Seed: 3, Ground: Cloth}
	p.Sheet = &Sheet{Width: 200, Height: 150, Dots: dots}
	p.Camera = NewCamera(400)
	p.Camera.Width, p.Camera.Height = 1200, 900
	p.Camera.Focal *= 0.3
	p.Camera.Principal = r2.Vec{X: 600, Y: 450}
	p.Light = Light{Ambient: 1}
	return p
}

// lightAt undoes the sRGB curve (IEC 61966-2-1), written here again: it is
// what a picture's levels mean.
func lightAt(img *image.RGBA, x, y int) float64 {
	v := float64(img.RGBAAt(x, y).G) / 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// darkBlob is area and centroid of a dark spot in a window.
func darkBlob(img *image.RGBA, window image.Rectangle) (area float64, centre r2.Vec) {
	dark, bright := math.Inf(1), 0.0
	count := 0
	for y := window.Min.Y; y < window.Max.Y; y++ {
		for x := window.Min.X; x < window.Max.X; x++ {
			dark = min(dark, lightAt(img, x, y))
			if y < window.Min.Y+4 {
				bright += lightAt(img, x, y)
				count++
			}
		}
	}
	bright /= float64(count)
	for y := window.Min.Y; y < window.Max.Y; y++ {
		for x := window.Min.X; x < window.Max.X; x++ {
			// The texture of paper and ink is cut off: only the edge counts.
			v := (bright - lightAt(img, x, y)) / (bright - dark)
			if v < 0.06 {
				v = 0
			} else if v > 0.94 {
				v = 1
			}
			area += v
			centre = r2.Add(centre, r2.Scale(v, r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}))
		}
	}
	return area, r2.Scale(1/area, centre)
}

// imageOf is area and centroid of what a camera without a lens error makes of
// a disc of the sheet, by the integral over its boundary: it follows the
// projection's formula and not the renderer.
func imageOf(c Camera, x, y, radius float64) (area float64, centre r2.Vec) {
	tiltSin, tiltCos := math.Sincos(c.Tilt * math.Pi / 180)
	project := func(x, y float64) r2.Vec {
		// Tilted towards the right.
		depth := c.Distance - x*tiltSin
		return r2.Vec{X: c.Principal.X + c.Focal*x*tiltCos/depth, Y: c.Principal.Y - c.Focal*y/depth}
	}
	const n = 20000
	at := func(k int) r2.Vec {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
		return project(x+radius*cos, y+radius*sin)
	}
	for k := range n {
		p, q := at(k), at(k+1)
		cross := p.X*q.Y - q.X*p.Y
		area += cross / 2
		centre = r2.Add(centre, r2.Scale(cross/6, r2.Add(p, q)))
	}
	return math.Abs(area), r2.Scale(1/area, centre)
}

func TestDiscsAreTrue(t *testing.T) {
	for _, tilt := range []float64{0, 35} {
		discs := []Disc{{X: -40, Y: 20, Diameter: 40}, {X: 45.3, Y: -13.7, Diameter: 31}, {X: 33, Y: 47, Diameter: 6}}
		p := drawing(discs...)
		p.Camera.Tilt = tilt
		img, truth := p.Render()
		for k, d := range discs {
			wantArea, want := imageOf(p.Camera, d.X, d.Y, d.Diameter/2)
			half := int(0.6*d.Diameter*p.Camera.Focal/p.Camera.Distance) + 4
			area, centre := darkBlob(img, around(want, half))
			limit := 0.005
			if d.Diameter < 10 {
				limit = 0.02 // 14 px wide: the sampling of single pixels shows
			}
			if off := r2.Norm(r2.Sub(centre, want)); off > limit {
				t.Errorf("tilt %g°, disc %d: centroid %v, want %v: %.4f px off", tilt, k, centre, want, off)
			}
			if r, wantR := math.Sqrt(area/math.Pi), math.Sqrt(wantArea/math.Pi); math.Abs(r-wantR) > 0.02 {
				t.Errorf("tilt %g°, disc %d: radius %.4f px, want %.4f", tilt, k, r, wantR)
			}
			bias := r2.Norm(r2.Sub(want, truth.Dots[k].CentrePx))
			if tilt == 0 && bias > 1e-6 || tilt > 0 && d.Diameter > 30 && bias < 0.3 {
				t.Errorf("tilt %g°, disc %d: the ellipse's centre is %.3f px from the circle's", tilt, k, bias)
			}
		}
	}
}

// A hole's rim is the edge of the face, wherever its walls are seen.
func TestHoleIsTrueWhenItsWallsAreDark(t *testing.T) {
	p := drawing()
	p.NoFace, p.Sheet = false, nil
	p.Face = Face{Holes: []Hole{{X: 30, Y: 10, Diameter: 30}}}
	p.Metal = Metal{Tone: 0.9, Depth: 200}
	p.Camera.Tilt = 20
	p.Light = Light{From: 0, Height: 89, Ambient: 1}
	img, truth := p.Render()
	_, want := imageOf(p.Camera, 30, 10, 15)
	// The metal has a texture and the wall is not black: a fifth of a pixel.
	if off := r2.Norm(r2.Sub(ellipseCentre(img, truth.Holes[0].CentrePx, 60), want)); off > 0.2 {
		t.Errorf("%.3f px off", off)
	}
}

// ellipseCentre is the middle of the outermost steepest falls of brightness on
// rays from about the middle, opposite rays taken together.
func ellipseCentre(img *image.RGBA, middle r2.Vec, reach float64) r2.Vec {
	sum := r2.Vec{}
	const n = 360
	edge := func(a float64) r2.Vec {
		sin, cos := math.Sincos(a)
		at := func(r float64) float64 {
			x, y := middle.X+r*cos-0.5, middle.Y+r*sin-0.5
			i, j := int(math.Floor(x)), int(math.Floor(y))
			u, v := x-float64(i), y-float64(j)
			return (lightAt(img, i, j)*(1-u)+lightAt(img, i+1, j)*u)*(1-v) +
				(lightAt(img, i, j+1)*(1-u)+lightAt(img, i+1, j+1)*u)*v
		}
		// Half the fall from the metal to the wall beside it.
		best, steepest := 0.0, 0.0
		for r := 0.3 * reach; r < reach; r += 0.05 {
			if d := at(r+0.5) - at(r-0.5); d > steepest {
				best, steepest = r, d
			}
		}
		return r2.Vec{X: middle.X + best*cos, Y: middle.Y + best*sin}
	}
	for k := range n {
		sum = r2.Add(sum, edge(2*math.Pi*float64(k)/n))
	}
	mean := r2.Scale(1.0/n, sum)
	if r2.Norm(r2.Sub(mean, middle)) > 0.02 {
		return ellipseCentre(img, mean, reach)
	}
	return mean
}

func TestTruthAgreesWithItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		p := drawing(Disc{X: f("x", -90, 90), Y: f("y", -65, 65), Diameter: 5})
		c := &p.Camera
		c.Tilt, c.Toward, c.Turn = f("tilt", 0, 45), f("toward", 0, 360), f("turn", 0, 360)
		c.K1, c.K2 = f("k1", -0.25, 0.1), f("k2", 0.05, 0.15)
		s := p.Sheet
		s.Above, s.Turn, s.Offset = f("above", -5, 12), f("sheet turn", 0, 360), r2.Vec{X: f("dx", -9, 9), Y: 3}
		s.Curl, s.CurlLine = f("curl", -4, 4), f("line", 0, 180)
		truth := p.Truth()
		dot := truth.Dots[0]
		at := r2.Vec{X: s.Dots[0].X, Y: s.Dots[0].Y}
		if d := r2.Norm(r2.Sub(truth.SheetToPx(at), dot.CentrePx)); d > 1e-9 {
			t.Fatalf("dot and sheet differ by %g px", d)
		}
		if c.inside(dot.CentrePx) {
			// The ray through the dot's centre meets the bent sheet there.
			e := newEye(*c)
			d, ok := e.ray(dot.CentrePx.X, dot.CentrePx.Y)
			l := layOut(*s)
			if q, _ := l.meet(e.at, d); !ok || r2.Norm(r2.Sub(q, at)) > 1e-4 {
				t.Fatalf("the ray meets %v, the dot is at %v", q, at)
			}
		}
		face := r2.Vec{X: f("fx", -50, 50), Y: f("fy", -50, 50)}
		if px := truth.ToPx(face); c.inside(px) && r2.Norm(r2.Sub(truth.ToFace(px), face)) > 1e-4 {
			t.Fatalf("%v back at %v", face, truth.ToFace(px))
		}
	})
}

// A rubbing photographed on a table: what was at a pixel of it is seen where
// the sheet says.
func TestPictureOnASheet(t *testing.T) {
	r := clean(Ring(4, 60, 14))
	scan, scanned := r.Render()
	p := drawing()
	p.Sheet = &Sheet{Width: r.Width, Height: r.Height, Picture: scan, Turn: 25, Curl: 2, CurlLine: 40}
	p.Camera.Tilt, p.Camera.Distance = 15, 300
	img, truth := p.Render()
	b := scan.Bounds()
	for k, h := range scanned.Holes {
		at := r2.Vec{
			X: (h.CentrePx.X/float64(b.Dx()) - 0.5) * r.Width,
			Y: (0.5 - h.CentrePx.Y/float64(b.Dy())) * r.Height,
		}
		px := truth.SheetToPx(at)
		// The hole is the pale disc in the dark, 43 px wide. Perspective moves
		// its image's centroid by a tenth of a pixel off its centre's image.
		window := around(px, 27)
		sum, centre := 0.0, r2.Vec{}
		for y := window.Min.Y; y < window.Max.Y; y++ {
			for x := window.Min.X; x < window.Max.X; x++ {
				v := max(0, lightAt(img, x, y)-0.15)
				sum += v
				centre = r2.Add(centre, r2.Scale(v, r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}))
			}
		}
		if off := r2.Norm(r2.Sub(r2.Scale(1/sum, centre), px)); off > 0.25 {
			t.Errorf("hole %d: %.3f px off", k, off)
		}
	}
}

// A chamfered hole's own rim lies below the face and is seen shifted.
func TestChamferIsDeep(t *testing.T) {
	p := drawing()
	p.NoFace, p.Sheet = false, nil
	p.Camera.Tilt = 25
	p.Face = Face{Holes: []Hole{{X: 5, Diameter: 20, Outer: 26}}}
	truth := p.Truth()
	chamferIsDeep(t, truth, truth.Holes[0])
	p.Face = Face{Bore: &Disc{X: 5, Diameter: 20, Outer: 26}}
	truth = p.Truth()
	chamferIsDeep(t, truth, *truth.Bore)
}

func chamferIsDeep(t *testing.T, truth PhotoTruth, h SeenCircle) {
	t.Helper()
	if h.Deep != 3 {
		t.Fatalf("the rim lies %g mm deep, want half of 26 − 20", h.Deep)
	}
	s := truth.scene
	for a := 0.0; a < 360; a += 30 {
		sin, cos := math.Sincos(a * math.Pi / 180)
		on := func(r float64) hit {
			px := truth.ToPxBelow(r2.Vec{X: 5 + r*cos, Y: r * sin}, h.Deep)
			d, _ := s.eye.ray(px.X, px.Y)
			return s.trace(s.eye.at, d)
		}
		// Just outside that rim is the chamfer, just inside what is further
		// down.
		if out := on(10.05); out.on != wall || out.deep > 3 || math.Abs(out.deep-2.95) > 0.05 {
			t.Errorf("at %g°: %v, %.3f mm deep", a, out.on, out.deep)
		}
		if in := on(9.95); in.deep <= 3 {
			t.Errorf("at %g°: %.3f mm deep", a, in.deep)
		}
	}
}

// Bending keeps lengths on the sheet.
func TestCurlKeepsLengths(t *testing.T) {
	l := layOut(Sheet{Width: 200, Height: 100, Curl: 5, CurlLine: 90})
	long := 0.0
	last := l.point(r2.Vec{X: -100})
	if math.Abs(last.Z-5) > 0.05 {
		t.Errorf("the edge stands %.3f mm high, want 5", last.Z)
	}
	for k := 1; k <= 1000; k++ {
		p := l.point(r2.Vec{X: -100 + 0.2*float64(k)})
		long += math.Sqrt(square(p.X-last.X) + square(p.Y-last.Y) + square(p.Z-last.Z))
		last = p
	}
	if math.Abs(long-200) > 1e-3 {
		t.Errorf("200 mm of paper became %.4f", long)
	}
}

func TestHiddenDotsAreHidden(t *testing.T) {
	p := drawing(Disc{X: -50, Diameter: 8}, Disc{X: 50, Diameter: 8}, Disc{X: 300, Diameter: 8}, Disc{Y: 50, Diameter: 8})
	p.Camera = p.Camera.Scaled(0.5)
	p.Camera.Tilt = 30
	p.Things = []Thing{{Kind: Rag, X: -50, Size: 20}, {Kind: Hand, X: 0, Y: 25, Size: 17, Turn: 90}}
	img, truth := p.Render()
	for k, want := range []bool{true, false, true, true} {
		d := truth.Dots[k]
		if d.Hidden() != want {
			t.Errorf("dot %d: seen %.2f", k, d.Seen)
		}
		if k == 2 {
			continue
		}
		c := img.RGBAAt(int(d.CentrePx.X), int(d.CentrePx.Y))
		ink := c.R < 70 && c.G < 70 && c.B < 70
		if ink == want {
			t.Errorf("dot %d: its middle is %v", k, c)
		}
	}
	if truth.Dots[1].Seen != 1 {
		t.Errorf("the free dot is seen to %.2f", truth.Dots[1].Seen)
	}
}

// The far wall of a hole is seen from aslant: it takes away from the side the
// camera leans to.
func TestHoleIsSeenInto(t *testing.T) {
	p := drawing()
	p.NoFace, p.Sheet = false, nil
	p.Face = Face{Holes: []Hole{{Diameter: 40}}}
	p.Metal = Metal{Tone: 0.9, Depth: 10, Behind: 0.001}
	p.Camera = p.Camera.Scaled(0.5)
	p.Camera.Tilt = 30
	img, truth := p.Render()
	bottom := func(x float64) float64 {
		px := truth.ToPx(r2.Vec{X: x})
		return lightAt(img, int(px.X), int(px.Y))
	}
	// The ray to -19 comes from the right at tan 30° and more: it meets the wall
	// at -20 less than 2 mm down. The ray to 19 goes on to the floor.
	if wall, floor := bottom(-19), bottom(19); wall < 0.1 || floor > 0.05 {
		t.Errorf("wall %.3f, floor %.3f", wall, floor)
	}
}

func TestPhotosRepeat(t *testing.T) {
	p := PhotoPopulation(3, 11, nil)[2]
	p.Camera = p.Camera.Scaled(0.06)
	a, _ := p.Render()
	b, _ := p.Render()
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("the same photograph differs")
	}
	p.Seed++
	c, _ := p.Render()
	if bytes.Equal(a.Pix, c.Pix) {
		t.Error("another seed changes nothing")
	}
}

// Read back by a library that knows nothing of this package.
func TestEXIFIsReadBack(t *testing.T) {
	p := NewPhoto(CiderPress(), 1)
	p.Phone = Phone{Make: "Pomona", Model: "Presser 12 Plus", FocalMM: 5.43, Focal35MM: 26}
	var buf bytes.Buffer
	if err := p.WriteJPEG(&buf, image.NewRGBA(image.Rect(0, 0, 40, 30))); err != nil {
		t.Fatal(err)
	}
	if _, err := jpeg.Decode(bytes.NewReader(buf.Bytes())); err != nil {
		t.Fatal(err)
	}
	got := map[string]any{}
	_, err := imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(buf.Bytes()), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
		HandleTag: func(tag imagemeta.TagInfo) error {
			got[tag.Namespace+" "+tag.Tag] = tag.Value
			return nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	if got["IFD0 Make"] != "Pomona" || got["IFD0 Model"] != "Presser 12 Plus" {
		t.Errorf("%v", got)
	}
	if f, ok := got["IFD0/ExifIFDP FocalLength"].(interface{ Float64() float64 }); !ok || math.Abs(f.Float64()-5.43) > 1e-9 {
		t.Errorf("focal length %v", got["IFD0/ExifIFDP FocalLength"])
	}
	if got["IFD0/ExifIFDP FocalLengthIn35mmFormat"] != uint16(26) {
		t.Errorf("%v", got)
	}
}

// A pure motion or defocus blur moves nothing.
func TestBlurStaysInPlace(t *testing.T) {
	const w, h = 41, 31
	dot := make([]float32, w*h)
	dot[15*w+20] = 1
	f := &film{w: w, bottom: h, c: [3][]float32{dot, dot, dot}}
	for name, out := range map[string]*film{
		"motion":  f.smear(motionTaps(7.3, 30), 0, h),
		"defocus": f.blur(gaussian(1.7), 0, h),
	} {
		sum, x, y := 0.0, 0.0, 0.0
		for k, a := range out.c[1] {
			sum += float64(a)
			x += float64(a) * float64(k%w)
			y += float64(a) * float64(k/w)
		}
		if math.Abs(sum-1) > 1e-4 || math.Abs(x/sum-20) > 1e-3 || math.Abs(y/sum-15) > 1e-3 {
			t.Errorf("%s: %.4f at (%.4f, %.4f)", name, sum, x/sum, y/sum)
		}
	}
}

func TestPhotoPopulationIsPlausible(t *testing.T) {
	list := PhotoPopulation(2*len(photoEffects), 5, nil)
	for _, p := range list {
		c := p.Camera
		steep := slices.Contains(p.Effects, TiltBeyond35)
		if c.Tilt > 45 || c.Tilt > 35 != steep {
			t.Errorf("%s: tilt %.1f°", p.Name, c.Tilt)
		}
		if c.Distance < 300 || c.Distance > 620 {
			t.Errorf("%s: distance %.0f mm", p.Name, c.Distance)
		}
		if c.K1 < -0.25 || c.K1 > 0.1 {
			t.Errorf("%s: k1 %.3f", p.Name, c.K1)
		}
		if q := p.Shot.JPEGQuality; q < 60 || q > 95 {
			t.Errorf("%s: quality %d", p.Name, q)
		}
		truth := p.Truth()
		for k, h := range truth.Holes {
			if h.Seen < 0.99 {
				t.Errorf("%s: hole %d seen to %.2f", p.Name, k, h.Seen)
			}
		}
		hidden := 0
		for _, d := range truth.Dots {
			if d.Hidden() {
				hidden++
			}
		}
		share := float64(hidden) / float64(len(truth.Dots))
		covered := slices.ContainsFunc(p.Effects, func(e string) bool {
			return e == "a hand on the frame" || e == "a rag on the frame" || e == "oil on the frame"
		})
		if covered && (share < 0.28 || share > 0.46) || !covered && share > 0.2 {
			t.Errorf("%s %v: %.2f of the dots hidden", p.Name, p.Effects, share)
		}
	}
	again := PhotoPopulation(len(list), 5, nil)
	if !slices.EqualFunc(list, again, func(a, b Photo) bool {
		return a.Name == b.Name && a.Seed == b.Seed && a.Camera == b.Camera && a.Light == b.Light && a.Shot == b.Shot
	}) {
		t.Error("the same seed gave another population")
	}
}

// Settings that make no sense give a picture all the same.
func TestAnyPhotoRenders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return rapid.Float64().Draw(t, name) }
		p := Photo{
			Face: Face{Holes: []Hole{{X: f("hx"), Y: f("hy"), Diameter: f("hd"), Outer: f("ho"), Threaded: true}},
				Bore: &Disc{Diameter: f("bore"), Keyway: f("key")}, FeedPitch: f("pitch"), FeedDepth: f("feed")},
			Metal: Metal{Tone: f("tone"), Rust: f("rust"), Burr: f("burr"), Depth: f("depth")},
			Drop:  f("drop"), Ground: Ground(rapid.IntRange(-1, 5).Draw(t, "ground")),
			Sheet: &Sheet{Width: f("sw"), Height: f("sh"), WindowWidth: f("ww"), WindowHeight: f("wh"), Curl: f("curl"),
				Above: f("above"), Dots: []Disc{{X: f("dx"), Diameter: f("dd")}}, Bars: []Bar{{X1: f("b1"), X2: f("b2"), Width: f("bw")}}},
			Things: []Thing{{Kind: Kind(rapid.IntRange(-1, 7).Draw(t, "kind")), X: f("tx"), Size: f("ts"), Base: f("tb")}},
			Camera: Camera{Width: 40, Height: 30, Focal: f("focal"), K1: f("k1"), K2: f("k2"), Distance: f("dist"), Tilt: f("tilt"), Toward: f("to")},
			Light:  Light{Height: f("lh"), Ambient: f("amb"), Glare: f("glare"), Hotspot: f("hot"), Gradient: f("grad"), Distance: f("ld")},
			Shot:   Shot{Exposure: f("ev"), Defocus: f("def"), Motion: f("mot"), Noise: f("noise"), Sharpen: f("sharp"), Contrast: f("con")},
		}
		s := newPhotoScene(p)
		for _, plane := range s.expose(0, s.Camera.Height).c {
			for _, v := range plane {
				if !(v >= 0 && v < 1e9) {
					t.Fatalf("light %v", v)
				}
			}
		}
		_, truth := p.Render()
		for _, c := range slices.Concat(truth.Holes, truth.Dots) {
			if math.IsNaN(c.CentrePx.X+c.CentrePx.Y) || !(c.Seen >= 0 && c.Seen <= 1) {
				t.Fatalf("%+v", c)
			}
		}
	})
}

func BenchmarkRenderPhoto(b *testing.B) {
	p := FinishedPhotos(DotBorder(210, 297, 150, 150, 10, 5))[0]
	for b.Loop() {
		p.Render()
	}
}
