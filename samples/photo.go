package samples

import (
	"image"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A Photo is a photograph of a machined face, or of a sheet on a table, as a
// phone would take it. The zero value of each effect leaves it out; [NewPhoto]
// gives an ordinary good photograph to start from.
//
// Every ray of the camera is followed: to what lies about, to the printed
// sheet, to the face, into its holes and down to the bench. Circles are
// therefore circles of the face under true perspective, and the far wall of a
// hole shows when the camera looks in at an angle.
//
// Lengths are millimetres and directions degrees counter-clockwise from right
// on the face. Everything is seeded.
type Photo struct {
	Name    string   // for reports
	Effects []string // what the photograph tests, for reports
	Seed    uint64

	// The face lies at z = 0 and the ground Drop below it. Without a rim the
	// metal goes on for ever. With NoFace there is only the ground, at z = 0.
	Face   Face
	NoFace bool
	Metal  Metal
	Ground Ground
	Drop   float64

	Sheet  *Sheet // nil for none
	Things []Thing
	Screw  *LaidScrew // nil for none

	Camera Camera
	Light  Light
	Shot   Shot
	Phone  Phone
}

// Metal is the state of the face.
type Metal struct {
	Tone    float64 // how bright, 0 to 1; 0 means 0.5
	Rust    float64 // share with rust spots, 0 to 1
	Grease  float64 // share under grease, 0 to 1
	Burr    float64 // mm beside each rim that catch the light
	Depth   float64 // mm that holes go down; 0 means 16
	Behind  float64 // brightness of what is seen through the holes, 0 to 1
	Painted bool    // dark enamel instead of bare metal
}

// Ground is what lies under and around the part.
type Ground int

const (
	Bench    Ground = iota // old boards
	Concrete               // a floor
	Casing                 // the painted casting that the face stands out of
	Cloth                  // dark cloth
)

// A Sheet is paper with something printed on it, with or without an open
// window in its middle. Its own coordinates are mm from its centre, x right,
// y up.
type Sheet struct {
	Width, Height             float64
	WindowWidth, WindowHeight float64     // 0 for none
	Corner                    float64     // radius of its corners, as a card's
	Dots                      []Disc      // printed black
	Bars                      []Bar       // printed black
	Picture                   image.Image // printed over the whole sheet: a rubbing's, or a card's

	// Where it lies: its centre on the face, how far it is turned and how far
	// above the face it is.
	Offset r2.Vec
	Turn   float64
	Above  float64

	// It is bent to a shallow trough, whose line runs in the direction CurlLine
	// of the sheet. Its edges stand Curl mm above its middle.
	Curl, CurlLine float64

	Wrinkled float64 // 0 smooth to 1
	Tone     float64 // the paper's brightness; 0 means 0.86
}

// A Bar is a printed straight line.
type Bar struct {
	X1, Y1, X2, Y2 float64
	Width          float64
}

// A Thing lies on the sheet or beside the part and hides what is under it.
type Thing struct {
	Kind Kind
	X, Y float64 // mm on the face
	Base float64 // height above the face of what it lies on
	Size float64 // mm: a washer's diameter, a bolt's thread, half a rag or stain, the width of a hand's finger
	Turn float64
}

// Kind of thing.
type Kind int

const (
	Washer Kind = iota
	Nut
	Bolt
	Rag
	Stain // a blot of oil
	Hand  // it comes in from the direction Turn, its middle finger's tip at the position
)

// Light is the lamp and what else gives light.
type Light struct {
	From, Height float64 // where the lamp stands: direction on the face, degrees above it
	Distance     float64 // mm; 0 means 1500
	Ambient      float64 // share of the light that comes from everywhere, 0 to 1
	Glare        float64 // strength of the metal's reflection of the lamp
	Warm         float64 // -1 cold to 1 warm
	Gradient     float64 // relative change of light across the picture
	GradientTo   float64 // brighter towards this direction on the picture
	Vignette     float64 // light lost in the picture's corners, 0 to 1
	Hotspot      float64 // a veil of stray light over part of the picture, 0 to 1
	HotspotAt    r2.Vec  // in the picture, 0 to 1 each from the top-left
}

// Shot is what happens between lens and file.
type Shot struct {
	Exposure     float64 // stops
	Defocus      float64 // Gaussian, standard deviation in pixels
	Motion       float64 // length of the blur, pixels
	MotionAngle  float64 // on the picture
	Noise        float64 // standard deviation in grey levels of 255, at middle grey
	Sharpen      float64 // amount of unsharp masking
	SharpenRange float64 // its radius, pixels; 0 means 1.6
	Contrast     float64 // of the tone curve: 0 the plain sRGB curve to 1
	JPEGQuality  int     // 0 means 90
}

// Phone is what the file's EXIF block says of the camera.
type Phone struct {
	Make, Model string
	FocalMM     float64
	Focal35MM   float64 // the same view on a 36 × 24 mm film
}

// NewPhoto is an ordinary good photograph of the face from 400 mm.
func NewPhoto(face Face, seed uint64) Photo {
	return Photo{
		Face: face, Seed: seed,
		Metal: Metal{Tone: 0.5, Rust: 0.06, Grease: 0.08, Burr: 0.18, Depth: 16},
		Drop:  14,

		Camera: NewCamera(400),
		Light:  Light{From: 120, Height: 50, Ambient: 0.5, Glare: 0.5, Warm: 0.15, Vignette: 0.2},
		Shot:   Shot{Defocus: 0.8, Noise: 2, Sharpen: 0.5, Contrast: 0.3, JPEGQuality: 90},
		Phone:  Phone{Make: "Pomona", Model: "Presser 12", FocalMM: 5.1, Focal35MM: 26},
	}
}

// PhotoTruth is what was photographed, as the camera saw it.
type PhotoTruth struct {
	Camera    Camera
	Phone     Phone
	Holes     []SeenCircle
	Bore, Rim *SeenCircle
	Dots      []SeenCircle // of the sheet, in its order

	scene *photoScene
}

// SeenCircle is a circle of the face or a dot of the sheet.
type SeenCircle struct {
	// CentrePx is where the circle's centre is seen. It is not the centre of
	// the ellipse that the circle becomes.
	CentrePx r2.Vec
	CentreMM r2.Vec  // on the face; a dot's: on the sheet
	Diameter float64 // mm

	// Outer is the diameter of a chamfer or counterbore, mm, 0 for none. Where
	// there is one, it is what lies in the face; the hole's own rim is Deep mm
	// below it, and is seen shifted.
	Outer, Deep float64

	// Seen is the share of the circle's rim, 0 to 1, that nothing hides and
	// that is in the picture.
	Seen float64
}

// Hidden tells whether so much of the circle is covered that it cannot be
// measured as a circle.
func (c SeenCircle) Hidden() bool { return c.Seen < 0.6 }

// ToPx is where a point of the face (mm) is seen.
func (t PhotoTruth) ToPx(faceMM r2.Vec) r2.Vec {
	px, _ := t.scene.eye.project(r3.Vec{X: faceMM.X, Y: faceMM.Y})
	return px
}

// ToPxBelow is where a point some mm below the face is seen: with a circle's
// Deep, the centre of a chamfered hole's own rim.
func (t PhotoTruth) ToPxBelow(faceMM r2.Vec, deep float64) r2.Vec {
	px, _ := t.scene.eye.project(r3.Vec{X: faceMM.X, Y: faceMM.Y, Z: -deep})
	return px
}

// ToFace is the point of the face (mm) that is seen at px.
func (t PhotoTruth) ToFace(px r2.Vec) r2.Vec {
	p, _ := t.Camera.Unproject(px, 0)
	return p
}

// SheetToPx is where a point of the sheet (mm from its centre) is seen.
func (t PhotoTruth) SheetToPx(sheetMM r2.Vec) r2.Vec {
	if t.scene.sheet == nil {
		return r2.Vec{}
	}
	px, _ := t.scene.eye.project(t.scene.sheet.point(sheetMM))
	return px
}

// Truth is what [Photo.Render] gives beside the picture.
func (p Photo) Truth() PhotoTruth { return newPhotoScene(p).truth() }
