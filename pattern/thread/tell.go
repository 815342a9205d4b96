package thread

import (
	"fmt"
	"math"
	"strings"
)

// Drift is how far (mm) the threads run apart at each tooth.
func Drift(a, b Thread) float64 { return math.Abs(a.Pitch - b.Pitch) }

// TeethToTell is how many pitches a gauge must span before one of these
// threads shows a gap that is seen when it is held against the leaf of the
// other; 0 where no gauge can tell them, because their pitches are equal.
func TeethToTell(a, b Thread) int {
	d := Drift(a, b)
	if d < 1e-9 {
		return 0
	}
	return int(math.Ceil(seen/d - 1e-9))
}

// Bind is how a bolt goes into a nut of another thread.
type Bind struct {
	Starts  bool    // it enters at all
	Forever bool    // nothing stops it: it goes all the way, and is loose or holds on little
	Turns   float64 // how many turns until it binds, both in the middle of their tolerance
	Most    float64 // the same where both are as slack as their tolerances allow
}

// nutTurns is how many turns a common nut has: it is 0.8 diameters high (of
// DIN 934 seen: M8 6.5, M10 8, M20 16 mm).
func (t Thread) nutTurns() float64 { return 0.8 * t.Major / t.Pitch }

// BindOf says after how many turns a bolt binds in a nut of another thread.
//
// It takes both to be rigid, clean and made to the usual class, each with one
// pitch along all of its length, turned by hand, in a nut of any height: a
// spanner turns a bolt farther, and spoils both.
//
// Pitches that differ by δ are n·δ apart after n turns. Pushed apart along the
// axis the flanks touch when that has used up the play: n·δ·cot(α/2) of the
// pitch diameter, the virtual effective diameter of BS 84 annex C and ISO
// 5408. Flanks of unlike angles take part of the play away beforehand:
// h·(tan α₁/2 − tan α₂/2)/tan α/2 over the depth h on which they touch.
func BindOf(bolt, nut Thread) Bind {
	male, _ := bolt.Bolt("")
	female, _ := nut.Nut("")
	middle := func(l [2]float64) float64 { return (l[0] + l[1]) / 2 }
	// Crests must not meet roots: the bolt's major diameter under the nut's,
	// and the nut's minor one over the bolt's root.
	if male.Major[1] > nut.Major+0.1*nut.Pitch || middle(female.Minor) < bolt.Basic().MinorBolt {
		return Bind{}
	}
	tan := math.Tan((bolt.Form().half() + nut.Form().half()) / 2)
	depth := math.Min(bolt.Form().Depth*bolt.Pitch, nut.Form().Depth*nut.Pitch)
	angles := depth * math.Abs(math.Tan(bolt.Form().half())-math.Tan(nut.Form().half())) / tan
	play := middle(female.Pitch) - middle(male.Pitch) - angles
	most := female.Pitch[1] - male.Pitch[0] - angles
	b := Bind{Starts: most > 0}
	d := Drift(bolt, nut)
	if !b.Starts {
		return b
	}
	if d < 1e-9 {
		b.Forever = true
		return b
	}
	b.Turns, b.Most = math.Max(play, 0)*tan/d, most*tan/d
	// When the threads are half a pitch apart they no longer meet at all.
	b.Forever = play > nut.Form().Depth*nut.Pitch*1.5
	return b
}

// Tell says in words what decides between two threads, and what happens when
// they are taken for one another.
func Tell(a, b Thread) string {
	if a.Form() == b.Form() && near(a.Pitch, b.Pitch) && near(a.Major, b.Major) {
		return "the same thread under another name"
	}
	var s []string
	d := Drift(a, b)
	switch n := TeethToTell(a, b); {
	case n > 0:
		s = append(s, fmt.Sprintf("their pitches drift apart by %.3f mm a tooth: a gauge, or a screw that is known, must lie on %s (%.0f mm) before a gap of %g mm shows", d, teeth(n), math.Ceil(float64(n)*math.Max(a.Pitch, b.Pitch)), seen))
	case a.Form().AngleDeg != b.Form().AngleDeg:
		s = append(s, fmt.Sprintf("same pitch, %g° against %g°: a pitch gauge that states its angle, held against the light, or a nut that is known", a.Form().AngleDeg, b.Form().AngleDeg))
	default:
		s = append(s, "same pitch and flanks")
	}
	if diff := math.Abs(a.Major - b.Major); diff > 1e-6 {
		s = append(s, fmt.Sprintf("their diameters differ by %.2f mm: measure where the crests are whole, under the head", diff))
	}
	if fa, fb := flatsText(a), flatsText(b); fa != "" && fb != "" && fa != fb {
		s = append(s, fmt.Sprintf("heads across flats: %s has %s, %s %s", a.Designation(), fa, b.Designation(), fb))
	}
	s = append(s, bindText(a, b), bindText(b, a)) // either may be the bolt
	return strings.Join(s, "; ")
}

func flatsText(t Thread) string {
	var all []string
	for _, f := range t.AcrossFlats() {
		text := fmt.Sprintf("%.1f mm", f.MM)
		if t.TPI > 0 {
			text = fmt.Sprintf("%.3f in", f.MM/inch)
		}
		all = append(all, text)
	}
	return strings.Join(all, " or ")
}

func bindText(bolt, nut Thread) string {
	b := BindOf(bolt, nut)
	who := fmt.Sprintf("a bolt %s in a nut %s", bolt.Designation(), nut.Designation())
	switch {
	case !b.Starts:
		return who + " does not start"
	case b.Forever:
		return who + " goes all the way, and holds on part of its flanks only"
	case b.Most < 1:
		return who + " binds within the first turn"
	}
	text := fmt.Sprintf("%s binds after %.0f turns or so (at most %.0f)", who, math.Max(b.Turns, 1), math.Ceil(b.Most))
	if n := nut.nutTurns(); b.Most > n {
		text += fmt.Sprintf(", and a common nut has %.0f: it may go on as if it were right, and holds on few of its turns", n)
	}
	return text
}

func teeth(n int) string {
	if n == 1 {
		return "1 tooth"
	}
	return fmt.Sprintf("%d teeth", n)
}
