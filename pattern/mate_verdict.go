package pattern

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Fits is the decision on whether a part goes on.
type Fits string

// The decision rule is ISO 14253-1's with its usual limit of 95 %: fit is
// proven where at least that share of what the uncertainties allow goes on,
// and refuted where at least that share does not; between the two lies the
// zone of uncertainty, where neither may be claimed. The probability's own
// uncertainty, that of finitely many draws, is taken off before (k = 2).
const (
	Proven   Fits = "proven"
	Refuted  Fits = "refuted"
	Unproven Fits = "unproven"
)

const (
	decisionLimit = 0.95
	wantedChance  = 0.99 // what suggestions aim at
)

// Mating says whether a part goes onto a face. Lengths are mm; a clearance is
// the hole's diameter less the bolt's.
type Mating struct {
	Schema string `json:"schema"`
	Fits   Fits   `json:"fits"`

	// Probability that every bolt passes at some turn and shift, from Draws
	// draws of both sides' errors (JCGM 101) that start from Seed, with its
	// standard uncertainty.
	Probability  float64 `json:"probability"`
	ProbabilityU float64 `json:"probability_u"`
	Draws        int     `json:"draws"`
	Seed         uint64  `json:"seed"`

	// ProvenFrom and RefutedTo are the probabilities that decide.
	ProvenFrom float64 `json:"proven_from"`
	RefutedTo  float64 `json:"refuted_to"`

	// Clearance is that of the tightest of the part's holes. ClearanceNeeded
	// is what it would have to be for every bolt to just pass, all holes being
	// made larger or smaller by as much, with both sides as measured;
	// ClearanceNeeded99 suffices in 99 % of the draws. Margin is what is left
	// of Clearance over ClearanceNeeded, negative where the part does not go
	// on as measured.
	Clearance         float64 `json:"clearance_mm"`
	ClearanceNeeded   float64 `json:"clearance_needed_mm"`
	ClearanceNeeded99 float64 `json:"clearance_needed_99_mm"`
	Margin            float64 `json:"margin_mm"`

	// TurnDeg is how far the part is turned counter-clockwise from where its
	// coordinates lie, when it lies best, and Holes how its holes then lie.
	TurnDeg float64   `json:"turn_deg"`
	Flipped bool      `json:"flipped"`
	Holes   []MateGap `json:"holes"`

	// OtherSide is the same part laid on with its other side up.
	OtherSide OtherSide `json:"other_side"`

	// AllOrders is false where the two patterns are so unlike, or their holes
	// so close, that not every way of putting holes over holes was looked at,
	// but only those in order round the middle.
	AllOrders bool `json:"all_orders"`

	Suggestions []Suggestion `json:"suggestions"`
	Warnings    []string     `json:"warnings"`
}

// MateGap is one bolt in its hole with the part lying best.
type MateGap struct {
	Face int     `json:"face"` // number of the face's hole in its list, from 1
	Part int     `json:"part"` // and of the part's
	Off  float64 `json:"off_mm"`
	Room float64 `json:"room_mm"` // by how much it may be off
}

// OtherSide says what turning the part over would do, with both sides as
// measured.
type OtherSide struct {
	ClearanceNeeded float64 `json:"clearance_needed_mm"`
	GoesOn          bool    `json:"goes_on"`
}

// WriteJSON writes the result.
func (m *Mating) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(m)
}

// MateOptions is what Mate needs to know beside the joint.
type MateOptions struct {
	Draws int // at least 100
	Seed  uint64

	// Sizes are drills to choose from when the holes are to be larger.
	Sizes []HoleSize

	// Made says that the part exists: it cannot be laid out anew.
	Made bool
}

// HoleSize is a diameter (mm) and what it is called.
type HoleSize struct {
	Name     string
	Diameter float64
}

// MaxDraws is the most draws that Mate makes.
const MaxDraws = 1_000_000

