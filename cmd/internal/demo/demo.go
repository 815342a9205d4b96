// Package demo lays the printed frame into rendered photographs.
package demo

import (
	"boltrose/calib"
	"boltrose/samples"
)

// Sheet is a frame as it lies on the table once it is printed and its window
// is cut out. Its dots are in the frame's order.
func Sheet(f *calib.Frame) samples.Sheet {
	s := samples.Sheet{Width: f.Paper.Width, Height: f.Paper.Height, WindowWidth: f.WindowW, WindowHeight: f.WindowH}
	for _, d := range f.Dots {
		s.Dots = append(s.Dots, samples.Disc{X: d.Centre.X, Y: d.Centre.Y, Diameter: d.Diameter})
	}
	for _, b := range []calib.Bar{f.BarX, f.BarY} {
		s.Bars = append(s.Bars, samples.Bar{X1: b.From.X, Y1: b.From.Y, X2: b.To.X, Y2: b.To.Y, Width: b.Width})
	}
	return s
}

// Frame is the frame on A4 paper for a square window of at least that size
// (mm), or with the largest that the paper has room for.
func Frame(windowMM float64) *calib.Frame {
	for ; ; windowMM-- {
		if f, err := calib.NewFrame(calib.A4, windowMM, windowMM); err == nil || windowMM < 1 {
			return f
		}
	}
}

// Photos are the photographs of the README and the demo, by the names of their
// files.
func Photos() []samples.Photo { return samples.FinishedPhotos(Sheet(Frame(140))) }
