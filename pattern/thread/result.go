package thread

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
)

// Schema names the form of a result's JSON.
const Schema = "boltrose/thread/1"

// Result is what may be on a bolt or in a hole, as JSON. Keys are never
// renamed; more may be added. Lengths are mm.
type Result struct {
	Schema     string            `json:"schema"`
	Source     *ResultSource     `json:"source"` // null: measured by hand
	Measured   ResultMeasured    `json:"measured"`
	Candidates []ResultCandidate `json:"candidates"`
	Ambiguous  [][]string        `json:"ambiguous"` // groups of designations that cannot be told apart
	Out        []ResultOut       `json:"out"`       // those that come nearest of the threads that are out
	Decides    []ResultDecides   `json:"decides"`
	Warnings   []string          `json:"warnings"`
}

// ResultSource is the picture that was measured.
type ResultSource struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Scale  string `json:"scale"` // where the scale came from, in words
	Turns  int    `json:"turns"` // pitches that were measured over
}

// ResultMeasured is what was measured; null: not. U95 are expanded
// uncertainties, k = 2.
type ResultMeasured struct {
	Pitch    *float64 `json:"pitch_mm"`
	PitchU95 *float64 `json:"pitch_u95_mm"`
	Major    *float64 `json:"major_mm"`
	MajorU95 *float64 `json:"major_u95_mm"`
	Minor    *float64 `json:"minor_mm"`
	MinorU95 *float64 `json:"minor_u95_mm"`
	Flank    *float64 `json:"flank_deg"`
	FlankU95 *float64 `json:"flank_u95_deg"`
}

// ResultCandidate is a thread that it may be, with all that is made for it.
type ResultCandidate struct {
	Designation string  `json:"designation"`
	Series      string  `json:"series"`
	SeriesName  string  `json:"series_name"`
	Score       float64 `json:"score"`
	Size        string  `json:"size"` // as the tables of clearance holes name it
	Standard    string  `json:"standard"`
	How         string  `json:"how"` // seen, formula or memory

	Misfit []ResultMisfit `json:"misfit"`

	Major     float64  `json:"major_mm"`
	Pitch     float64  `json:"pitch_mm"`
	TPI       *float64 `json:"tpi"` // null where the standard gives a pitch in mm
	Flank     float64  `json:"flank_deg"`
	PitchDia  float64  `json:"pitch_diameter_mm"`
	Minor     float64  `json:"minor_mm"`      // of the hole
	MinorBolt float64  `json:"minor_bolt_mm"` // of the bolt

	Bolt ResultLimits `json:"bolt"`
	Nut  ResultLimits `json:"nut"`

	TapDrills   []ResultDrill    `json:"tap_drills"`
	Clearance   *ResultClearance `json:"clearance"` // null: no table has it
	AcrossFlats []ResultFlats    `json:"across_flats"`
	Chase       string           `json:"chase"`
}

// ResultMisfit is how far a measure is off: mm, of the flank degrees.
type ResultMisfit struct {
	Measure string  `json:"measure"`
	Off     float64 `json:"off"`
	Sigmas  float64 `json:"sigmas"`
}

// ResultLimits are a tolerance class; a null diameter has no limits.
type ResultLimits struct {
	Class    string      `json:"class"`
	Standard string      `json:"standard"`
	Major    *[2]float64 `json:"major_mm"`
	Pitch    *[2]float64 `json:"pitch_diameter_mm"`
	Minor    *[2]float64 `json:"minor_mm"`
}

// ResultDrill is a tap drill.
type ResultDrill struct {
	Name     string  `json:"name"`
	Diameter float64 `json:"diameter_mm"`
	Percent  float64 `json:"percent_of_thread"`
}

// ResultClearance are the clearance holes of the size.
type ResultClearance struct {
	Close  float64 `json:"close_mm"`
	Normal float64 `json:"normal_mm"`
	Loose  float64 `json:"loose_mm"`
	Source string  `json:"source"`
}

