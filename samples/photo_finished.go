package samples

import "gonum.org/v1/gonum/spatial/r2"

// DotBorder is a sheet with rows of dots round an open window: what a printed
// frame looks like, for pictures that need no particular one. The dot at the
// top-left corner is left out.
func DotBorder(width, height, windowWidth, windowHeight, pitch, dot float64) Sheet {
	s := Sheet{Width: width, Height: height, WindowWidth: windowWidth, WindowHeight: windowHeight}
	if !(pitch > 0) {
		return s
	}
	margin := 5 + dot/2
	nx, ny := int((width/2-margin)/pitch), int((height/2-margin)/pitch)
	for j := -ny; j <= ny; j++ {
		for i := -nx; i <= nx; i++ {
			x, y := float64(i)*pitch, float64(j)*pitch
			if i == -nx && j == ny || box(x, y, windowWidth/2, windowHeight/2) < dot {
				continue
			}
			s.Dots = append(s.Dots, Disc{X: x, Y: y, Diameter: dot})
		}
	}
	return s
}

// FinishedPhotos are the photographs that the README and the demo show, by the
// names of their files: the cider press's drive end with the given frame laid
// round it.
func FinishedPhotos(frame Sheet) []Photo {
	p := NewPhoto(CiderPress(), 1874)
	p.Light.From, p.Light.Height = 20, 42
	p.Name = "cider-press-frame"
	for i := range p.Face.Holes {
		p.Face.Holes[i].Threaded = i%2 == 0
	}
	p.Face.Rim.Diameter = 124
	p.Face.Scratches = 14
	p.Face.FeedDepth = 0.5
	p.Metal.Tone, p.Metal.Burr = 0.44, 0.28
	p.Ground = Casing
	frame.Offset, frame.Turn = r2.Vec{X: 1.5, Y: -2}, 2.2
	frame.Curl, frame.CurlLine, frame.Wrinkled = 0.6, 80, 0.3
	p.Sheet = &frame
	p.Camera.Distance, p.Camera.Tilt, p.Camera.Toward, p.Camera.Turn = 340, 17, 245, 84
	p.Camera.K1, p.Camera.K2 = -0.06, 0.04
	p.Light.Gradient, p.Light.GradientTo = 0.18, 140
	p.Shot.Exposure = -0.05
	// Half the size of the phone's picture: the file lies in the repository.
	p.Camera = p.Camera.Scaled(0.5)
	p.Shot.Defocus, p.Shot.JPEGQuality = 0.6, 85
	return []Photo{p}
}
