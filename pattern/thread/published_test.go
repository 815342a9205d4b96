package thread

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Outside values, testdata/thread-designations.csv: pitch, tap drill and
// clearance hole as trade charts print them, each with its source.
func TestPublishedDesignations(t *testing.T) {
	text, err := os.ReadFile("../../testdata/thread-designations.csv")
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	whole, same := 0, 0
	for _, l := range lines[1:] {
		th, err := Find(l[0])
		if err != nil {
			t.Error(err)
			continue
		}
		unit, pitch := 1.0, num(l[3])
		if l[1] == "in" {
			unit, pitch = inch, inch/num(l[3])
		}
		if th.Designation() != l[0] || math.Abs(th.Major-unit*num(l[2])) > 0.002 || math.Abs(th.Pitch-pitch) > 1e-9 {
			t.Errorf("%s: found %s, %g × %g", l[0], th.Designation(), th.Major, th.Pitch)
		}
		// The trade's drills leave 65 to 90 % of thread, and ours is the same or
		// a neighbour: charts differ by what they leave.
		drill := unit * num(l[4])
		if e := th.Engagement(drill); e < 64.9 || e > 90 {
			t.Errorf("%s: a drill of %g mm leaves %.0f %%", l[0], drill, e)
		}
		ours := th.TapDrills(th.UsualEngagement())[0]
		if math.Abs(ours.Diameter-drill) < 0.003 {
			same++
		}
		if math.Abs(ours.Diameter-drill) > 0.13*th.Pitch+0.05 {
			t.Errorf("%s: tap drill %s, published %.3f mm", l[0], ours.Name, drill)
		}
		if l[6] == "" {
			continue
		}
		whole++
		c, err := ClearanceOf(th.Size)
		fit, err2 := ParseFit(l[5])
		if err != nil || err2 != nil || math.Abs(c.Holes[fit]-unit*num(l[6])) > 0.001*inch/2 {
			t.Errorf("%s: %v, %v, %v, want %s", l[0], c, err, err2, l[6])
		}
	}
	if whole < 40 {
		t.Errorf("only %d designations have pitch, tap drill and clearance", whole)
	}
	if same < len(lines)/2 {
		t.Errorf("%d of %d tap drills are the published one", same, len(lines)-1)
	}
	t.Logf("%d designations, %d of them with a clearance hole; %d tap drills are the published one", len(lines)-1, whole, same)
}

// Limits of size in mm as prints of ISO 965-2 have them (seen: coarse bolts of
// 6g up to M6; the 6H tolerances of the pitch diameter of M3 to M8; M8 and
// larger from memory).
func TestMetricLimits(t *testing.T) {
	for _, c := range []struct {
		name                     string
		major, pitch, nut, minor [2]float64
	}{
		{"M2", [2]float64{1.886, 1.981}, [2]float64{1.654, 1.721}, [2]float64{1.740, 1.830}, [2]float64{1.567, 1.679}},
		{"M2.5", [2]float64{2.380, 2.480}, [2]float64{2.117, 2.188}, [2]float64{2.208, 2.303}, [2]float64{2.013, 2.138}},
		{"M3", [2]float64{2.874, 2.980}, [2]float64{2.580, 2.655}, [2]float64{2.675, 2.775}, [2]float64{2.459, 2.599}},
		{"M4", [2]float64{3.838, 3.978}, [2]float64{3.433, 3.523}, [2]float64{3.545, 3.663}, [2]float64{3.242, 3.422}},
		{"M5", [2]float64{4.826, 4.976}, [2]float64{4.361, 4.456}, [2]float64{4.480, 4.605}, [2]float64{4.134, 4.334}},
		{"M6", [2]float64{5.794, 5.974}, [2]float64{5.212, 5.324}, [2]float64{5.350, 5.500}, [2]float64{4.917, 5.153}},
		{"M8", [2]float64{7.760, 7.972}, [2]float64{7.042, 7.160}, [2]float64{7.188, 7.348}, [2]float64{6.647, 6.912}},
		{"M10", [2]float64{9.732, 9.968}, [2]float64{8.862, 8.994}, [2]float64{9.026, 9.206}, [2]float64{8.376, 8.676}},
		{"M12", [2]float64{11.701, 11.966}, [2]float64{10.679, 10.829}, [2]float64{10.863, 11.063}, [2]float64{10.106, 10.441}},
		{"M16", [2]float64{15.682, 15.962}, [2]float64{14.503, 14.663}, [2]float64{14.701, 14.913}, [2]float64{13.835, 14.210}},
		{"M20", [2]float64{19.623, 19.958}, [2]float64{18.164, 18.334}, [2]float64{18.376, 18.600}, [2]float64{17.294, 17.744}},
		{"M24", [2]float64{23.577, 23.952}, [2]float64{21.803, 22.003}, [2]float64{22.051, 22.316}, [2]float64{20.752, 21.252}},
	} {
		th, err := Find(c.name)
		if err != nil {
			t.Fatal(err)
		}
		bolt, _ := th.Bolt("6g")
		nut, _ := th.Nut("6H")
		for _, v := range []struct {
			what      string
			got, want [2]float64
		}{{"major", bolt.Major, c.major}, {"pitch", bolt.Pitch, c.pitch}, {"nut's pitch", nut.Pitch, c.nut}, {"nut's minor", nut.Minor, c.minor}} {
			for k := range 2 {
				if math.Abs(v.got[k]-v.want[k]) > 0.0011 {
					t.Errorf("%s: %s diameter %.4f, published %.3f", c.name, v.what, v.got, v.want)
				}
			}
		}
	}
}

