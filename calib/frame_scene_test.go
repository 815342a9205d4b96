package calib

import (
	"image"
	"math"
	"math/rand/v2"
	"sync"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A scene is a frame as a camera sees it.
type scene struct {
	frame         *Frame
	width, height int
	focal         float64 // px
	k1            float64
	distance      float64 // mm, to the middle of the frame
	tilt, towards float64 // degrees
	turn          float64 // degrees
	aside         r2.Vec  // px, where the frame's middle is, from the picture's
	mirrored      bool
	blur, noise   float64 // px, grey levels
	extra         []Dot   // other things on the face
	hidden        func(r2.Vec) bool
	uneven        bool
}

// axes returns where the frame's middle is before the camera and how its x
// and y run there (camera: x right, y down, z away).
func (s scene) axes() (middle, x, y r3.Vec) {
	sin, cos := math.Sincos(s.turn * math.Pi / 180)
	x, y = r3.Vec{X: cos, Y: -sin}, r3.Vec{X: -sin, Y: -cos}
	if s.mirrored {
		x.X = -x.X
		y.X = -y.X
	}
	ts, tc := math.Sincos(s.towards * math.Pi / 180)
	rot := r3.NewRotation(s.tilt*math.Pi/180, r3.Vec{X: ts, Y: tc})
	z := s.distance
	middle = r3.Vec{X: s.aside.X / s.focal * z, Y: s.aside.Y / s.focal * z, Z: z}
	return middle, rot.Rotate(x), rot.Rotate(y)
}

// px returns where a place on the frame is seen.
func (s scene) px(mm r2.Vec) r2.Vec {
	m, x, y := s.axes()
	p := r3.Add(m, r3.Add(r3.Scale(mm.X, x), r3.Scale(mm.Y, y)))
	u, v := p.X/p.Z, p.Y/p.Z
	k := 1 + s.k1*(u*u+v*v)
	return r2.Vec{X: float64(s.width)/2 + s.focal*u*k, Y: float64(s.height)/2 + s.focal*v*k}
}

// mm is the inverse of px.
func (s scene) mm() func(r2.Vec) r2.Vec {
	m, x, y := s.axes()
	n := r3.Cross(x, y)
	d := r3.Dot(m, n)
	return func(px r2.Vec) r2.Vec {
		ud, vd := (px.X-float64(s.width)/2)/s.focal, (px.Y-float64(s.height)/2)/s.focal
		u, v := ud, vd
		if s.k1 != 0 {
			for range 6 {
				k := 1 + s.k1*(u*u+v*v)
				u, v = ud/k, vd/k
			}
		}
		ray := r3.Vec{X: u, Y: v, Z: 1}
		at := r3.Sub(r3.Scale(d/r3.Dot(ray, n), ray), m)
		return r2.Vec{X: r3.Dot(at, x), Y: r3.Dot(at, y)}
	}
}

// render paints the scene, four looks to a pixel.
func (s scene) render(seed uint64) *vision.Picture {
	at := map[cell][]Dot{}
	add := func(d Dot) {
		r := d.Diameter / 2
		for i := int(math.Floor((d.Centre.X - r) / Pitch)); i <= int(math.Floor((d.Centre.X+r)/Pitch)); i++ {
			for j := int(math.Floor((d.Centre.Y - r) / Pitch)); j <= int(math.Floor((d.Centre.Y+r)/Pitch)); j++ {
				at[cell{i, j}] = append(at[cell{i, j}], d)
			}
		}
	}
	for _, d := range s.frame.Dots {
		if s.hidden == nil || !s.hidden(d.Centre) {
			add(d)
		}
	}
	for _, d := range s.extra {
		add(d)
	}
	mm := s.mm()
	img := make([]float32, s.width*s.height)
	rows := make(chan int, s.height)
	for y := range s.height {
		rows <- y
	}
	close(rows)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for y := range rows {
				for x := range s.width {
					sum := 0.0
					for k := range 4 {
						p := mm(r2.Vec{X: float64(x) + 0.25 + 0.5*float64(k%2), Y: float64(y) + 0.25 + 0.5*float64(k/2)})
						v := 205.0
						if math.Abs(p.X) < s.frame.WindowW/2 && math.Abs(p.Y) < s.frame.WindowH/2 {
							v = 140
						} else if math.Abs(p.X) > s.frame.Paper.Width/2 || math.Abs(p.Y) > s.frame.Paper.Height/2 {
							v = 110
						}
						for _, d := range at[cell{int(math.Floor(p.X / Pitch)), int(math.Floor(p.Y / Pitch))}] {
							if r2.Norm2(r2.Sub(p, d.Centre)) < d.Diameter*d.Diameter/4 {
								v = 35
							}
						}
						sum += v / 4
					}
					if s.uneven {
						sum *= 0.55 + 0.6*float64(x+y)/float64(s.width+s.height)
					}
					img[y*s.width+x] = float32(sum)
				}
			}
		})
	}
	wg.Wait()
	blurred(img, s.width, s.height, s.blur)
	random := rand.New(rand.NewPCG(seed, 4))
	grey := image.NewGray(image.Rect(0, 0, s.width, s.height))
	for i, v := range img {
		grey.Pix[i] = uint8(min(max(float64(v)+s.noise*random.NormFloat64()+0.5, 0), 255))
	}
	return &vision.Picture{Grey: grey, Format: "png"}
}

// blurred smooths in place with three boxes along each axis, of the variance
// of a bell of sigma px.
func blurred(img []float32, w, h int, sigma float64) {
	r := int(math.Round((math.Sqrt(4*sigma*sigma+1) - 1) / 2))
	if r < 1 {
		return
	}
	line := func(start, step, n int) {
		src := make([]float32, n)
		for range 3 {
			for i := range src {
				src[i] = img[start+i*step]
			}
			for i := range src {
				sum := float32(0)
				for k := i - r; k <= i+r; k++ {
					sum += src[min(max(k, 0), n-1)]
				}
				img[start+i*step] = sum / float32(2*r+1)
			}
		}
	}
	for y := range h {
		line(y*w, 1, w)
	}
	for x := range w {
		line(x, w, h)
	}
}
