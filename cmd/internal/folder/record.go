package folder

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"unicode/utf8"

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

// withNames is the record with its files' names changed.
func (r *Record) withNames(change func(string) string) *Record {
	c := *r
	for _, s := range []*string{&c.Name, &c.Part, &c.Reading, &c.Overlay} {
		*s = change(*s)
	}
	return &c
}

// textOfName makes a file's name fit for JSON. Bytes that are no text follow a
// zero byte, which no name holds, as two hexadecimal digits.
func textOfName(s string) string {
	var b strings.Builder
	for s != "" {
		r, n := utf8.DecodeRuneInString(s)
		if r == utf8.RuneError && n == 1 {
			fmt.Fprintf(&b, "\x00%02x", s[0])
		} else {
			b.WriteString(s[:n])
		}
		s = s[n:]
	}
	return b.String()
}

func nameOfText(s string) string {
	parts := strings.Split(s, "\x00")
	for i, p := range parts[1:] {
		if len(p) >= 2 {
			if b, err := hex.DecodeString(p[:2]); err == nil {
				p = string(b) + p[2:]
			}
		}
		parts[i+1] = p
	}
	return strings.Join(parts, "")
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

// Why is the reason, where the name is told beside it.
func (r *Record) Why() string { return strings.TrimPrefix(r.Reason, oneLine(r.Name)+": ") }

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
