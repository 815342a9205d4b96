package show

import (
	"fmt"
	"slices"
	"strings"
)

// bolts says for which bolts the holes may be.
func (t *text) bolts() string {
	var all []string
	for _, g := range t.r.Bolts {
		which := ""
		if len(t.r.Bolts) > 1 {
			which = fmt.Sprintf(" in %s", holesText(g.Holes))
		}
		var may []string
		if len(g.Clearance) > 0 {
			may = append(may, "through holes for "+strings.Join(g.Clearance[:min(2, len(g.Clearance))], " or "))
		}
		if len(g.Tapped) > 0 {
			may = append(may, "tapped "+strings.Join(g.Tapped[:min(2, len(g.Tapped))], " or "))
		}
		all = append(all, strings.Join(may, ", or ")+which)
	}
	if len(all) == 0 || len(all) > 4 {
		return ""
	}
	return "perhaps " + strings.Join(all, "; ") + ". A guess by the diameter: see what goes in (boltrose thread)."
}

// holesText names holes, those that follow one another from first to last.
func holesText(ids []int) string {
	ids = slices.Sorted(slices.Values(ids))
	var parts []string
	for i := 0; i < len(ids); {
		j := i
		for j+1 < len(ids) && ids[j+1] == ids[j]+1 {
			j++
		}
		if j > i+1 {
			parts = append(parts, fmt.Sprintf("%d–%d", ids[i], ids[j]))
			i = j + 1
			continue
		}
		parts = append(parts, fmt.Sprint(ids[i]))
		i++
	}
	if len(parts) == 1 && len(ids) == 1 {
		return "hole " + parts[0]
	}
	return "holes " + strings.Join(parts, ", ")
}
