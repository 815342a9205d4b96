// Package pattern turns circular edges measured on a face, in millimetres,
// into a hole pattern with honest uncertainty: which rings are holes, the
// pitch circle, angles, chords and the covariance that joins them. It is pure
// arithmetic: no pictures and no files.
package pattern

// Choice says what each ring is.
type Choice struct {
	Holes []int       // indices of the rings taken as holes, in no order
	Outer map[int]int // hole's ring index → index of its chamfer's or counterbore's ring
	Bore  int         // index of the centre bore's ring, −1 when there is none
	Rim   int         // index of the part's outer rim, −1 when there is none

	// OffCircle lists the holes, among Holes, that do not lie on the pitch
	// circle of the others. They are reported and take no part in its fit.
	OffCircle []int

	// Circle is false when no pitch circle is claimed: the holes are then a
	// free set of circular marks.
	Circle bool

	Reasons  []string // for each ring, why it was taken or left, in words
	Warnings []string
}
