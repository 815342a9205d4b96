package thread_test

import (
	"fmt"

	"boltrose/pattern/thread"
)

// A bolt of the cider press: the leaf of 16 threads to the inch fits, and it
// measures 9.4 mm over its crests. All lengths are mm.
func ExampleIdentify() {
	id, err := thread.Identify(thread.Measured{
		Pitch: thread.Value{V: 25.4 / 16},
		Major: thread.Value{V: 9.4, U95: 0.05},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, alike := range id.Ambiguous[0] {
		drill := alike.TapDrills(alike.UsualEngagement())[0]
		fmt.Printf("%s, flanks at %g°, tap drill %s\n", alike.Designation(), alike.Form().AngleDeg, drill.Name)
	}
	// Output:
	// 3/8-16 UNC, flanks at 60°, tap drill 5/16 in
	// 3/8-16 BSW, flanks at 55°, tap drill 5/16 in
}

// The diameters of a thread with its usual tolerance classes, and the holes that
// its bolt goes through.
func ExampleFind() {
	m8, err := thread.Find("M8")
	if err != nil {
		fmt.Println(err)
		return
	}
	bolt, _ := m8.Bolt("")
	nut, _ := m8.Nut("")
	holes, err := thread.ClearanceOf(m8.Size)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s, bolt %s: pitch diameter %.3f to %.3f mm\n", m8.Designation(), bolt.Class, bolt.Pitch[0], bolt.Pitch[1])
	fmt.Printf("nut %s: minor diameter %.3f to %.3f mm\n", nut.Class, nut.Minor[0], nut.Minor[1])
	fmt.Printf("clearance holes of %g, %g or %g mm, %s\n", holes.Holes[thread.Close], holes.Holes[thread.Normal], holes.Holes[thread.Loose], holes.Source)
	// Output:
	// M8x1.25, bolt 6g: pitch diameter 7.042 to 7.160 mm
	// nut 6H: minor diameter 6.647 to 6.912 mm
	// clearance holes of 8.4, 9 or 10 mm, ISO 273
}

// A number ten screw starts in an M5 nut, and a nut is too short to stop it.
func ExampleBindOf() {
	ten, err := thread.Find("#10-32 UNF")
	if err != nil {
		fmt.Println(err)
		return
	}
	m5, err := thread.Find("M5")
	if err != nil {
		fmt.Println(err)
		return
	}
	b := thread.BindOf(ten, m5)
	fmt.Printf("%.4f mm apart each tooth, %d teeth to tell; starts: %v, binds after %.0f turns\n",
		thread.Drift(ten, m5), thread.TeethToTell(ten, m5), b.Starts, b.Turns)
	// Output:
	// 0.0063 mm apart each tooth, 16 teeth to tell; starts: true, binds after 27 turns
}
