package read

import (
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// look is the picture in which marks are looked for: a scan as it is, and a
// photograph as it would be from straight above, where circles on the face are
// circles. Marks are handed on as they lie in the photograph itself.
type look struct {
	picture *vision.Picture
	flat    *vision.Flat // nil: picture is the one that was opened
}

// lookFrom decides where to look. A photograph whose view from above cannot be
// made is looked at as it is.
func (s *Scaling) lookFrom(pic *vision.Picture) look {
	if s.flat {
		if flat, err := s.Plane.Flat(pic, s.window); err == nil {
			return look{flat.Picture, flat}
		}
	}
	return look{picture: pic}
}

func (l look) back(m vision.Mark) vision.Mark {
	if l.flat == nil {
		return m
	}
	return l.flat.Back(m)
}

// find returns the marks, seen as they are found and marks as they lie in the
// photograph.
func (l look) find() (seen, marks []vision.Mark, err error) {
	if seen, err = vision.Find(l.picture); err != nil {
		return nil, nil, err
	}
	marks = make([]vision.Mark, len(seen))
	for i, m := range seen {
		marks[i] = l.back(m)
	}
	return seen, marks, nil
}

// measureAt measures a mark at a place of the photograph.
func (l look) measureAt(centre r2.Vec, radius float64) (seen, mark vision.Mark, ok bool) {
	if l.flat != nil {
		at, k := l.to(centre)
		centre, radius = at, radius*k
	}
	seen, ok = vision.MeasureNear(l.picture, centre, radius)
	if !ok {
		return seen, seen, false
	}
	return seen, l.back(seen), true
}

// to is where a point of the photograph lies in the picture that is looked
// at, and how many times as large things are there.
func (l look) to(px r2.Vec) (at r2.Vec, larger float64) {
	if l.flat == nil {
		return px, 1
	}
	return l.flat.From(px)
}
