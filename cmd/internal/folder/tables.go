package folder

import (
	"bufio"
	_ "embed"
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
)

//go:embed summary.html
var summaryPage string

// writeTables writes the tables of all pictures and of all parts.
func writeTables(out string, j *journal) error {
	records := j.records()
	all, err := parts(out, records, j.head.Whole.Bolt)
	if err != nil {
		return err
	}
	t := tables{records, all, j.head.Whole.unit(), j}
	for name, fill := range map[string]func(io.Writer) error{summaryCSV: t.pictures, partsCSV: t.parts, summaryHTML: t.page} {
		if err := atomicfile.Write(filepath.Join(out, name), fill); err != nil {
			return err
		}
	}
	return nil
}

type tables struct {
	records []*Record
	all     []*part
	unit    show.Unit
	journal *journal
}

// length is a number for a table, in the unit; "" where there is none.
func (t tables) length(mm *float64) string {
	if mm == nil {
		return ""
	}
	return t.unit.Number(*mm)
}

func plainNumber(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', decimals, 64)
}

func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// pictures has a line for each picture.
func (t tables) pictures(w io.Writer) error {
	c := csv.NewWriter(w)
	u := "_" + t.unit.Name
	_ = c.Write([]string{"picture", "page", "part", "result", "reason", "holes", "spacing", "pcd" + u, "pcd_u95" + u,
		"worst_miss" + u, "worst_miss_u95" + u, "worst_hole", "turns", "kind", "scale", "warnings", "verdict", "sha256", "reading", "overlay"})
	for _, r := range t.records {
		page := ""
		if r.Pages > 1 {
			page = strconv.Itoa(r.Page)
		}
		_ = c.Write([]string{r.Name, page, r.part(), r.Result, r.Reason, count(r.Holes), r.Spacing, t.length(r.PCD), t.length(r.PCDU95),
			t.length(r.WorstMiss), t.length(r.WorstMissU95), count(r.WorstHole), count(r.Turns), r.Kind, r.Scale,
			strings.Join(r.Warnings, "; "), r.Verdict, r.SHA256, r.Reading, r.Overlay})
	}
	c.Flush()
	return c.Error()
}

// parts has a line for each part.
func (t tables) parts(w io.Writer) error {
	c := csv.NewWriter(w)
	u := "_" + t.unit.Name
	_ = c.Write([]string{"part", "pictures", "holes", "spacing", "pcd" + u, "pcd_u95" + u, "repeats" + u, "repeats_deg", "agree_p", "doubt", "pattern", "perhaps", "verdict", "reading"})
	for _, p := range t.all {
		_ = c.Write([]string{p.Name, strconv.Itoa(len(p.Pictures)), count(p.Holes), p.Spacing, t.length(p.PCD), t.length(p.PCDU95),
			t.length(p.Repeat), plainNumber(p.RepeatDeg, 4), plainNumber(p.P, 4), p.Doubt, count(p.Pattern), numbers(p.Perhaps), p.Verdict, p.Reading})
	}
	c.Flush()
	return c.Error()
}

func numbers(list []int) string {
	var out []string
	for _, n := range list {
		out = append(out, strconv.Itoa(n))
	}
	return strings.Join(out, " ")
}

// card is a picture on the page.
type card struct {
	*Record
	Title, Class, PCD string
	Picture           template.URL
	Link, ReadingLink string
}

// line is a part on the page.
type line struct {
	*part
	PCD, Repeats, Pattern, With, Link string
}

// page is the page that a person looks through: what went wrong, the parts, and
// the pictures side by side.
func (t tables) page(w io.Writer) error {
	tmpl := template.Must(template.New("summary").Parse(summaryPage))
	b := bufio.NewWriter(w)
	head := struct {
		Count, Readings, Without, Failed int
		Trouble                          []*Record
		Parts                            []line
		Patterns                         int
		Several                          bool // a part has several pictures
		Safety                           string
	}{Count: len(t.records), Safety: show.Safety}
	for _, r := range t.records {
		switch r.Result {
		case gotReading:
			head.Readings++
			continue
		case noPattern:
			head.Without++
		default:
			head.Failed++
		}
		head.Trouble = append(head.Trouble, r)
	}
	shared := map[int]int{}
	for _, p := range t.all {
		shared[p.Pattern]++
		head.Patterns = max(head.Patterns, p.Pattern)
		head.Several = head.Several || len(p.Pictures) > 1
	}
	for _, p := range t.all {
		l := line{part: p, PCD: t.unit.PlusMinus(p.PCD, p.PCDU95), Link: link(p.Reading)}
		if p.Repeat != nil {
			l.Repeats = t.unit.Number(*p.Repeat) + " " + t.unit.Name
		}
		if p.Pattern > 0 {
			l.Pattern = strconv.Itoa(p.Pattern)
			if n := shared[p.Pattern] - 1; n > 0 {
				l.With = fmt.Sprintf("shared with %d other", n)
				if n > 1 {
					l.With += "s"
				}
			}
			if len(p.Perhaps) > 0 {
				l.With = strings.TrimPrefix(l.With+"; perhaps "+numbers(p.Perhaps), "; ")
			}
		}
		head.Parts = append(head.Parts, l)
	}
	if err := tmpl.ExecuteTemplate(b, "head", head); err != nil {
		return err
	}
	for _, r := range t.records {
		full, err := t.journal.full(r)
		if err != nil {
			return fmt.Errorf("%s: cannot be read: %w", t.journal.path, plain(err))
		}
		c := card{Record: r, Title: r.title(), Class: strings.ReplaceAll(r.Result, " ", "-"), PCD: t.unit.PlusMinus(r.PCD, r.PCDU95), Link: link(r.Overlay), ReadingLink: link(r.Reading)}
		if r.Result == gotReading && r.Spacing != "even" {
			c.Class += " " + r.Spacing
		}
		if len(full.Thumbnail) > 0 {
			c.Picture = template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(full.Thumbnail))
		}
		if err := tmpl.ExecuteTemplate(b, "card", c); err != nil {
			return err
		}
	}
	if err := tmpl.ExecuteTemplate(b, "tail", head); err != nil {
		return err
	}
	return b.Flush()
}

// link is a file's name as a page names it.
func link(name string) string {
	if name == "" {
		return ""
	}
	return "./" + (&url.URL{Path: name}).EscapedPath()
}
