package folder

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"boltrose/pattern"
)

// Results of a picture.
const (
	gotReading = "reading"
	noPattern  = "no pattern"
	failed     = "failed"
)

// Record is what a run knows of one picture, a page of a file: a line of
// summary.jsonl. Lengths are mm.
type Record struct {
	Key  string `json:"key"`  // stands for the file's name, which may be no text
	Name string `json:"file"` // from the folder of the pictures
	Page int    `json:"page"`
	// Pages is how many the file has; 0 where it cannot be told.
	Pages int    `json:"pages"`
	Part  string `json:"part"` // "" where the picture is all there is of its part

	// SHA256 of the file and what stands for how it was read tell whether it
	// must be read again.
	SHA256   string `json:"sha256"`
	Settings string `json:"settings"`

	Result string `json:"result"`
	Reason string `json:"reason"`

	// The results, from the folder of the results, and their digests.
	Reading       string `json:"reading"`
	ReadingSHA256 string `json:"reading_sha256"`
	Overlay       string `json:"overlay"`
	OverlaySHA256 string `json:"overlay_sha256"`

	Kind         string   `json:"kind"`
	Scale        string   `json:"scale"`
	Holes        int      `json:"holes"`
	Spacing      string   `json:"spacing"`
	Verdict      string   `json:"verdict"`
	PCD          *float64 `json:"pcd_mm"`
	PCDU95       *float64 `json:"pcd_u95_mm"`
	WorstMiss    *float64 `json:"worst_miss_mm"`
	WorstMissU95 *float64 `json:"worst_miss_u95_mm"`
	WorstHole    int      `json:"worst_hole"`
	Turns        int      `json:"turns"`
	Warnings     []string `json:"warnings"`

	Thumbnail []byte `json:"thumbnail"` // JPEG; only in the file, not in memory

	full bool // it could not be written for want of room
	at   span // where the journal has it
}

func newRecord(it Item) *Record {
	return &Record{Key: keyOf(it.Name), Name: it.Name, Part: it.Part, Warnings: []string{}}
}

func keyOf(name string) string { return digest([]byte(name))[:32] }

func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// take notes what a reading says.
func (r *Record) take(got *pattern.Reading) {
	r.Result = gotReading
	r.Kind, r.Scale, r.Holes = got.Source.Kind, got.Scale.Method, len(got.Holes)
	if c := got.PitchCircle; c != nil {
		r.PCD, r.PCDU95 = &c.Diameter, &c.DiameterU95
	}
	if v := got.Verdict; v != nil {
		r.Spacing, r.Verdict, r.WorstMiss, r.WorstMissU95, r.WorstHole, r.Turns = string(v.Spacing), v.Text, v.WorstMiss, v.WorstMissU95, v.WorstHole, v.Turns
	}
	r.Warnings = append(r.Warnings, got.Warnings...)
}

// title is the picture's name, with its page where the file has several.
func (r *Record) title() string {
	if r.Pages > 1 {
		return fmt.Sprintf("%s, page %d", r.Name, r.Page)
	}
	return r.Name
}

// part is the name of the part that the picture is of.
func (r *Record) part() string {
	switch {
	case r.Part != "" && r.Pages > 1:
		return fmt.Sprintf("%s, page %d", r.Part, r.Page)
	case r.Part != "":
		return r.Part
	}
	return r.title()
}
