package show

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"boltrose/cmd/internal/read"

	"gonum.org/v1/gonum/spatial/r2"
)

// Explain lists every circular mark that was seen, and why it was taken as
// what it is or left: those taken first. Marks are named m1, m2, …, which
// --drop understands.
func Explain(w io.Writer, res *read.Result) error {
	var b strings.Builder
	if len(res.Marks) == 0 {
		_, err := io.WriteString(w, "No circular mark was seen.\n")
		return err
	}
	var tab Table
	cells := map[string][]string{}
	heads := []string{"Mark", "x,y px", "Diameter mm", "Kind", "Contrast", "Rim seen", "Score", "Scatter mm", "Taken or left"}
	put := func(head, format string, args ...any) {
		cells[head] = append(cells[head], fmt.Sprintf(format, args...))
	}
	numbers := holeNumbers(res)
	for _, i := range takenFirst(res) {
		put("Mark", "%s", markName(i))
		for _, f := range markFacts(res, i) {
			put(f.Name, "%s", f.Text)
		}
		put("Taken or left", "%s", reason(res, i, numbers[i]))
	}
	for _, head := range heads {
		c := cells[head]
		if head != "Mark" && head != "Kind" && head != "Taken or left" {
			c = right(c)
		}
		tab.add(head, c)
	}
	wrap(&b, "", plural(len(res.Marks), "circular mark")+" seen. Contrast in grey levels of 255, positive where the inside is lighter; score: how far the edge stands out from the texture near it.")
	fmt.Fprintln(&b)
	tab.write(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

// markFacts are what was measured of a mark.
func markFacts(res *read.Result, i int) []Fact {
	m, ring := res.Marks[i], res.Rings[i]
	return []Fact{
		{"x,y px", fmt.Sprintf("%.0f,%.0f", m.Centre.X, m.Centre.Y)},
		{"Diameter mm", fmt.Sprintf("%.2f", ring.Diameter)},
		{"Kind", string(m.Kind)},
		{"Contrast", fmt.Sprintf("%.0f", m.Contrast)},
		{"Rim seen", fmt.Sprintf("%.0f %%", 100*m.RimSeen)},
		{"Score", fmt.Sprintf("%.1f", m.Score)},
		{"Scatter mm", fmt.Sprintf("%.3f", ring.Scatter)},
	}
}

func markName(i int) string { return fmt.Sprintf("m%d", i+1) }

func reason(res *read.Result, i, hole int) string {
	text := "left"
	if i < len(res.Choice.Reasons) {
		text = Plain(res.Choice.Reasons[i])
	}
	if hole > 0 {
		text = fmt.Sprintf("hole %d, %s", hole, strings.TrimPrefix(text, "hole: "))
	}
	return text
}

// holeNumbers gives for each mark the number of the hole that it became, 0 for
// none.
func holeNumbers(res *read.Result) []int {
	out := make([]int, len(res.Marks))
	if res.Reading == nil {
		return out
	}
	at := map[r2.Vec]int{}
	for _, h := range res.Reading.Holes {
		at[r2.Vec{X: h.XPx, Y: h.YPx}] = h.ID
	}
	for _, i := range res.Choice.Holes {
		out[i] = at[res.Rings[i].CentrePx]
	}
	return out
}

// takenFirst lists the marks: holes by number, their outer rings, bore, rim,
// then what was left, the strongest first.
func takenFirst(res *read.Result) []int {
	numbers := holeNumbers(res)
	order := slices.Clone(res.Choice.Holes)
	slices.SortFunc(order, func(a, b int) int { return numbers[a] - numbers[b] })
	for _, h := range slices.Clone(order) {
		if outer, ok := res.Choice.Outer[h]; ok {
			order = append(order, outer)
		}
	}
	if len(res.Choice.Reasons) > 0 { // a choice was made
		for _, i := range []int{res.Choice.Bore, res.Choice.Rim} {
			if i >= 0 {
				order = append(order, i)
			}
		}
	}
	taken := make([]bool, len(res.Marks))
	for _, i := range order {
		taken[i] = true
	}
	var left []int
	for i := range res.Marks {
		if !taken[i] {
			left = append(left, i)
		}
	}
	slices.SortStableFunc(left, func(a, b int) int { return cmp.Compare(res.Marks[b].Score, res.Marks[a].Score) })
	return append(order, left...)
}
