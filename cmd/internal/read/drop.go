package read

import (
	"fmt"
	"strconv"
	"strings"
)

// dropped returns the IDs of the rings that names stand for: hole numbers of
// the reading, "bore", "rim", or marks as --explain lists them ("m7").
func (r *Result) dropped(names []string) ([]int, error) {
	var ids []int
	for _, name := range names {
		id, err := r.ringNamed(strings.TrimSpace(name))
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

func (r *Result) ringNamed(name string) (id int, err error) {
	switch {
	case name == "bore" && r.Choice.Bore >= 0:
		return r.Rings[r.Choice.Bore].ID, nil
	case name == "rim" && r.Choice.Rim >= 0:
		return r.Rings[r.Choice.Rim].ID, nil
	case name == "bore" || name == "rim":
		return 0, fmt.Errorf("--drop %s: none was found", name)
	}
	if mark, ok := strings.CutPrefix(name, "m"); ok {
		if n, err := strconv.Atoi(mark); err == nil && n >= 1 && n <= len(r.Rings) {
			return n, nil
		}
		return 0, fmt.Errorf("--drop %s: there is no such mark; --explain lists them", name)
	}
	n, err := strconv.Atoi(name)
	if err != nil || n < 1 || n > len(r.Reading.Holes) {
		return 0, fmt.Errorf("--drop %s: the reading has holes 1 to %d; --overlay shows their numbers", name, len(r.Reading.Holes))
	}
	h := r.Reading.Holes[n-1]
	for _, i := range r.Choice.Holes {
		if p := r.Rings[i].CentrePx; p.X == h.XPx && p.Y == h.YPx {
			return r.Rings[i].ID, nil
		}
	}
	return 0, fmt.Errorf("--drop %s: the mark of that hole cannot be told; give it as --explain lists it, for example m7", name)
}
