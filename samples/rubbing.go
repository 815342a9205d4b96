// Package samples renders pencil rubbings of machine faces as a home scanner
// would deliver them, with the truth of what was rubbed.
//
// The rendering follows what happens on the bench. Paper lies on the metal; a
// soft pencil held flat is stroked over it. Each stroke is some millimetres
// wide and leaves a streak of its own pressure. Lead catches on the peaks of
// the paper's grain where metal backs the paper, hardly where the paper spans
// a hole, and more than elsewhere where it is bent over a rim. The scanner
// then adds its blur, noise, uneven light, scale errors and lid.
//
// Everything is seeded: the same Rubbing always gives the same picture.
package samples

import (
	"image"

	"gonum.org/v1/gonum/spatial/r2"
)

// A Rubbing says what is drawn. The zero value of each effect leaves it out;
// [New] gives an ordinary good rubbing to start from.
//
// Lengths are millimetres and directions degrees. Directions on the picture
// are counter-clockwise from right, as seen.
type Rubbing struct {
	Name    string   // for reports
	Effects []string // what the rubbing tests, for reports

	Face Face
	Seed uint64

	// The scan. A picture has Width × Height (zero: it is made to fit) at the
	// nominal DPI (zero: 300). The true pitch of the pixels is 25.4/DPI ×
	// (1 + ScaleX) along x and (1 + ScaleY) along y, and Shear (radians) is
	// how far the axes are from square.
	DPI            float64
	Width, Height  float64
	ScaleX, ScaleY float64
	Shear          float64

	// Where the face's origin lies from the middle of the picture (mm, x
	// right, y up) and how far the face is turned.
	Offset r2.Vec
	Turn   float64

	Paper Paper

	Style Style
	Tone  float64 // mean darkness of the rubbed metal, 0 to 0.9

	StrokeAngle   float64 // direction of the strokes
	CrossAngle    float64 // direction of a second pass
	Cross         float64 // strength of the second pass, 0 for none to 1
	StrokeWidth   float64 // mm
	Streaks       float64 // how much single strokes stand out, 0 to 1
	Ragged        float64 // mm by which the ends of strokes differ
	Uneven        float64 // slow changes of pressure, 0 to 1
	PaleAreas     int     // places that were hardly rubbed
	PatchesOnly   bool    // only a patch round each hole was rubbed
	Grain         float64 // how strongly the paper's grain shows, 0 to 1
	GrainSize     float64 // 1 is copy paper, 2 coarse drawing paper; 0 means 1
	EdgeLine      float64 // extra lead at the rims; 1 doubles to triples it
	EdgeLineWidth float64 // mm, 0.2 to 0.8
	EdgeSoftness  float64 // mm over which contact is lost at a rim
	Bridging      float64 // mm by which paper bridges a rim, so that holes look smaller
	EdgeWander    float64 // mm, rms, by which the edge wanders along the rim

	Slip      r2.Vec  // second copy's shift on the picture, mm, x right, y up
	SlipShare float64 // strength of the second copy, 0 for none

	Smudges     int
	Handwriting int // words and figures written beside the face
	Folds       int

	// The scanner.
	Blur        float64 // Gaussian, standard deviation in pixels
	Noise       float64 // standard deviation in grey levels of 255
	UnevenLight float64 // relative, 0.02 is ordinary
	WhitePoint  float64 // brightness that is scanned as full white; 0 means 1
	Levels      int     // grey levels of the output; 0 means 256
	Output      Output
	JPEGQuality int // 1 to 100: the picture has been through JPEG; 0: it has not
}

// Paper is the sheet on the scanner's glass. With a Width of zero it covers
// the whole picture; otherwise the lid shows around it.
type Paper struct {
	Width, Height float64 // mm
	Turn          float64 // degrees counter-clockwise on the glass
	Lid           float64 // the lid's brightness, 0 black to 1 white
}

// Style is how the face was taken down.
type Style int

const (
	Pencil Style = iota // graphite on white paper
	Chalk               // chalk or crayon on dark paper
	Grease              // dirt on the rims printed on the paper; nothing was stroked
)

// Output is the kind of picture that the scanner writes.
type Output int

const (
	Grey Output = iota
	Colour
	Threshold // 1 bit, cut at a threshold
	Dither    // 1 bit, dithered
)

// New is an ordinary good rubbing of the face at 300 dpi, on a page just
// large enough for it.
func New(face Face, seed uint64) Rubbing {
	r := Rubbing{
		Face: face, Seed: seed,
		DPI:  300,
		Tone: 0.5, StrokeAngle: 35, StrokeWidth: 4.5,
		Streaks: 0.8, Ragged: 4, Uneven: 0.35,
		Grain: 0.8, GrainSize: 1,
		EdgeLine: 1, EdgeLineWidth: 0.45, EdgeSoftness: 0.18, Bridging: 0.05, EdgeWander: 0.018,
		Blur: 0.6, Noise: 1.5, UnevenLight: 0.02,
	}
	r.Fit(12)
	return r
}

// Fit sets the picture's size so that the face with its rubbed surroundings
// and a margin (mm) fits in at any turn.
func (r *Rubbing) Fit(margin float64) {
	side := 2 * (r.radius() + margin)
	r.Width, r.Height = side, side
}

// radius is how far from the face's origin the strokes go, mm.
func (r Rubbing) radius() float64 {
	if rim := r.Face.Rim; rim != nil {
		return max(rim.Diameter/2+6, r.Face.reach()+4)
	}
	return r.Face.reach() + 9
}

// Truth is what was rendered.
//
// Picture coordinates are pixels: x right, y down, the picture's top-left
// corner is (0, 0) and the centre of its first pixel (0.5, 0.5).
type Truth struct {
	DPI                float64 // nominal
	MMPerPxX, MMPerPxY float64 // true
	Shear              float64 // radians
	Holes              []TrueCircle
	Bore, Rim          *TrueCircle

	place placement
}

// TrueCircle is a circle on the face.
type TrueCircle struct {
	CentrePx r2.Vec
	CentreMM r2.Vec  // on the face
	Diameter float64 // mm
	Outer    float64 // mm, of a chamfer or counterbore; 0 for none

	// Rubbed is the share of the rim, 0 to 1, that took lead as the strokes
	// (or the grease) really fell. What lies outside the picture or the sheet
	// counts as not rubbed.
	Rubbed float64
}

// ToPx maps a point on the face (mm) to the picture.
func (t Truth) ToPx(faceMM r2.Vec) r2.Vec { return t.place.px(faceMM) }

// Render draws the rubbing. The picture is an *image.Gray, an *image.RGBA for
// [Colour] and a two-colour *image.Paletted for 1-bit output.
func (r Rubbing) Render() (image.Image, Truth) {
	s := newScene(r)
	return s.scan(), s.truth()
}
