package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"boltrose/cmd/internal/read"
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
	var tab table
	cells := map[string][]string{}
	heads := []string{"Mark", "x,y px", "Diameter mm", "Kind", "Contrast", "Rim seen", "Score", "Scatter mm", "Taken or left"}
	put := func(head, format string, args ...any) {
		cells[head] = append(cells[head], fmt.Sprintf(format, args...))
	}
	for _, i := range takenFirst(res) {
		m, ring := res.Marks[i], res.Rings[i]
		put("Mark", "%s", markName(i))
		put("x,y px", "%.0f,%.0f", m.Centre.X, m.Centre.Y)
		put("Diameter mm", "%.2f", ring.Diameter)
		put("Kind", "%s", m.Kind)
		put("Contrast", "%.0f", m.Contrast)
		put("Rim seen", "%.0f %%", 100*m.RimSeen)
		put("Score", "%.1f", m.Score)
		put("Scatter mm", "%.3f", ring.Scatter)
		put("Taken or left", "%s", reason(res, i))
	}
	for _, head := range heads {
		c := cells[head]
		if head != "Mark" && head != "Kind" && head != "Taken or left" {
			c = right(c)
		}
		tab.add(head, c)
	}
	fmt.Fprintf(&b, "%s seen. Contrast in grey levels of 255, positive where the inside is\nlighter. Score: how far the edge stands out from the texture near it.\n\n",
		plural(len(res.Marks), "circular mark"))
	tab.write(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func markName(i int) string { return fmt.Sprintf("m%d", i+1) }

func reason(res *read.Result, i int) string {
	text := "left"
	if i < len(res.Choice.Reasons) {
		text = Plain(res.Choice.Reasons[i])
	}
	if n := holeOf(res, i); n > 0 {
		text = fmt.Sprintf("hole %d, %s", n, strings.TrimPrefix(text, "hole: "))
	}
	return text
}

// holeOf is the number of the hole that mark i became, 0 if none.
func holeOf(res *read.Result, i int) int {
	if res.Reading == nil || !slices.Contains(res.Choice.Holes, i) {
		return 0
	}
	for _, h := range res.Reading.Holes {
		if p := res.Rings[i].CentrePx; p.X == h.XPx && p.Y == h.YPx {
			return h.ID
		}
	}
	return 0
}

// takenFirst lists the marks: holes by number, their outer rings, bore, rim,
// then what was left, the strongest first.
func takenFirst(res *read.Result) []int {
	order := slices.Clone(res.Choice.Holes)
	slices.SortFunc(order, func(a, b int) int { return holeOf(res, a) - holeOf(res, b) })
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
	slices.SortStableFunc(left, func(a, b int) int {
		switch sa, sb := res.Marks[a].Score, res.Marks[b].Score; {
		case sa > sb:
			return -1
		case sa < sb:
			return 1
		}
		return 0
	})
	return append(order, left...)
}
