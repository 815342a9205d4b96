package show

import (
	"fmt"
	"image"
	"math"

	"boltrose/cmd/internal/read"
	"boltrose/pattern/thread"

	"gonum.org/v1/gonum/spatial/r2"
)

// ThreadOverlay draws on the scan what was taken for the thread: its axis, the
// lines that the crests reach, and a tick at every crest that the pitch rests
// on; crests that were left out are crossed.
func ThreadOverlay(res *read.ThreadResult, r *thread.Result) (*image.RGBA, error) {
	c, k, w, h := canvasFor(res.Picture.Grey.Rect.Size())
	letters, err := newLettering(false, 15*c.s)
	if err != nil {
		return nil, err
	}
	lines := []string{
		threadVerdict(r),
		threadMeasured(r.Measured),
		fmt.Sprintf("Line along the middle: the axis. Lines along both sides: what the higher crests reach. Ticks: the %d crests that the pitch rests on; crosses: left out.", usedTeeth(res)),
	}
	var wrapped []string
	for _, l := range lines {
		wrapped = append(wrapped, fold(letters, Plain(l), float64(w)-16*c.s)...)
	}
	legend := int(letters.line*float64(len(wrapped)) + 14*c.s)
	c.img = paled(res.Picture.Grey, w, h, legend)

	o := res.Outline
	at := func(p r2.Vec) r2.Vec { return r2.Scale(k, p) }
	var along []float64
	middle := r2.Scale(0.5, r2.Add(o.Crests[0], o.Crests[1]))
	for _, side := range o.Teeth {
		for _, t := range side {
			along = append(along, r2.Dot(r2.Sub(t.At, middle), o.Along))
		}
	}
	lo, hi := along[0], along[0]
	for _, a := range along {
		lo, hi = math.Min(lo, a), math.Max(hi, a)
	}
	c.line(at(r2.Add(middle, r2.Scale(lo-2*o.Period, o.Along))), at(r2.Add(middle, r2.Scale(hi+2*o.Period, o.Along))), pen{ink, 1.4, dash{14, 5, 3, 5}})
	for side, p := range o.Crests {
		off := r2.Dot(r2.Sub(p, middle), o.Along)
		a, b := r2.Add(p, r2.Scale(lo-off-o.Period/2, o.Along)), r2.Add(p, r2.Scale(hi-off+o.Period/2, o.Along))
		c.line(at(a), at(b), pen{blue, 1.3, nil})
		out := r2.Unit(r2.Sub(p, middle))
		for _, t := range o.Teeth[side] {
			tip := at(t.Tip)
			if t.Used {
				c.line(r2.Add(tip, r2.Scale(3*c.s, out)), r2.Add(tip, r2.Scale(12*c.s, out)), pen{blue, 1.6, nil})
			} else {
				c.cross(r2.Add(tip, r2.Scale(8*c.s, out)), 5, vermilion)
			}
		}
	}
	for i, l := range wrapped {
		c.text(letters, r2.Vec{X: 8 * c.s, Y: float64(h) + letters.line*float64(i+1)}, l, ink)
	}
	return c.img, nil
}

func usedTeeth(res *read.ThreadResult) int {
	n := 0
	for _, side := range res.Outline.Teeth {
		for _, t := range side {
			if t.Used {
				n++
			}
		}
	}
	return n
}
