package samples

import (
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/spatial/r2"
)

// tileSide is the side, in pixels, of the squares within which the same edges
// and marks are near.
const tileSide = 64

// near is what must be looked at for the samples of one tile.
type near struct {
	edges     []*edge
	slipped   []*edge // for the second copy
	marks     []mark
	paperEdge bool // the sheet's edge, or the lid
}

// brightness is the picture before the scanner's optics: 0 black to 1 white
// for the pixels of rows y0 to y1, the picture's width each.
func (s *scene) brightness(y0, y1 int) []float32 {
	out := make([]float32, s.place.w*(y1-y0))
	for ty := y0; ty < y1; ty += tileSide {
		for tx := 0; tx < s.place.w; tx += tileSide {
			s.tile(out, y0, tx, ty, min(tx+tileSide, s.place.w), min(ty+tileSide, y1))
		}
	}
	return out
}

// tile fills the pixels [x0, x1) × [ty0, ty1) of a band that begins at row y0.
func (s *scene) tile(out []float32, y0, x0, ty0, x1, ty1 int) {
	a := s.place.glassOfPx(float64(x0), float64(ty0))
	b := s.place.glassOfPx(float64(x1), float64(ty1))
	middle := r2.Vec{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
	reach := math.Hypot(b.X-a.X, b.Y-a.Y)/2 + math.Abs(s.place.shear)*(b.Y-a.Y) + 0.01
	n := s.near(middle, reach)

	over := s.oversampling()
	share := 1 / float32(over*over)
	for y := ty0; y < ty1; y++ {
		row := out[(y-y0)*s.place.w:]
		for x := x0; x < x1; x++ {
			if over == 1 {
				row[x] = s.sample(s.place.glassOfPx(float64(x)+0.5, float64(y)+0.5), &n)
				continue
			}
			var sum float32
			for j := range over {
				for i := range over {
					sum += s.sample(s.place.glassOfPx(
						float64(x)+(float64(i)+0.5)/float64(over),
						float64(y)+(float64(j)+0.5)/float64(over)), &n)
				}
			}
			row[x] = sum * share
		}
	}
}

// near collects what may touch points within reach (mm) of the middle.
func (s *scene) near(middle r2.Vec, reach float64) near {
	n := near{edges: s.edgesNear(middle, reach)}
	if s.second != nil {
		n.slipped = s.edgesNear(r2.Sub(middle, s.slip), reach)
	}
	for _, m := range s.marks {
		if m.distance(middle) < reach+m.reach() {
			n.marks = append(n.marks, m)
		}
	}
	n.paperEdge = s.paper.outside(middle)+reach > -shadowWidth
	return n
}

// edgesNear leaves out the edges that are far off on plain metal, where they
// change nothing.
func (s *scene) edgesNear(middle r2.Vec, reach float64) []*edge {
	var list []*edge
	for _, e := range s.metal {
		d := math.Hypot(middle.X-e.centre.X, middle.Y-e.centre.Y) - e.radius - 0.85*e.key
		if e.outside {
			d = -d
		}
		if d-reach < contactBand {
			list = append(list, e)
		}
	}
	return list
}

// feel is the metal under a point of the glass, of which some edges are near.
func (s *scene) feel(g r2.Vec, edges []*edge) contact {
	c := contact{metal: 1}
	for _, e := range edges {
		s.addEdge(&c, e, g)
	}
	if s.rings != nil && c.metal > 0.05 {
		c.metal *= s.ringAt(g)
	}
	return c
}

// shadowWidth is how far the shadow at the sheet's edge reaches, mm.
const shadowWidth = 1.5

// sample is the brightness of one point of the glass.
func (s *scene) sample(g r2.Vec, n *near) float32 {
	if n.paperEdge {
		if off := s.paper.outside(g); off > 0 {
			// The sheet's thickness throws a shadow on the lid.
			return float32(s.Paper.Lid * (1 - 0.35*math.Exp(-off/0.4)))
		}
	}
	c := s.feel(g, n.edges)
	var second float32
	if s.second != nil {
		// The paper has slipped: the face was rubbed again where it came to lie.
		c2 := s.feel(r2.Sub(g, s.slip), n.slipped)
		second = s.second.at(g.X, g.Y) * (c2.metal + c2.line)
		c.grease = max(c.grease, float32(s.SlipShare)*c2.grease)
	}
	var ink, smear float32
	for i := range n.marks {
		m := &n.marks[i]
		d := m.distance(g)
		if d > m.reach() {
			continue
		}
		body := float32(step(m.half*1.25, m.half*0.6, d))
		switch m.kind {
		case written:
			ink = max(ink, body*float32(m.value))
		case scratch:
			lip := float32(math.Exp(-square((d - 1.7*m.half) / (0.5 * m.half))))
			c.metal *= 1 - body*float32(m.value)
			c.line += 0.6 * lip * float32(m.value) * c.metal
		case pit:
			c.metal *= 1 - float32(m.value*step(m.half*2.4, 0.1*m.half, d))
		case crease:
			smear = max(smear, 0.1*body*float32(m.value))
			c.line += body * float32(m.value)
		}
	}
	return s.reflect(g, s.lead.at(g.X, g.Y)*(c.metal+c.line)+second+ink+smear, c.grease)
}

func square(v float64) float64 { return v * v }

// reflect is the brightness of paper under an exposure of lead, which sticks
// to the grain, and of grease, which soaks in.
func (s *scene) reflect(g r2.Vec, exposure, grease float32) float32 {
	height := s.peak(g)
	paper := float32(s.outside) * (1 + 0.012*float32(s.Grain)*(height-0.5))
	dark := float32(0)
	if exposure > 1e-4 {
		dark = s.dark(coveredFast(exposure), height)
	}
	if grease > 1e-3 {
		p := coveredFast(grease * (0.3 + 1.4*height))
		dark += (1 - dark) * 0.7 * p
	}
	v := paper + (float32(s.inside)-paper)*dark
	if s.shade != nil {
		k := s.shade.at(g.X, g.Y)
		if s.Style == Chalk {
			k = 1 + 2*(1-k) // a smudge on dark paper is pale
		}
		v *= k
	}
	return v
}

// dark is the darkness of a point of the paper, of some height among the
// grain, under a pressure that covers a share p of plain paper: the heavier
// the pressure, the deeper into the grain the lead gets and the thicker it is.
func (s *scene) dark(p, height float32) float32 {
	depth := 0.5 + 0.42*p
	const soft = 0.3
	t := (p*(1+2*soft) - soft - (1 - height)) / (2 * soft)
	t = min(max(t+0.5, 0), 1)
	t = t * t * (3 - 2*t)
	caught := min(t*depth*(0.75+0.5*height), 0.97)
	return p*depth + float32(s.Grain)*(caught-p*depth)
}

// peak is the grain of the paper at a point of the glass, from 0 to 1: the
// felt of the sheet, and finer fibres and dust of lead on it.
func (s *scene) peak(g r2.Vec) float32 {
	x, y := s.gcos*g.X-s.gsin*g.Y+s.gx, s.gsin*g.X+s.gcos*g.Y+s.gy
	return 0.72*grainAt(s.grain, x, y) + 0.28*grainAt(s.grain, 2.3*y+300.5, 2.3*x+70.3)
}

// The table of [covered], for exposures up to its end.
const (
	coverEnd   = 6
	coverCells = 1536
)

var coverTable = sync.OnceValue(func() *[coverCells + 2]float32 {
	var t [coverCells + 2]float32
	for i := range t {
		t[i] = covered(float32(i) * coverEnd / coverCells)
	}
	return &t
})()

func coveredFast(e float32) float32 {
	if e >= coverEnd {
		return 1 - 0.00248*coverEnd/e
	}
	t := e * (coverCells / coverEnd)
	k := int(t)
	return coverTable[k] + (coverTable[k+1]-coverTable[k])*(t-float32(k))
}

// inBands calls work for bands of rows, several at a time.
func inBands(rows, band int, work func(y0, y1 int)) {
	starts := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for y := range starts {
				work(y, min(y+band, rows))
			}
		})
	}
	for y := 0; y < rows; y += band {
		starts <- y
	}
	close(starts)
	wg.Wait()
}
