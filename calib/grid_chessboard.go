package calib

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
)

// Chessboard finds the columns × rows corners inside a chessboard, where four
// fields meet, among the corners of a picture, and returns them as controls
// whose millimetres are in units of a field's side, as Grid does. A board of
// 10 × 7 fields has 9 × 6 of them. All must be seen.
func Chessboard(corners []r2.Vec, columns, rows int) ([]Control, error) {
	if columns < 3 || rows < 3 || columns*rows > 2000 {
		return nil, fmt.Errorf("a chessboard of %d × %d corners cannot be used; it needs 3 × 3 or more inside", columns, rows)
	}
	var best []gridDot
	for _, cells := range lattices(corners) {
		if at := window(cells, columns, rows); len(at) > len(best) {
			best = at
		}
	}
	if len(best) < columns*rows {
		if len(best) == 0 {
			return nil, fmt.Errorf("no chessboard of %d × %d corners was found; corners are counted inside, where four fields meet", columns, rows)
		}
		return nil, fmt.Errorf("of the chessboard's %d × %d corners only %d were found", columns, rows, len(best))
	}
	controls := make([]Control, len(best))
	for k, c := range best {
		controls[k] = Control{
			Name: fmt.Sprintf("corner %d,%d", c.i+1, c.j+1),
			Px:   corners[c.point], MM: r2.Vec{X: float64(c.i), Y: -float64(c.j)}, SigmaPx: 0.1,
		}
	}
	return controls, nil
}
