package thread

import "math"

// Form is the shape of a thread in a section through its axis: a symmetric V
// whose crests and roots are cut off flat or round. All lengths follow from
// the pitch p.
type Form struct {
	Name     string
	AngleDeg float64 // between the flanks
	Depth    float64 // of the basic profile, from crest to root, in pitches
	RootMale float64 // how deep the groove of a bolt goes, in pitches
	Source   string
}

// The forms of the tables.
//
// ISO 68-1 and ASME B1.1 share one basic profile: of the V of height
// H = p·√3/2 an eighth is cut off at the crest and a quarter at the root, so
// that 5/8 H are left; the groove of a bolt goes down to a root of H/8…H/4
// that is rounded, 17/24 H below the crest. Whitworth's V of 55° has a sixth
// of its height rounded off at both ends: 2/3·p/(2·tan 27.5°) = 0.640327 p
// (BS 84). BA is 0.6 p deep at 47.5° (BS 93), the cycle thread 0.5327 p at
// 60° (BS 811).
var (
	ISO60     = Form{"ISO 60°", 60, 5. / 8 * math.Sqrt(3) / 2, 17. / 24 * math.Sqrt(3) / 2, "ISO 68-1, ASME B1.1"}
	Whitworth = Form{"Whitworth 55°", 55, 0.640327, 0.640327, "BS 84"}
	BA        = Form{"BA 47.5°", 47.5, 0.6, 0.6, "BS 93"}
	Cycle     = Form{"cycle 60°", 60, 0.5327, 0.5327, "BS 811"}
)

// pitchDown is how far the pitch diameter lies below the major one, in
// pitches. On a V cut off unevenly it is not the middle of the depth: of
// ISO's it is 2 · 3/8 H.
func (f Form) pitchDown() float64 {
	if f == ISO60 {
		return 2 * 3. / 8 * math.Sqrt(3) / 2
	}
	return f.Depth
}

// half is half the flanks' angle in radians.
func (f Form) half() float64 { return f.AngleDeg / 2 * math.Pi / 180 }

// NearForm says whether an angle between flanks, with its expanded uncertainty,
// may be that of a form of the tables. Wear and dirt bend flanks: what is far
// from all of them tells nothing of the thread.
func NearForm(deg, u95 float64) bool {
	const bent = 1 // degrees
	for _, f := range []Form{ISO60, Whitworth, BA, Cycle} {
		if math.Abs(deg-f.AngleDeg) <= u95+bent {
			return true
		}
	}
	return false
}

// Basic are a thread's diameters without tolerances, mm (ISO 724; the same
// sums in ASME B1.1, BS 84, BS 93).
type Basic struct {
	Major     float64 // over the crests of the bolt
	Pitch     float64 // where ridge and groove are equally wide; "effective diameter" in British standards
	Minor     float64 // between the crests of the hole
	MinorBolt float64 // between the bottoms of the bolt's grooves
}

// Basic returns the thread's basic diameters.
func (t Thread) Basic() Basic {
	f := t.Form()
	return Basic{
		Major:     t.Major,
		Pitch:     t.Major - f.pitchDown()*t.Pitch,
		Minor:     t.Major - 2*f.Depth*t.Pitch,
		MinorBolt: t.Major - 2*f.RootMale*t.Pitch,
	}
}