// Mate finds the smallest clearance that lets every bolt pass over all turns
// and shifts of the part and all ways of putting its holes over the face's,
// exactly, and then the probability that the part goes on.
func Mate(j Joint, opts MateOptions) (*Mating, error) {
	if err := j.check(); err != nil {
		return nil, err
	}
	if opts.Draws < 100 || opts.Draws > MaxDraws {
		return nil, fmt.Errorf("the draws are a number from 100 to %d, not %d", MaxDraws, opts.Draws)
	}
	e := j.newEnsemble(1, opts.Draws, opts.Seed)
	found, _, whole := j.match(e.reach())
	best := plainest(found)
	misfits := e.misfits(found)
	slices.Sort(misfits)
	chance := chanceOf(misfits, 0)

	m := &Mating{
		Schema: MateSchema, Fits: chance.decide(),
		Probability: chance.p, ProbabilityU: chance.u, Draws: opts.Draws, Seed: opts.Seed,
		ProvenFrom: decisionLimit, RefutedTo: 1 - decisionLimit,
		Clearance: j.tightest(best.to),
		Margin:    -2 * best.f,
		TurnDeg:   math.Mod(best.theta*180/math.Pi+720, 360),
		Flipped:   j.Flip,
		AllOrders: whole,
		Warnings:  []string{},
	}
	m.ClearanceNeeded = math.Max(m.Clearance+2*best.f, 0)
	m.ClearanceNeeded99 = math.Max(m.Clearance+2*sureOf(misfits), m.ClearanceNeeded)
	faceRoom, partRoom := j.rooms()
	face, part := j.laid()
	for i, k := range best.to {
		off := r2.Norm(r2.Sub(face[i], r2.Add(r2.Rotate(part[k], best.theta, r2.Vec{}), best.shift)))
		m.Holes = append(m.Holes, MateGap{i + 1, k + 1, off, faceRoom[i] + partRoom[k]})
	}
	other := j
	other.Flip = !j.Flip
	over, _, _ := other.match(0)
	m.OtherSide = OtherSide{math.Max(other.tightest(over[0].to)+2*over[0].f, 0), over[0].f <= 0}
	m.Suggestions = j.suggest(opts, found, misfits, chance)
	return m, nil
}

// plainest is the match that needs the least turn, of those that are as good
// as the best: an even part fits in as many ways as it has holes.
func plainest(found []match) match {
	best := found[0]
	for _, m := range found {
		if m.f <= found[0].f+slack && math.Abs(math.Remainder(m.theta, 2*math.Pi)) < math.Abs(math.Remainder(best.theta, 2*math.Pi)) {
			best = m
		}
	}
	return best
}

// tightest is the smallest clearance of the part's holes.
func (j Joint) tightest(to []int) float64 {
	c := math.Inf(1)
	for i, k := range to {
		c = math.Min(c, j.PartHoles[k]-j.Bolts[i])
	}
	return c
}

// chance is a probability that draws gave, with its standard uncertainty.
type chance struct{ p, u float64 }

// chanceOf is the share of draws with a misfit of at most limit. Its
// uncertainty is Agresti and Coull's (1998), which is not zero where all draws
// agree.
func chanceOf(misfits []float64, limit float64) chance {
	k, n := 0, float64(len(misfits))
	for _, f := range misfits {
		if f <= limit {
			k++
		}
	}
	p := (float64(k) + 2) / (n + 4)
	return chance{float64(k) / n, math.Sqrt(p * (1 - p) / (n + 4))}
}

func (c chance) decide() Fits {
	switch {
	case c.p-2*c.u >= decisionLimit:
		return Proven
	case c.p+2*c.u <= 1-decisionLimit:
		return Refuted
	}
	return Unproven
}

// reaches says whether the wanted probability is reached.
func (c chance) reaches() bool { return c.p >= wantedChance }

// sureOf is a misfit that the wanted share of sorted draws does not exceed,
// two standard uncertainties of that share on the safe side. It is infinite
// where too many are.
func sureOf(misfits []float64) float64 {
	n := float64(len(misfits))
	k := int(math.Ceil(n*wantedChance + 2*math.Sqrt(n*wantedChance*(1-wantedChance))))
	return misfits[min(k, len(misfits))-1]
}