// ResultFlats is a width across flats.
type ResultFlats struct {
	MM     float64 `json:"mm"`
	On     string  `json:"on"`
	Source string  `json:"source"`
}

// ResultOut is a thread that is out, and why.
type ResultOut struct {
	Designation string `json:"designation"`
	Why         string `json:"why"`
}

// ResultDecides is what decides between two threads.
type ResultDecides struct {
	Between [2]string `json:"between"`
	By      string    `json:"by"`
}

// nearest is how many of the threads that are out a result names.
const nearest = 12

// NewResult puts together what is told of an identification. engagement is the
// percentage of thread for the tap drill, 0 for the usual one.
func NewResult(id *Identified, source *ResultSource, engagement float64, warnings []string) *Result {
	m := id.Measured
	r := &Result{
		Schema: Schema, Source: source,
		Candidates: []ResultCandidate{}, Ambiguous: [][]string{}, Out: []ResultOut{}, Decides: []ResultDecides{},
		Warnings: append([]string{}, warnings...),
	}
	for _, v := range []struct {
		v     Value
		to, u **float64
	}{
		{m.Pitch, &r.Measured.Pitch, &r.Measured.PitchU95}, {m.Major, &r.Measured.Major, &r.Measured.MajorU95},
		{m.Minor, &r.Measured.Minor, &r.Measured.MinorU95}, {m.FlankDeg, &r.Measured.Flank, &r.Measured.FlankU95},
	} {
		if v.v.given() {
			*v.to, *v.u = &v.v.V, &v.v.U95
		}
	}
	for _, c := range id.Candidates {
		r.Candidates = append(r.Candidates, newCandidate(c, engagement))
	}
	for _, c := range id.Others[:min(nearest, len(id.Others))] {
		r.Out = append(r.Out, ResultOut{c.Designation(), c.Out})
	}
	for _, g := range id.Ambiguous {
		var names []string
		for _, t := range g {
			names = append(names, t.Designation())
		}
		r.Ambiguous = append(r.Ambiguous, names)
	}
	for _, pair := range id.pairs() {
		r.Decides = append(r.Decides, ResultDecides{[2]string{pair[0].Designation(), pair[1].Designation()}, Tell(pair[0], pair[1])})
	}
	return r
}

// pairs are the threads that are easily taken for one another: the likeliest
// against those of its diameter that cannot be told from it, and against the
// nearest of those that are out whose pitch and diameter nearly fit.
func (id *Identified) pairs() [][2]Thread {
	if len(id.Candidates) == 0 {
		return nil
	}
	first := id.Candidates[0].Thread
	var out [][2]Thread
	alike := func(t Thread) bool { // what was said of another of the same pitch and diameter
		for _, p := range out {
			if near(p[1].Pitch, t.Pitch) && near(p[1].Major, t.Major) && p[1].Form() == t.Form() {
				return true
			}
		}
		return t == first
	}
	nearly := func(t Thread, pitch float64) bool {
		return Drift(first, t) < pitch*first.Pitch && math.Abs(first.Major-t.Major) < 0.08*first.Major
	}
	for _, g := range id.Ambiguous {
		for _, t := range g {
			if !alike(t) && nearly(t, 1) && len(out) < 2 {
				out = append(out, [2]Thread{first, t})
			}
		}
	}
	for _, c := range id.Others {
		if !alike(c.Thread) && nearly(c.Thread, 0.04) && len(out) < 3 {
			out = append(out, [2]Thread{first, c.Thread})
		}
	}
	return out
}

