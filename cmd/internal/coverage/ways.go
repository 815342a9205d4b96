package main

import (
	"errors"
	"image"
	"image/draw"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"boltrose/calib"
	"boltrose/cmd/internal/demo"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// Sources, as the table names them.
const (
	rubbing150 = "rubbing, 150 dpi"
	rubbing300 = "rubbing, 300 dpi"
	withKnown  = "rubbing, 150 dpi, one caliper distance"
	combined   = "three rubbings combined"
	photo      = "photograph with frame, bars measured"
	byHand     = "calipers, no picture"
)

// way is a way to take down a face, which makes readings of one or more
// sources.
type way struct {
	sources []string
	times   int // faces of which each stands for one of the others': cheap ways take more
	take    func(job) ([]outcome, error)
}

var ways = []way{
	{[]string{rubbing150, withKnown, combined}, 1, takeThree},
	{[]string{rubbing300}, 1, takeOne},
	{[]string{photo}, 1, takePhoto},
	{[]string{byHand}, byHandTimes, takeByHand},
}

// byHandTimes is how many faces are measured by hand for one that is rendered.
const byHandTimes = 5

func (w way) wanted(source string) bool {
	for _, s := range w.sources {
		if strings.Contains(s, source) {
			return true
		}
	}
	return false
}

func (j job) random() *rand.Rand { return rand.New(rand.NewPCG(j.seed, 4)) }

// quarterTurn (degrees) is how far the papers to be combined are turned
// against each other.
const quarterTurn = 90

// onScanner makes rubbings of one face that go through one scanner.
func onScanner(face samples.Face, rng *rand.Rand, dpi float64, n int) []samples.Rubbing {
	x, y, shear := scannerScaleU*rng.NormFloat64(), scannerScaleU*rng.NormFloat64(), scannerShearU*rng.NormFloat64()
	list := make([]samples.Rubbing, n)
	for i := range list {
		r := samples.New(face, 0)
		r.Vary(rng.Uint64())
		if i > 0 { // each a quarter further on the glass, as help combine asks
			r.Turn = list[0].Turn + quarterTurn*float64(i) + laidU*rng.NormFloat64()
		}
		r.DPI, r.Blur = dpi, 0.6*math.Sqrt(dpi/300)
		r.ScaleX, r.ScaleY, r.Shear = x, y, shear
		list[i] = r
	}
	return list
}

func rubbedFace(j job, rng *rand.Rand) samples.Face {
	face := j.draw(rng, 36, 90)
	if rng.Float64() < 0.4 {
		withRim(&face, rng)
	}
	if rng.Float64() < 0.3 {
		face.Scratches = rng.IntN(20)
	}
	return face
}

// scanned is a rubbing and what is true of it.
type scanned struct {
	pic   *vision.Picture
	truth truth
}

func scan(r samples.Rubbing) scanned {
	img, t := r.Render()
	grey, ok := img.(*image.Gray)
	if !ok {
		grey = image.NewGray(img.Bounds())
		draw.Draw(grey, grey.Rect, img, img.Bounds().Min, draw.Src)
	}
	s := scanned{pic: &vision.Picture{Grey: grey, Format: "png", DPI: [2]float64{r.DPI, r.DPI}, DPISource: "as rendered"}}
	for _, h := range t.Holes {
		s.truth.holes = append(s.truth.holes, h.CentreMM)
		s.truth.seen = append(s.truth.seen, seen{h.CentrePx, h.Diameter / 4 / t.MMPerPxX})
	}
	if t.Bore != nil {
		s.truth.bore = &t.Bore.CentreMM
	}
	return s
}

// reading is that of a picture; nil where it gives none.
func reading(pic *vision.Picture, opts read.Options) (*pattern.Reading, error) {
	opts.ScaleU = -1
	res, err := read.Picture(pic, "rendered", opts)
	if errors.Is(err, pattern.ErrNoPattern) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return res.Reading, nil
}

func takeOne(j job) ([]outcome, error) {
	rng := j.random()
	s := scan(onScanner(rubbedFace(j, rng), rng, 300, 1)[0])
	r, err := reading(s.pic, read.Options{})
	return []outcome{j.compare(rubbing300, s.truth, r)}, err
}

// takeThree makes three rubbings of a face on one scanner. The first is read
// as it is, the second with a distance that somebody measured with calipers,
// and all three are combined.
func takeThree(j job) ([]outcome, error) {
	rng := j.random()
	var parts []pattern.Named
	var scans []scanned
	for i, r := range onScanner(rubbedFace(j, rng), rng, 150, 3) {
		s := scan(r)
		scans = append(scans, s)
		r, err := reading(s.pic, read.Options{})
		if err != nil {
			return nil, err
		}
		parts = append(parts, pattern.Named{Name: string(rune('a' + i)), Reading: r})
	}
	out := []outcome{j.compare(rubbing150, scans[0].truth, parts[0].Reading)}

	known, err := knownDistance(scans[1], parts[1].Reading, rng)
	out = append(out, j.compare(withKnown, scans[1].truth, known))
	if err != nil {
		return nil, err
	}
	return append(out, j.combine(scans, parts)), nil
}

// knownDistance reads a scan once more with the longest distance between two
// of its holes measured.
func knownDistance(s scanned, plain *pattern.Reading, rng *rand.Rand) (*pattern.Reading, error) {
	if plain == nil {
		return nil, nil
	}
	at := s.truth.match(plain)
	best := pattern.Distance{Over: pattern.Centres, U: caliperU}
	for a, p := range at {
		for b, q := range at {
			if d := r2.Norm(r2.Sub(p, q)); a < b && (d > best.Value+1e-9 || d > best.Value-1e-9 && a < best.From) {
				best.From, best.To, best.Value = a, b, d
			}
		}
	}
	if best.Value == 0 {
		return nil, nil
	}
	best.Value += caliperU * rng.NormFloat64()
	return reading(s.pic, read.Options{Between: []pattern.Distance{best}})
}

// combine adjusts the readings together.
func (j job) combine(scans []scanned, parts []pattern.Named) outcome {
	for _, p := range parts {
		if p.Reading == nil {
			return j.compare(combined, scans[0].truth, nil)
		}
	}
	c, err := pattern.Combine(parts, pattern.CombineOptions{Turned: []float64{0, quarterTurn, 2 * quarterTurn}})
	if err != nil {
		o := j.compare(combined, scans[0].truth, nil)
		o.note = err.Error()
		return o
	}
	at := map[int]r2.Vec{}
	for id, p := range scans[0].truth.match(parts[0].Reading) {
		at[c.Parts[0].Holes[id]] = p
	}
	return j.hold(combined, scans[0].truth, c.Reading, at)
}

// photoScale makes photographs of 3 megapixels.
const photoScale = 0.5

func takePhoto(j job) ([]outcome, error) {
	rng := j.random()
	face := j.draw(rng, 45, 105)
	withRim(&face, rng)
	var bars calib.PrintedBars
	p := samples.OrdinaryPhoto(face, rng.Uint64(), func(windowMM float64) samples.Sheet {
		f := demo.Frame(windowMM)
		s := demo.Sheet(f)
		x, y := 1+printU*rng.NormFloat64(), 1+printU*rng.NormFloat64()
		for i := range s.Dots {
			d := &s.Dots[i]
			d.X, d.Y = x*d.X+dotU*rng.NormFloat64(), y*d.Y+dotU*rng.NormFloat64()
		}
		bars = calib.PrintedBars{x*f.BarX.Length() + barU*rng.NormFloat64(), y*f.BarY.Length() + barU*rng.NormFloat64()}
		for i := range s.Bars {
			b := &s.Bars[i]
			b.X1, b.X2, b.Y1, b.Y2 = x*b.X1, x*b.X2, y*b.Y1, y*b.Y2
		}
		return s
	})
	p.Sheet.Above = math.Abs(math.Hypot(paperU, flatU) * rng.NormFloat64())
	p.Camera = p.Camera.Scaled(photoScale)
	p.Shot.Defocus *= photoScale
	p.Shot.Motion *= photoScale
	folder, err := os.MkdirTemp("", "coverage")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	file := filepath.Join(folder, "photo.jpg")
	f, err := os.Create(file)
	if err != nil {
		return nil, err
	}
	img, t := p.Render()
	if err := errors.Join(p.WriteJPEG(f, img), f.Close()); err != nil {
		return nil, err
	}
	var face0 truth
	for _, h := range t.Holes {
		face0.holes = append(face0.holes, h.CentreMM)
		edge := t.ToPx(r2.Vec{X: h.CentreMM.X + h.Diameter/4, Y: h.CentreMM.Y})
		face0.seen = append(face0.seen, seen{h.CentrePx, r2.Norm(r2.Sub(edge, h.CentrePx))})
	}
	if t.Bore != nil {
		face0.bore = &t.Bore.CentreMM
	}
	res, err := read.File(file, read.Options{ScaleU: -1, Printed: bars})
	var r *pattern.Reading
	switch {
	case err == nil:
		r = res.Reading
	case !errors.Is(err, pattern.ErrNoPattern) && !errors.Is(err, read.ErrScale):
		return nil, err
	}
	return []outcome{j.compare(photo, face0, r)}, nil
}
