package vision

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// board renders a chessboard of fields of side px, turned, with each pixel the
// mean over what it covers, and returns its inner corners.
func board(w, h int, middle r2.Vec, side, angle float64, columns, rows int) (*image.Gray, []r2.Vec) {
	img := image.NewGray(image.Rect(0, 0, w, h))
	sin, cos := math.Sincos(angle)
	const fine = 6
	for y := range h {
		for x := range w {
			sum := 0.0
			for sy := range fine {
				for sx := range fine {
					dx := float64(x) + (float64(sx)+0.5)/fine - middle.X
					dy := float64(y) + (float64(sy)+0.5)/fine - middle.Y
					u := (cos*dx+sin*dy)/side + float64(columns+1)/2
					v := (-sin*dx+cos*dy)/side + float64(rows+1)/2
					dark := false
					if u >= 0 && v >= 0 && u < float64(columns+1) && v < float64(rows+1) {
						dark = (int(u)+int(v))%2 == 0
					}
					if !dark {
						sum++
					}
				}
			}
			img.Pix[y*w+x] = uint8(40 + 180*sum/(fine*fine))
		}
	}
	var corners []r2.Vec
	for j := range rows {
		for i := range columns {
			u, v := side*(float64(i)-float64(columns-1)/2), side*(float64(j)-float64(rows-1)/2)
			corners = append(corners, r2.Vec{X: middle.X + cos*u - sin*v, Y: middle.Y + sin*u + cos*v})
		}
	}
	return img, corners
}

// Every corner of a rendered board is found within 0.2 px; sharp fields
// without any blur are the worst case.
func TestCornersOfABoard(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 4))
	worst := 0.0
	for range 20 {
		side := 14 + 10*random.Float64()
		middle := r2.Vec{X: 98 + 4*random.Float64(), Y: 98 + 4*random.Float64()}
		img, want := board(200, 200, middle, side, 6.3*random.Float64(), 4, 3)
		got, err := Corners(&Picture{Grey: img})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range want {
			near := math.Inf(1)
			for _, g := range got {
				near = math.Min(near, r2.Norm(r2.Sub(g, c)))
			}
			worst = math.Max(worst, near)
		}
	}
	t.Logf("at most %.3f px off", worst)
	if worst > 0.2 {
		t.Errorf("a corner is %.3f px off", worst)
	}
}

// Nothing, and hardly anything, is no board and no crash.
func TestCornersOfNothing(t *testing.T) {
	for _, size := range []image.Point{{X: 1, Y: 1}, {X: 5, Y: 400}, {X: 13, Y: 13}, {X: 300, Y: 200}} {
		img := image.NewGray(image.Rectangle{Max: size})
		if got, err := Corners(&Picture{Grey: img}); err != nil || len(got) > 0 {
			t.Errorf("%v: %v, %v", size, got, err)
		}
	}
	// A board that just fits, so that no window has room for its corners.
	img, _ := board(14, 14, r2.Vec{X: 7, Y: 7}, 7, 0, 1, 1)
	if _, err := Corners(&Picture{Grey: img}); err != nil {
		t.Error(err)
	}
}