func newCandidate(c Candidate, engagement float64) ResultCandidate {
	b := c.Basic()
	out := ResultCandidate{
		Designation: c.Designation(), Series: string(c.Series), SeriesName: c.Series.Name(), Score: c.Score,
		Size: c.Size, Standard: c.Source, How: c.How,
		Misfit: []ResultMisfit{}, AcrossFlats: []ResultFlats{}, TapDrills: []ResultDrill{},
		Major: c.Major, Pitch: c.Pitch, Flank: c.Form().AngleDeg,
		PitchDia: b.Pitch, Minor: b.Minor, MinorBolt: b.MinorBolt,
		Chase: c.Chase(),
	}
	if c.TPI > 0 {
		out.TPI = &c.TPI
	}
	for _, m := range c.Misfits {
		out.Misfit = append(out.Misfit, ResultMisfit(m))
	}
	bolt, _ := c.Bolt("")
	nut, _ := c.Nut("")
	out.Bolt, out.Nut = newLimits(bolt), newLimits(nut)
	if engagement == 0 {
		engagement = c.UsualEngagement()
	}
	for _, d := range c.TapDrills(engagement) {
		out.TapDrills = append(out.TapDrills, ResultDrill{d.Name, d.Diameter, c.Engagement(d.Diameter)})
	}
	if holes, err := ClearanceOf(c.Size); err == nil {
		out.Clearance = &ResultClearance{holes.Holes[Close], holes.Holes[Normal], holes.Holes[Loose], holes.Source}
	}
	for _, f := range c.AcrossFlats() {
		out.AcrossFlats = append(out.AcrossFlats, ResultFlats(f))
	}
	return out
}

func newLimits(l Limits) ResultLimits {
	out := ResultLimits{Class: l.Class, Standard: l.Standard}
	for _, d := range []struct {
		l  [2]float64
		to **[2]float64
	}{{l.Major, &out.Major}, {l.Pitch, &out.Pitch}, {l.Minor, &out.Minor}} {
		if d.l != ([2]float64{}) {
			*d.to = &d.l
		}
	}
	return out
}

// Chase says which tap and die clean the thread up.
func (t Thread) Chase() string {
	s := fmt.Sprintf("tap or die %s, %g°", t.Designation(), t.Form().AngleDeg)
	for _, o := range threads() {
		if near(o.Pitch, t.Pitch) && near(o.Major, t.Major) && o.Form().AngleDeg != t.Form().AngleDeg {
			return s + fmt.Sprintf("; not %s, whose flanks are at %g°", o.Designation(), o.Form().AngleDeg)
		}
	}
	return s
}

// WriteJSON writes the result.
func (r *Result) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(r)
}

// ReadResult reads what WriteJSON wrote. It refuses in one line what is no
// result, or holds no candidate.
func ReadResult(in io.Reader) (*Result, error) {
	const most = 16 << 20
	data, err := io.ReadAll(io.LimitReader(in, most+1))
	if err != nil {
		return nil, fmt.Errorf("the thread's result cannot be read: %w", err)
	}
	var r Result
	if len(data) > most || json.Unmarshal(data, &r) != nil {
		return nil, errors.New("this is no result of boltrose thread --json")
	}
	if r.Schema != Schema {
		return nil, fmt.Errorf("this is no result of boltrose thread --json: its key schema is not %q", Schema)
	}
	if len(r.Candidates) == 0 {
		return nil, errors.New("this thread's result holds no candidate")
	}
	for _, c := range r.Candidates {
		if !(c.Major > 0 && c.Major < 1e4) || c.Designation == "" {
			return nil, errors.New("this thread's result makes no sense: a candidate has no diameter or no name")
		}
	}
	return &r, nil
}

// One returns the candidate to drill for: the likeliest. It fails where those
// that cannot be told from it are of other diameters.
func (r *Result) One() (ResultCandidate, error) {
	first := r.Candidates[0]
	for _, group := range r.Ambiguous {
		for _, c := range r.Candidates[1:] {
			for _, name := range group {
				if name == c.Designation && math.Abs(c.Major-first.Major) > 0.01*first.Major {
					return first, fmt.Errorf("the thread may be %s or %s, which are not of one diameter; measure more, or name one", first.Designation, c.Designation)
				}
			}
		}
	}
	return first, nil
}
