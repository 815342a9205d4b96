package pattern

import "strings"

// Schema names the form of the document. A reading in another form is not
// read: its keys may mean something else.
const Schema = "boltrose/reading/1"

// MaxHoles is the most holes that a reading holds. The joint covariance grows
// with the square of their number: 1,000 holes make 200 MB of JSON.
const MaxHoles = 1000

// View says from which side the pattern is seen. The mirror image of an
// uneven pattern does not fit.
type View string

const (
	Facing     View = "facing"      // looking at the face
	FromBehind View = "from_behind" // taken through the sheet, and mirrored back
)

// Kind says whether a pitch circle is claimed.
type Kind string

const (
	OnCircle Kind = "circle" // the holes share a pitch circle
	Free     Kind = "free"   // a free set of circular marks
)

// Reading is everything measured on a face, in millimetres.
//
// Coordinates: origin at the pitch circle's centre (in a free pattern at the
// holes' centroid), x right, y up, looking at the face. Holes are numbered
// counter-clockwise, hole 1 the nearest to twelve o'clock. A key that ends in
// u95 is an expanded uncertainty (k = 2, JCGM 100:2008 clause 6.2.1) of the
// key before it.
type Reading struct {
	Schema  string `json:"schema"`
	Source  Source `json:"source"`
	View    View   `json:"view"`
	Scale   Scale  `json:"scale"`
	Pattern Kind   `json:"pattern"`

	Holes       []Hole       `json:"holes"`
	Bore        *Feature     `json:"bore"`
	Rim         *Feature     `json:"rim"`
	PitchCircle *PitchCircle `json:"pitch_circle"` // null in a free pattern

	// TurnDeg is the direction of the hole at 0° on the page,
	// counter-clockwise from right, in [0, 360); null in a free pattern.
	TurnDeg *float64 `json:"turn_deg"`

	// Gaps are the neighbours on the pitch circle in counter-clockwise order,
	// the last one back to the first; their angles add up to 360°. Empty in a
	// free pattern. Chords are all pairs of holes, with the included angle of
	// at most 180°.
	Gaps   []Span `json:"gaps"`
	Chords []Span `json:"chords"`

	// CovarianceMM2 is the joint covariance (standard, not expanded) of the
	// holes' x_mm and y_mm as they stand here, that is, relative to the
	// origin, which is itself computed from the holes: 2N×2N, row-major,
	// x1, y1, x2, … Chords, angles, gaps and the pitch circle's diameter are
	// functions of these coordinates alone, so that their uncertainties
	// follow from this matrix alone.
	CovarianceMM2 []float64 `json:"covariance_mm2"`

	// Budget says what the uncertainties come from; empty where that is not
	// known.
	Budget []BudgetTerm `json:"budget"`

	// Verdict says whether the holes are even, in words and numbers.
	Verdict *Verdict `json:"verdict"`

	// Candidates are what the maker may have drawn.
	Candidates *Candidates `json:"candidates"`

	// Bolts are guesses for which bolts the holes may be, size by size.
	Bolts []BoltGuess `json:"bolt_guesses"`

	Warnings []string `json:"warnings"`
}

// Source is where a reading comes from. Its sizes are 0 without a picture.
type Source struct {
	File     string `json:"file"`
	SHA256   string `json:"sha256"`
	WidthPx  int    `json:"width_px"`
	HeightPx int    `json:"height_px"`
	Kind     string `json:"kind"`
}

// Names are the source's files without their folders, which are nobody else's
// business, with commas between several; "" where there is none.
func (s Source) Names() string {
	names := strings.Split(s.File, ", ")
	for i, n := range names {
		names[i] = n[strings.LastIndexAny(n, `/\`)+1:]
	}
	return strings.Join(names, ", ")
}

// Kinds of sources.
const (
	ByScan  = "scan"
	ByPhoto = "photo"
	ByHand  = "hand" // no picture
	// Combined is several readings.
	Combined = "combined"
)

// Scale is how the source's pixels became millimetres. Its sizes are 0
// without a picture.
type Scale struct {
	Method   string  `json:"method"`
	MMPerPxX float64 `json:"mm_per_px_x"`
	MMPerPxY float64 `json:"mm_per_px_y"`
	URel     float64 `json:"u_rel"` // standard, relative
}

// Hole is one hole of the pattern.
type Hole struct {
	ID   int     `json:"id"`
	X    float64 `json:"x_mm"`
	Y    float64 `json:"y_mm"`
	XU95 float64 `json:"x_u95_mm"`
	YU95 float64 `json:"y_u95_mm"`

	Diameter    float64 `json:"diameter_mm"`
	DiameterU95 float64 `json:"diameter_u95_mm"`

	// OuterDiameter is that of the chamfer or counterbore round the hole.
	OuterDiameter    *float64 `json:"outer_diameter_mm"`
	OuterDiameterU95 *float64 `json:"outer_diameter_u95_mm"`

	// AngleDeg counts counter-clockwise from the hole at 0°, in [0, 360),
	// about the pitch circle's centre. Null in a free pattern, and for a hole
	// so near the centre that its direction is not known.
	AngleDeg    *float64 `json:"angle_deg"`
	AngleU95Deg *float64 `json:"angle_u95_deg"`

	XPx      float64 `json:"x_px"`
	YPx      float64 `json:"y_px"`
	RimSeen  float64 `json:"rim_seen"`  // share of the rim, 0 to 1
	OnCircle bool    `json:"on_circle"` // takes part in the pitch circle
}

// Feature is the centre bore or the part's outer rim.
type Feature struct {
	X           float64 `json:"x_mm"`
	Y           float64 `json:"y_mm"`
	XU95        float64 `json:"x_u95_mm"`
	YU95        float64 `json:"y_u95_mm"`
	Diameter    float64 `json:"diameter_mm"`
	DiameterU95 float64 `json:"diameter_u95_mm"`

	// Offset is the distance from the pitch circle's centre; null in a free
	// pattern. Where it may well be zero its interval is that of a point of
	// the plane (k = 2.45, JCGM 102:2011) and holds zero.
	Offset    *float64 `json:"offset_mm"`
	OffsetU95 *float64 `json:"offset_u95_mm"`

	XPx     float64 `json:"x_px"`
	YPx     float64 `json:"y_px"`
	RimSeen float64 `json:"rim_seen"`
}

// PitchCircle is the circle through the holes' centres. Real holes do not lie
// exactly on one: its diameter is that of the least-squares circle through
// their true centres, each counting the same.
type PitchCircle struct {
	Diameter    float64 `json:"diameter_mm"`
	DiameterU95 float64 `json:"diameter_u95_mm"`
	XPx         float64 `json:"x_px"` // 0 without a picture
	YPx         float64 `json:"y_px"`
	RMS         float64 `json:"rms_residual_mm"` // √(Σe²/N); 0 for two or three holes
}

// Span is the angle and the chord between two holes.
type Span struct {
	From int `json:"from"`
	To   int `json:"to"`

	AngleDeg    *float64 `json:"angle_deg"` // null where a direction is not known
	AngleU95Deg *float64 `json:"angle_u95_deg"`
	Chord       float64  `json:"chord_mm"`
	ChordU95    float64  `json:"chord_u95_mm"`
}