// Pitch diameter tolerances of 4H and 5H in µm as a tap maker prints them for
// coarse threads (seen), and the shift of 6G.
func TestMetricGrades(t *testing.T) {
	for name, want := range map[string][3]float64{ // 5H, 6H, shift of G
		"M2": {71, 90, 19}, "M3": {80, 100, 20}, "M3.5": {90, 112, 21}, "M4": {95, 118, 22}, "M4.5": {95, 118, 22}, "M5": {100, 125, 24}, "M6": {118, 150, 26}, "M8": {125, 160, 28},
	} {
		th, err := Find(name)
		if err != nil {
			t.Fatal(err)
		}
		five, _ := th.Nut("5H")
		six, _ := th.Nut("6H")
		g, _ := th.Nut("6G")
		got := [3]float64{five.Pitch[1] - five.Pitch[0], six.Pitch[1] - six.Pitch[0], g.Pitch[0] - six.Pitch[0]}
		for k := range got {
			if math.Abs(1000*got[k]-want[k]) > 0.6 {
				t.Errorf("%s: %v mm, published %v µm", name, got, want)
			}
		}
	}
}

// Limits in inches as prints of ASME B1.1's tables have them (seen: bolts of
// No. 4 to No. 12, 1/4 and 5/8, holes of No. 4 to 1 1/2; 3/8 and 1/2 2A from
// memory). The tables round at every step, which may move the last digit.
func TestUnifiedLimits(t *testing.T) {
	for _, c := range []struct {
		name         string
		major, pitch [2]float64 // 2A; zero: not looked up
		nut, minor   [2]float64 // 2B
	}{
		{"#4-40 UNC", [2]float64{0.1061, 0.1112}, [2]float64{}, [2]float64{0.0958, 0.0991}, [2]float64{0.0849, 0.0939}},
		{"#8-32 UNC", [2]float64{0.1571, 0.1631}, [2]float64{}, [2]float64{0.1437, 0.1475}, [2]float64{0.130, 0.139}},
		{"#8-36 UNF", [2]float64{0.1577, 0.1632}, [2]float64{}, [2]float64{}, [2]float64{0.134, 0.142}},
		{"#10-24 UNC", [2]float64{0.1818, 0.1890}, [2]float64{}, [2]float64{0.1629, 0.1672}, [2]float64{0.145, 0.156}},
		{"#12-32 UNEF", [2]float64{0.2091, 0.2151}, [2]float64{}, [2]float64{}, [2]float64{0.182, 0.190}},
		{"1/4-20 UNC", [2]float64{0.2408, 0.2489}, [2]float64{0.2127, 0.2164}, [2]float64{0.2175, 0.2224}, [2]float64{0.196, 0.207}},
		{"5/16-18 UNC", [2]float64{}, [2]float64{}, [2]float64{0.2764, 0.2817}, [2]float64{0.252, 0.265}},
		{"3/8-16 UNC", [2]float64{0.3643, 0.3737}, [2]float64{0.3287, 0.3331}, [2]float64{0.3344, 0.3401}, [2]float64{0.307, 0.321}},
		{"1/2-13 UNC", [2]float64{0.4876, 0.4985}, [2]float64{0.4435, 0.4485}, [2]float64{0.4500, 0.4565}, [2]float64{0.417, 0.434}},
		{"5/8-11 UNC", [2]float64{0.6113, 0.6234}, [2]float64{0.5589, 0.5644}, [2]float64{0.5660, 0.5732}, [2]float64{0.527, 0.546}},
		{"5/8-24 UNEF", [2]float64{0.6166, 0.6238}, [2]float64{}, [2]float64{}, [2]float64{0.580, 0.590}},
		{"3/4-10 UNC", [2]float64{}, [2]float64{}, [2]float64{0.6850, 0.6927}, [2]float64{0.642, 0.663}},
		{"1-8 UNC", [2]float64{}, [2]float64{}, [2]float64{0.9188, 0.9276}, [2]float64{0.865, 0.890}},
		{"1 1/2-6 UNC", [2]float64{}, [2]float64{}, [2]float64{1.3917, 1.4022}, [2]float64{1.320, 1.350}},
	} {
		th, err := Find(c.name)
		if err != nil {
			t.Fatal(err)
		}
		bolt, _ := th.Bolt("2A")
		nut, _ := th.Nut("2B")
		for _, v := range []struct {
			what      string
			got, want [2]float64
			by        float64
		}{
			{"major", bolt.Major, c.major, 0.00016}, {"pitch", bolt.Pitch, c.pitch, 0.00016},
			{"nut's pitch", nut.Pitch, c.nut, 0.00016}, {"nut's minor", nut.Minor, c.minor, 0.00061},
		} {
			for k := range 2 {
				if v.want[k] != 0 && math.Abs(v.got[k]/inch-v.want[k]) > v.by {
					t.Errorf("%s: %s diameter %.5f in, published %.4f", c.name, v.what, v.got[k]/inch, v.want[k])
				}
			}
		}
	}
}

