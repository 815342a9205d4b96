package main

import (
	"errors"
	"strings"

	"boltrose/pattern/draw"

	"gonum.org/v1/gonum/spatial/r2"
)

// runningValue reads the running clearance round a shaft and, after a comma,
// past its end; one for both.
func runningValue(to *draw.GuardSizes) value {
	return value{"mm", func(s string) error {
		radius, length, two := strings.Cut(s, ",")
		if !two {
			length = radius
		}
		r, err1 := millimetres(radius)
		l, err2 := millimetres(length)
		if err1 != nil || err2 != nil {
			return errors.New("give the running clearance in mm as 5, or round the shaft and past its end as 5,8")
		}
		to.RunRadius, to.RunLength = r, l
		return nil
	}}
}

// placeValue reads a place on the face.
func placeValue(to **r2.Vec) value {
	return value{"place", func(s string) error {
		v, err := numbers(s, 2)
		if err != nil {
			return errors.New("give a place on the face in the reading's mm, as 0.3,-0.2")
		}
		*to = &r2.Vec{X: v[0], Y: v[1]}
		return nil
	}}
}
