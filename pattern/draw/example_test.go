package draw_test

import (
	"bytes"
	"fmt"
	"log"
	"strings"

	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/pattern/thread"
)

// threeHoles is a reading of calipers: three holes of 8.5 mm on a pitch circle
// of 60 mm, a quarter, a third and the rest of a turn apart.
func threeHoles() *pattern.Reading {
	s, err := pattern.Solve(pattern.Measured{
		PCD: 60, Diameter: 8.5,
		Between: []pattern.Distance{{From: 1, To: 2, Value: 42.426, Over: pattern.Centres}, {From: 2, To: 3, Value: 51.962, Over: pattern.Centres}, {From: 3, To: 1, Value: 57.956, Over: pattern.Centres}},
	})
	if err != nil {
		log.Fatal(err)
	}
	return s.Reading
}

// A cover with clearance holes for M8, as a table for a mill.
func Example() {
	m8, err := thread.ClearanceOf("M8")
	if err != nil {
		log.Fatal(err)
	}
	d, err := draw.New(threeHoles(), draw.Options{
		Clearance: []float64{m8.Holes[thread.Normal]},
		Size:      "M8, normal fit, " + m8.Source,
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, h := range d.Holes {
		fmt.Printf("drill %g mm at %.2f, %.2f\n", h.Diameter, h.Centre.X, h.Centre.Y)
	}
	fmt.Println(d.View())
	// Output:
	// drill 9 mm at 0.00, 30.00
	// drill 9 mm at -30.00, 0.00
	// drill 9 mm at 15.00, -25.98
	// Seen looking at the face, holes numbered counter-clockwise; the part as seen when it is on.
}

// What WriteDXF wrote, ReadDXF reads.
func ExampleReadDXF() {
	d, err := draw.New(threeHoles(), draw.Options{Clearance: []float64{9}})
	if err != nil {
		log.Fatal(err)
	}
	var file bytes.Buffer
	if err := d.WriteDXF(&file); err != nil {
		log.Fatal(err)
	}
	circles, err := draw.ReadDXF(&file, 0)
	if err != nil {
		log.Fatal(err)
	}
	holes, err := circles.Holes(3, draw.Pick{Layer: draw.LayerHoles})
	if err != nil {
		log.Fatal(err)
	}
	for _, h := range holes {
		fmt.Printf("%g mm on layer %s\n", h.Diameter, h.Layer)
	}
	fmt.Println(circles.Unit)
	// Output:
	// 9 mm on layer HOLES
	// 9 mm on layer HOLES
	// 9 mm on layer HOLES
	// mm, as its $INSUNITS says
}

func ExampleDrawing_WritePDF() {
	d, err := draw.New(threeHoles(), draw.Options{Mirror: true})
	if err != nil {
		log.Fatal(err)
	}
	// The bars of an earlier print measured 99.6 and 100.3 mm, not 100.
	var page bytes.Buffer
	if err := d.WritePDF(&page, draw.Paper{Name: "a4", Width: 210, Height: 297}, [2]float64{99.6, 100.3}); err != nil {
		log.Fatal(err)
	}
	fmt.Println(strings.HasPrefix(page.String(), "%PDF"))
	// Output: true
}
