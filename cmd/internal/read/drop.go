package read

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
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

// ringAt is the ID of the ring whose mark lies where someone points at.
func (r *Result) ringAt(at Added) (id int, ok bool) {
	nearest := math.Inf(1)
	for i, m := range r.Marks {
		off := r2.Norm(r2.Sub(m.Centre, at.Centre)) + math.Abs(m.Radius-at.Diameter/2)
		if off < 0.1*m.Radius+1 && off < nearest {
			id, nearest = r.Rings[i].ID, off
		}
	}
	return id, id > 0
}
