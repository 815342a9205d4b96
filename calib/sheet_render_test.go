package calib

import (
	"image"
	"math"
	"math/rand/v2"
	"sync"

	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// sheetShot is a photograph of a sheet for tests: true perspective, radial
// distortion, blur, noise, and what lies about.
type sheetShot struct {
	w, h                     int
	focal                    float64 // over the diagonal
	k1                       float64 // at that focal length
	tilt, toward, turn, away float64 // degrees; mm
	aim                      r2.Vec  // mm, what the camera looks at
	sheet                    r2.Vec  // mm, width and height
	corner                   float64
	paper, ground            float64 // grey
	grain                    float64 // grey levels of the ground's grain, as of planed boards
	boards                   bool    // with dark gaps between the boards
	falloff                  float64 // share of the light lost from left to right
	shadow                   float64 // share of the light missing in the shadow at the right and the bottom edge
	shadowMM                 float64
	thumb                    bool // over a corner
	rubbing                  bool // a dark area inside
	border                   bool // a printed border inside
	beneath                  bool // a second sheet under it, turned
	curl                     float64
	blur, noise              float64
	seed                     uint64
}

func ordinarySheet(seed uint64) sheetShot {
	return sheetShot{w: 1000, h: 750, focal: 0.61, tilt: 15, toward: 70, turn: 3, away: 420, sheet: r2.Vec{X: 210, Y: 297},
		paper: 215, ground: 90, blur: 1, noise: 3, seed: seed}
}

// optics is the camera's, and pose the homography from the sheet to its
// directions.
func (s sheetShot) optics() optics {
	f := s.focal * math.Hypot(float64(s.w), float64(s.h))
	return optics{fx: f, fy: f, cx: float64(s.w) / 2, cy: float64(s.h) / 2, k1: s.k1}
}

func (s sheetShot) pose() homography {
	ts, tc := math.Sincos(s.tilt * math.Pi / 180)
	as, ac := math.Sincos(s.toward * math.Pi / 180)
	us, uc := math.Sincos(s.turn * math.Pi / 180)
	// Axes of the camera on the face (x right, y up, z out of it).
	back := [3]float64{ts * ac, ts * as, tc}
	axis := [3]float64{-as, ac, 0}
	over := func(v [3]float64) [3]float64 {
		d := axis[0]*v[0] + axis[1]*v[1]
		c := [3]float64{axis[1]*v[2] - axis[2]*v[1], axis[2]*v[0] - axis[0]*v[2], axis[0]*v[1] - axis[1]*v[0]}
		var out [3]float64
		for i := range out {
			out[i] = tc*v[i] + ts*c[i] + axis[i]*d*(1-tc)
		}
		return out
	}
	r0, d0 := over([3]float64{1, 0, 0}), over([3]float64{0, -1, 0})
	var right, down [3]float64
	for i := range r0 {
		right[i], down[i] = uc*r0[i]+us*d0[i], uc*d0[i]-us*r0[i]
	}
	at := [3]float64{s.aim.X + s.away*back[0], s.aim.Y + s.away*back[1], s.away * back[2]}
	dot := func(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
	fwd := [3]float64{-back[0], -back[1], -back[2]}
	w := -dot(fwd, at)
	return homography{right[0] / w, right[1] / w, -dot(right, at) / w, down[0] / w, down[1] / w, -dot(down, at) / w, fwd[0] / w, fwd[1] / w}
}

// toPx is where a point of the sheet's plane is seen.
func (s sheetShot) toPx(mm r2.Vec) r2.Vec {
	n, _ := s.pose().apply(mm)
	return s.optics().px(n)
}

// rounded is how far a point lies outside a rectangle with rounded corners.
func rounded(p r2.Vec, size r2.Vec, radius float64) float64 {
	x, y := math.Abs(p.X)-size.X/2+radius, math.Abs(p.Y)-size.Y/2+radius
	return math.Hypot(max(x, 0), max(y, 0)) + min(0, max(x, y)) - radius
}

func softStep(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

func (s sheetShot) render() *vision.Picture {
	cam, pose := s.optics(), s.pose()
	g := image.NewGray(image.Rect(0, 0, s.w, s.h))
	var wg sync.WaitGroup
	for half := range 4 {
		wg.Go(func() {
			rng := rand.New(rand.NewPCG(s.seed, uint64(half)))
			for y := half * s.h / 4; y < (half+1)*s.h/4; y++ {
				for x := range s.w {
					n, ok := cam.direction(r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5})
					if !ok {
						continue
					}
					mm, _ := pose.invert(n)
					px := s.away / cam.fx // mm, about
					v := s.grey(mm, px*max(s.blur, 0.3))
					v *= 1 - s.falloff*float64(x)/float64(s.w)
					g.Pix[y*g.Stride+x] = uint8(math.Round(min(max(v+s.noise*rng.NormFloat64(), 0), 255)))
				}
			}
		})
	}
	wg.Wait()
	return &vision.Picture{Grey: g, Format: "jpeg"}
}

// grey is the tone at a point of the plane; soft is the blur in mm.
func (s sheetShot) grey(mm r2.Vec, soft float64) float64 {
	v := s.ground
	if s.grain > 0 {
		// Long streaks, wandering a little.
		u := mm.Y + 3*math.Sin(mm.X/90)
		v += s.grain * (math.Sin(u/1.9+2*math.Sin(u/7)) + 0.7*math.Sin(u/0.7+math.Sin(mm.X/40))) / 1.7
		if s.boards {
			d := math.Mod(mm.Y+2000, 120) - 60
			v -= 50 * math.Exp(-d*d/(2*1.2*1.2))
		}
	}
	if s.shadow > 0 {
		d := rounded(r2.Vec{X: mm.X - s.shadowMM, Y: mm.Y + s.shadowMM}, s.sheet, 1)
		v *= 1 - s.shadow*softStep(-d/(0.4*s.shadowMM))
	}
	if s.beneath {
		sin, cos := math.Sincos(0.12)
		p := r2.Vec{X: cos*(mm.X-25) + sin*(mm.Y-30), Y: -sin*(mm.X-25) + cos*(mm.Y-30)}
		in := softStep(-rounded(p, s.sheet, 0) / soft)
		v += in * (s.paper - 12 - v)
	}
	if s.curl != 0 { // the long edges bend outwards in their middle
		y := mm.Y / (s.sheet.Y / 2)
		mm.X -= math.Copysign(s.curl*(1-y*y), mm.X)
	}
	in := softStep(-rounded(mm, s.sheet, s.corner) / soft)
	paper := s.paper
	if s.rubbing {
		d := max(math.Abs(mm.X)-0.36*s.sheet.X, math.Abs(mm.Y)-0.38*s.sheet.Y)
		paper -= 90 * softStep(-d/2) * (0.8 + 0.2*math.Sin(mm.X*1.3+mm.Y*1.1))
	}
	if s.border {
		d := math.Abs(rounded(mm, r2.Vec{X: s.sheet.X - 20, Y: s.sheet.Y - 20}, 0)) - 0.4
		paper -= 160 * softStep(-d/soft)
	}
	v += in * (paper - v)
	if s.thumb {
		p := r2.Sub(mm, r2.Vec{X: s.sheet.X / 2, Y: -s.sheet.Y / 2})
		d := math.Hypot(p.X, p.Y) - 0.12*s.sheet.X
		v += softStep(-d/soft) * (140 - v)
	}
	return v
}
