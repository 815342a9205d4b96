package show

import (
	"fmt"
	"math"
	"strings"

	"boltrose/pattern"
)

// candidates says in a few lines what the maker may have drawn: the likeliest
// standard, metric and inch size side by side, and the round angles.
func (t *text) candidates() string {
	c := t.r.Candidates
	if c == nil || t.r.PitchCircle == nil || len(c.PCD) == 0 {
		return ""
	}
	var sizes []string
	shown := map[string]bool{}
	for _, q := range c.PCD {
		if !shown[q.Kind] {
			sizes = append(sizes, t.candidate(q))
			shown[q.Kind] = true
		}
	}
	line := "perhaps PCD " + strings.Join(sizes, ", or ")
	within := "within the ±"
	if c.PCD[0].Beyond {
		within = "only within what drilling may have moved it, none within the ±"
	}
	if rest := c.PCDCount - len(sizes); rest > 0 {
		verb := "lie"
		if rest == 1 {
			verb = "lies"
		}
		line += fmt.Sprintf("; %s %s %s", plural(rest, "other round value"), verb, within)
	}
	var angles []string
	for _, a := range c.Angles {
		angles = append(angles, fmt.Sprintf("hole %d at %g°", a.Hole, a.Deg))
	}
	if len(angles) > 0 && len(angles) <= 12 {
		line += ". Round angles: " + strings.Join(angles, ", ")
	}
	return line + ". These are guesses: the measured values stand."
}

func (t *text) candidate(q pattern.PCDCandidate) string {
	away := fmt.Sprintf("%s %s %s than measured", decimal(math.Abs(q.Off)*t.unit.perMM, t.unit.decimals), t.unit.Name, map[bool]string{true: "more", false: "less"}[q.Off > 0])
	size := q.Text
	if q.Kind != "mm" {
		return fmt.Sprintf("%s (%.2f mm, %s)", size, q.MM, away)
	}
	return fmt.Sprintf("%s (%s)", size, away)
}
