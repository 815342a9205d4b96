package desk

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"boltrose/cmd/internal/show"
	"boltrose/pattern/draw"
)

// view is what the page shows of a session: words, digits and shapes, all
// ready to be put in place.
type view struct {
	ID, Name string
	Picture  bool // there is one
	Unit     string

	Page, Pages   int // of the file
	Width, Height int // px
	Tile, Levels  int
	AddDiameter   float64 // px, of a hole such as those found
	Scene         *show.Scene

	Refusal, Try string // why there is no reading
	Unscaled     bool
	Notes        []string

	Sheet       *show.Sheet
	Holes, Gaps table
	Pairs       table
	PairEnds    [][2]int
	Causes      *show.Causes
	Bars        []float64 // lengths of the causes' bars, shares of the longest
	Budget      string
	Drawing     string // SVG
	HoleCount   int
	PCD         string

	Flags       map[string]string
	Known       []string
	Corrections []string
	Undo, Redo  bool
	Command     string
	Safety      string
}

// table is a table row by row.
type table struct {
	Heads []string
	Rows  [][]string
}

func tableOf(t show.Table) table { return table{t.Heads, t.Rows()} }

// mostCauses are the bars of the budget; smaller causes are added up.
const mostCauses = 7

// view lays out what is shown. The session is locked.
func (t *session) view() *view {
	e, o := t.history[t.at], t.shown
	v := &view{
		ID: t.id, Name: t.name, Unit: t.unit.Name, Refusal: o.refusal, Try: o.try, Unscaled: o.unscaled, Notes: o.notes,
		Flags: e.Flags, Undo: t.at > 0, Redo: t.at+1 < len(t.history), Safety: show.Safety,
	}
	if o.res != nil {
		size := o.res.Picture.Grey.Rect.Size()
		v.Picture, v.Width, v.Height = true, size.X, size.Y
		v.Page, v.Pages = o.res.Picture.Page, o.res.Picture.Pages
		v.Tile, v.Levels = tileSize, levelsOf(size)
		v.AddDiameter = 2 * show.UsualRadius(o.res)
		v.Scene = show.NewScene(o.res, o.reading == nil)
		v.Command = t.command(e, o)
		for _, k := range e.Known {
			v.Known = append(v.Known, fmt.Sprintf("%d–%d = %s", o.hole(k.From), o.hole(k.To), k.Value))
		}
		for _, d := range e.Drop {
			v.Corrections = append(v.Corrections, fmt.Sprintf("dropped: the circle at %.0f,%.0f px", d.Centre.X, d.Centre.Y))
		}
		for _, a := range e.Add {
			v.Corrections = append(v.Corrections, fmt.Sprintf("added: a hole at %.0f,%.0f px", a.Centre.X, a.Centre.Y))
		}
	}
	if o.reading == nil {
		return v
	}
	r := o.reading
	v.Sheet = show.NewSheet(r, t.unit)
	v.Holes, v.Gaps = tableOf(v.Sheet.Holes), tableOf(v.Sheet.Gaps)
	v.HoleCount = len(r.Holes)
	if r.PitchCircle != nil {
		v.PCD = fmt.Sprintf("%.4g", r.PitchCircle.Diameter)
	}
	if len(r.Chords) <= mostPairs {
		v.Pairs = tableOf(show.PairTable(r, t.unit))
		for _, c := range r.Chords {
			v.PairEnds = append(v.PairEnds, [2]int{c.From, c.To})
		}
	}
	if causes, ok := show.NewCauses(r, t.unit); ok {
		if len(causes.Terms) > mostCauses+1 {
			causes = causes.Shortened(mostCauses, t.unit)
		}
		longest := 0.0
		for _, c := range causes.Terms {
			longest = math.Max(longest, c.U95)
		}
		for _, c := range causes.Terms {
			v.Bars = append(v.Bars, c.U95/longest)
		}
		v.Causes = &causes
	}
	var budget bytes.Buffer
	if show.Budget(&budget, r, t.unit) == nil {
		v.Budget = budget.String()
	}
	v.Drawing = drawing(t)
	return v
}

// mostPairs of holes are listed on the page.
const mostPairs = 500

// drawing is the reading as SVG, holes as measured; "" where it cannot be drawn.
func drawing(t *session) string {
	unit := draw.MM
	if t.unit == show.Inch {
		unit = draw.Inch
	}
	d, err := draw.New(t.shown.reading, draw.Options{Unit: unit})
	if err != nil {
		return ""
	}
	d.Notes = d.Notes[:min(1, len(d.Notes))]
	var svg strings.Builder
	if d.WriteSVG(&svg) != nil {
		return ""
	}
	return svg.String()
}
