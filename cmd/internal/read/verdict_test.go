package read_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"
)

// Rendered rubbings at 300 dpi of even faces and of the same faces with one
// hole a degree off, with every effect that leaves the pattern as it is:
// at most 5 % false alarms, at least 95 % of the keys seen on pitch circles
// from 60 mm on. More are read with
//
//	BOLTROSE_VERDICTS=200 go test -run VerdictsOfRubbings -v ./cmd/internal/read
func TestVerdictsOfRubbings(t *testing.T) {
	count := fromEnv(t, "BOLTROSE_VERDICTS", 5)
	even := rubbingsForVerdicts(count)
	keyed := rubbingsForVerdicts(count)
	for i := range keyed {
		r := &keyed[i]
		holes := slices.Clone(r.Face.Holes)
		k := i % len(holes)
		sin, cos := math.Sincos(math.Pi / 180)
		if i%2 == 1 {
			sin = -sin
		}
		h := holes[k]
		holes[k].X, holes[k].Y = cos*h.X-sin*h.Y, sin*h.X+cos*h.Y
		r.Face.Holes = holes
	}
	falseAlarms, _ := unevenOf(t, "even", even)
	seen, read := unevenOf(t, "1° key", keyed)
	if falseAlarms > max(1, count/20) {
		t.Errorf("%d of %d even faces are called uneven", falseAlarms, count)
	}
	if seen < read-max(1, read/20) {
		t.Errorf("%d of %d keys are seen", seen, read)
	}
}

// rubbingsForVerdicts are rubbings of the population with even holes on 60 mm
// and more, at 300 dpi.
func rubbingsForVerdicts(count int) []samples.Rubbing {
	skip := []string{"keyed", "missing hole", "two sizes", "slipped", "100 dpi", "600 dpi", "1200 dpi", "bad axes", "rims 60 % rubbed", "patches only", "counterbores", "chamfers"}
	var out []samples.Rubbing
	rng := rand.New(rand.NewPCG(6, 2))
	for _, r := range samples.Population(12*count+100, 77) {
		if len(out) == count || slices.ContainsFunc(r.Effects, func(e string) bool { return slices.Contains(skip, e) }) {
			continue
		}
		if pcd := 2 * math.Hypot(r.Face.Holes[0].X, r.Face.Holes[0].Y); pcd < 60 || rng.Float64() < 0.3 {
			continue
		}
		r.DPI, r.Blur = 300, max(r.Blur, 0.6)
		out = append(out, r)
	}
	return out
}

// unevenOf reads the rubbings and counts the verdicts "uneven".
func unevenOf(t *testing.T, what string, rubbings []samples.Rubbing) (uneven, total int) {
	var mu sync.Mutex
	var wg sync.WaitGroup
	tally := map[pattern.Spacing]int{}
	next := make(chan samples.Rubbing)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for r := range next {
				img, truth := r.Render()
				res, err := read.Picture(pictureOf(img, truth.DPI), "rendered", read.Options{ScaleU: -1})
				mu.Lock()
				if err == nil && len(res.Reading.Holes) == len(r.Face.Holes) && res.Reading.PitchCircle != nil {
					v := res.Reading.Verdict
					tally[v.Spacing]++
					if want := map[bool]pattern.Spacing{true: pattern.Even, false: pattern.Uneven}[what == "even"]; v.Spacing != want {
						t.Logf("%s: %s (%s, %d holes), p = %.3g: %s", what, r.Name, v.Spacing, len(r.Face.Holes), *v.PValue, v.Text)
					}
				} else {
					t.Logf("%s: %s was not read whole", what, r.Name)
				}
				mu.Unlock()
			}
		})
	}
	for _, r := range rubbings {
		next <- r
	}
	close(next)
	wg.Wait()
	t.Log(fmt.Sprint(what, ": ", tally))
	return tally[pattern.Uneven], tally[pattern.Uneven] + tally[pattern.Even] + tally[pattern.Undecided]
}
