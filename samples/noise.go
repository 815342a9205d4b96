package samples

import (
	"math"
	"math/rand/v2"
	"sync"
)

// hash scrambles 64 bits (the finaliser of SplitMix64).
func hash(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func newRand(seed, part uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, hash(part))) }

// lattice is a uniform random value in [-1, 1] for a lattice point.
func lattice(seed uint64, i, j int) float64 {
	h := hash(seed ^ hash(uint64(int64(i))*0x9e3779b1+uint64(int64(j))))
	return float64(h>>11)/(1<<52) - 1
}

// noise2 is smooth noise in the plane with features about one unit wide,
// of zero mean and a standard deviation of about one.
func noise2(seed uint64, x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	i, j := int(fx), int(fy)
	u, v := ease(x-fx), ease(y-fy)
	top := lattice(seed, i, j)*(1-u) + lattice(seed, i+1, j)*u
	bottom := lattice(seed, i, j+1)*(1-u) + lattice(seed, i+1, j+1)*u
	return (top*(1-v) + bottom*v) * 2.35
}

// noise1 is the same along a line.
func noise1(seed uint64, x float64) float64 {
	fx := math.Floor(x)
	i, u := int(fx), ease(x-fx)
	return (lattice(seed, i, 0)*(1-u) + lattice(seed, i+1, 0)*u) * 2.02
}

func ease(t float64) float64 { return t * t * (3 - 2*t) }

// step rises smoothly from 0 at a to 1 at b.
func step(a, b, x float64) float64 { return ease(clamp((x-a)/(b-a), 0, 1)) }

// normal is an approximately Gaussian value with a standard deviation of one,
// for the n-th pixel of a picture: four bytes' worth of uniform values summed.
func normal(seed, n uint64) float32 {
	h := hash(seed + n*0x9e3779b97f4a7c15)
	sum := int32(h&0xffff) + int32(h>>16&0xffff) + int32(h>>32&0xffff) + int32(h>>48)
	return float32(sum-2*65535) * (1 / 37837.0)
}

// The grain of the paper is one tile of heights that repeats, as ranks from 0
// (the deepest pit) to 1 (the highest fibre). Lead of a given pressure covers
// what lies above a height, so that coverage equals pressure on average.
const (
	grainSide = 1024 // cells, a power of two
	grainCell = 0.06 // mm
)

var grainTile = sync.OnceValue(func() []float32 {
	rng := newRand(1, 1)
	white := func() []float32 {
		t := make([]float32, grainSide*grainSide)
		for i := range t {
			t[i] = float32(rng.NormFloat64())
		}
		return t
	}
	// Fibres lie mostly along the web's run, so the felt is a little longer
	// one way than the other.
	fine := blurTile(blurTile(white(), 1, 1), 1, 0)
	felt := blurTile(blurTile(white(), 4, 2), 3, 2)
	cloud := blurTile(blurTile(white(), 9, 8), 9, 8)
	standardise(fine)
	standardise(felt)
	standardise(cloud)
	sum := make([]float32, len(fine))
	for i := range sum {
		sum[i] = 0.85*fine[i] + 0.42*felt[i] + 0.22*cloud[i]
	}
	standardise(sum)
	for i, v := range sum {
		sum[i] = float32(0.5 * math.Erfc(-float64(v)/math.Sqrt2))
	}
	return sum
})

// blurTile is a box blur of a repeating tile over 2·rx+1 by 2·ry+1 cells.
func blurTile(t []float32, rx, ry int) []float32 {
	const mask = grainSide - 1
	pass := func(src []float32, r, along, across int) []float32 {
		dst := make([]float32, len(src))
		for line := range grainSide {
			base := line * across
			var sum float32
			for k := -r; k <= r; k++ {
				sum += src[base+(k&mask)*along]
			}
			for k := range grainSide {
				dst[base+k*along] = sum
				sum += src[base+((k+r+1)&mask)*along] - src[base+((k-r)&mask)*along]
			}
		}
		return dst
	}
	return pass(pass(t, rx, 1, grainSide), ry, grainSide, 1)
}

func standardise(t []float32) {
	var sum, squares float64
	for _, v := range t {
		sum += float64(v)
		squares += float64(v) * float64(v)
	}
	n := float64(len(t))
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	for i, v := range t {
		t[i] = float32((float64(v) - mean) / sd)
	}
}

// grainAt is the tile at (x, y) in cells.
func grainAt(t []float32, x, y float64) float32 {
	const mask = grainSide - 1
	fx, fy := math.Floor(x), math.Floor(y)
	i, j := int(fx), int(fy)
	u, v := float32(x-fx), float32(y-fy)
	row, below := (j&mask)*grainSide, ((j+1)&mask)*grainSide
	left, right := i&mask, (i+1)&mask
	top := t[row+left] + (t[row+right]-t[row+left])*u
	bottom := t[below+left] + (t[below+right]-t[below+left])*u
	return top + (bottom-top)*v
}

// field is a map over the glass in cells of some size, read between its cells.
type field struct {
	w, h int
	cell float64 // mm
	v    []float32
}

// fieldMargin is how far a field goes beyond the picture, in cells.
const fieldMargin = 4

func newField(width, height, cell float64) *field {
	f := &field{w: int(width/cell) + 2*fieldMargin + 2, h: int(height/cell) + 2*fieldMargin + 2, cell: cell}
	f.v = make([]float32, f.w*f.h)
	return f
}

// position is the glass coordinate (mm) of a cell's column or row.
func (f *field) position(i int) float64 { return float64(i-fieldMargin) * f.cell }

// index is the column or row, not whole, of a glass coordinate.
func (f *field) index(mm float64) float64 { return mm/f.cell + fieldMargin }

func (f *field) at(x, y float64) float32 {
	x, y = f.index(x), f.index(y)
	x, y = min(max(x, 0), float64(f.w)-1.001), min(max(y, 0), float64(f.h)-1.001)
	i, j := int(x), int(y)
	u, v := float32(x-float64(i)), float32(y-float64(j))
	k := j*f.w + i
	top := f.v[k] + (f.v[k+1]-f.v[k])*u
	k += f.w
	bottom := f.v[k] + (f.v[k+1]-f.v[k])*u
	return top + (bottom-top)*v
}
