package pattern

import (
	"errors"

	"boltrose/pattern/circle"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// pitchCircle returns the least-squares circle through the centres of holes.
// Two holes are taken to lie opposite each other.
//
// All holes count the same, however well each was seen. Makers place holes
// worse than a rim can be located, so that weights from the rims alone would
// be false; and the circle that is measured stays one and the same for
// everyone who measures the face.
func pitchCircle(centres []r2.Vec) (circle.Circle, error) {
	switch len(centres) {
	case 0, 1:
		return circle.Circle{}, errors.New("a pitch circle needs at least two holes: read the pattern as a free one")
	case 2:
		return circle.Circle{
			Centre: r2.Scale(0.5, r2.Add(centres[0], centres[1])),
			Radius: r2.Norm(r2.Sub(centres[1], centres[0])) / 2,
		}, nil
	}
	fit, err := circle.LeastSquares(centres, nil)
	if err != nil {
		return circle.Circle{}, errors.New("the holes lie on no circle (they coincide or lie on a line): read the pattern as a free one")
	}
	return fit.Circle, nil
}

var errUndetermined = errors.New("the holes hardly determine a pitch circle: read the pattern as a free one")

// pitchCircleJacobian returns the 3×2N derivatives of the centre's x and y and
// of the diameter of the pitch circle c by the coordinates x1, y1, x2, … of
// all holes, of which only those on the circle determine it.
//
// At the optimum the gradient G of Σ(dᵢ−r)² by centre and radius is zero
// whatever the holes' coordinates p, so that dc/dp = −(∂G/∂c)⁻¹ ∂G/∂p: the
// implicit function theorem, with the second derivatives kept, since a maker's
// holes may lie well off the circle.
func pitchCircleJacobian(c circle.Circle, holes []part) (*mat.Dense, error) {
	var members []int
	for i, h := range holes {
		if h.on {
			members = append(members, i)
		}
	}
	jac := mat.NewDense(3, 2*len(holes), nil)
	if len(members) == 2 {
		a, b := members[0], members[1]
		along := r2.Unit(r2.Sub(holes[b].Centre, holes[a].Centre))
		for _, m := range members {
			jac.Set(0, 2*m, 0.5)
			jac.Set(1, 2*m+1, 0.5)
		}
		jac.Set(2, 2*a, -along.X)
		jac.Set(2, 2*a+1, -along.Y)
		jac.Set(2, 2*b, along.X)
		jac.Set(2, 2*b+1, along.Y)
		return jac, nil
	}
	normal := mat.NewDense(3, 3, nil)
	right := mat.NewDense(3, 2*len(holes), nil)
	for _, m := range members {
		v := r2.Sub(holes[m].Centre, c.Centre)
		d := r2.Norm(v)
		if d == 0 {
			return nil, errUndetermined
		}
		u := r2.Scale(1/d, v)
		bend := (d - c.Radius) / d
		// The derivative of (d−r)u by the hole's position.
		xx := u.X*u.X + bend*u.Y*u.Y
		xy := u.X * u.Y * (1 - bend)
		yy := u.Y*u.Y + bend*u.X*u.X
		for i, row := range [3][3]float64{{xx, xy, u.X}, {xy, yy, u.Y}, {u.X, u.Y, 1}} {
			for j, value := range row {
				normal.Set(i, j, normal.At(i, j)+value)
			}
			right.Set(i, 2*m, row[0])
			right.Set(i, 2*m+1, row[1])
		}
	}
	if err := jac.Solve(normal, right); err != nil {
		return nil, errUndetermined
	}
	for j := range 2 * len(holes) {
		jac.Set(2, j, 2*jac.At(2, j))
	}
	return jac, nil
}