// Core and effective diameters in inches as a trade chart of BS 84 has them
// (seen), and core diameters of cycle threads (seen).
func TestWhitworthDiameters(t *testing.T) {
	for name, want := range map[string][2]float64{
		"1/8 BSW": {0.1090, 0.0930}, "3/16 BSW": {0.1608, 0.1341}, "1/4 BSW": {0.2180, 0.1860}, "5/16 BSW": {0.2769, 0.2414},
		"3/8 BSW": {0.3350, 0.2950}, "7/16 BSW": {0.3918, 0.3460}, "1/2 BSW": {0.4466, 0.3933}, "9/16 BSW": {0.5091, 0.4558},
		"5/8 BSW": {0.5668, 0.5086}, "3/4 BSW": {0.6860, 0.6219}, "7/8 BSW": {0.8039, 0.7327}, "1 BSW": {0.9200, 0.8399},
		"1/4 BSF": {0, 0.201}, "5/16 BSF": {0, 0.254}, "3/8 BSF": {0, 0.311}, "1/2 BSF": {0, 0.420},
		"1/8-40 BSC": {0, 0.098}, "1/4-26 BSC": {0, 0.209}, "3/8-26 BSC": {0, 0.334}, "1/2-20 BSC": {0, 0.447}, "3/4-26 BSC": {0, 0.709},
	} {
		th, err := Find(name)
		if err != nil {
			t.Fatal(err)
		}
		b := th.Basic()
		if want[0] != 0 && math.Abs(b.Pitch/inch-want[0]) > 0.00011 || math.Abs(b.Minor/inch-want[1]) > 0.0006 {
			t.Errorf("%s: effective %.4f, core %.4f in, published %v", name, b.Pitch/inch, b.Minor/inch, want)
		}
	}
	// BS 84's table of holes: 1/4 BSW has a minor diameter of 0.1860 to 0.2030 (from memory).
	quarter, _ := Find("1/4 BSW")
	if hole, _ := quarter.Nut(""); math.Abs(hole.Minor[0]/inch-0.1860) > 1e-4 || math.Abs(hole.Minor[1]/inch-0.2030) > 1e-4 {
		t.Errorf("1/4 BSW: %v", hole)
	}
}

// UNF in mm as a tap maker prints it (seen): pitch diameter, minor of screw and hole.
func TestUnifiedDiameters(t *testing.T) {
	for name, want := range map[string][3]float64{
		"#0-80 UNF": {1.318, 1.135, 1.181}, "#4-48 UNF": {2.502, 2.195, 2.271}, "#8-36 UNF": {3.708, 3.299, 3.401}, "#10-32 UNF": {4.310, 3.853, 3.967},
		"1/4-28 UNF": {5.761, 5.237, 5.367}, "3/8-24 UNF": {8.837, 8.227, 8.379}, "1/2-20 UNF": {11.874, 11.143, 11.326}, "3/4-16 UNF": {18.019, 17.102, 17.330},
	} {
		th, err := Find(name)
		if err != nil {
			t.Fatal(err)
		}
		b := th.Basic()
		for k, got := range []float64{b.Pitch, b.MinorBolt, b.Minor} {
			if math.Abs(got-want[k]) > 0.0016 {
				t.Errorf("%s: %v, published %v", name, b, want)
			}
		}
	}
}
