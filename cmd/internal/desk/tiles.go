package desk

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math/bits"
	"net/http"
	"sync"

	"boltrose/vision"
)

// tileSize is the side (px) of the squares that the page loads a picture in.
const tileSize = 512

// tiles are a picture at its own size and at halves of it, as a viewer wants
// them: on level n it is 2ⁿ pixels long at most, on the last as it is.
type tiles struct {
	page   int // of the file
	mu     sync.Mutex
	levels []*image.Gray // the last is the picture; nil: not made yet
}

func newTiles(pic *vision.Picture) *tiles {
	t := &tiles{page: pic.Page, levels: make([]*image.Gray, levelsOf(pic.Grey.Rect.Size()))}
	t.levels[len(t.levels)-1] = pic.Grey
	return t
}

// levelsOf is how many levels a picture has, down to one pixel.
func levelsOf(size image.Point) int { return bits.Len(uint(max(size.X, size.Y)-1)) + 1 }

func (t *tiles) level(n int) *image.Gray {
	t.mu.Lock()
	defer t.mu.Unlock()
	from := n
	for t.levels[from] == nil {
		from++
	}
	for ; from > n; from-- {
		t.levels[from-1] = halved(t.levels[from])
	}
	return t.levels[n]
}

// halved is the mean of each four pixels.
func halved(g *image.Gray) *image.Gray {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	out := image.NewGray(image.Rect(0, 0, (w+1)/2, (h+1)/2))
	for y := range out.Rect.Dy() {
		a, b := g.Pix[2*y*g.Stride:], g.Pix[min(2*y+1, h-1)*g.Stride:]
		row := out.Pix[y*out.Stride:][:out.Stride]
		for x := range row {
			i, j := 2*x, min(2*x+1, w-1)
			row[x] = uint8((int(a[i]) + int(a[j]) + int(b[i]) + int(b[j]) + 2) / 4)
		}
	}
	return out
}

// tile is a square of a level as JPEG.
func (t *tiles) tile(level, x, y int) ([]byte, error) {
	if level < 0 || level >= len(t.levels) || x < 0 || y < 0 || x > 1<<20 || y > 1<<20 {
		return nil, refused(http.StatusNotFound, "there is no such part of the picture")
	}
	g := t.level(level)
	at := image.Rect(x*tileSize, y*tileSize, (x+1)*tileSize, (y+1)*tileSize).Intersect(g.Rect)
	if at.Empty() {
		return nil, refused(http.StatusNotFound, "there is no such part of the picture")
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, g.SubImage(at), &jpeg.Options{Quality: 88}); err != nil {
		return nil, fmt.Errorf("a part of the picture cannot be shown: %w", err)
	}
	return b.Bytes(), nil
}
