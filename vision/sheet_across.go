package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Across is the grey across a side of an outline, from inside to outside: at
// each step the median along the side. What is printed across the edge, or what
// the sheet lies on, is not in it; what goes along the whole edge is: the sheet's
// own thickness, its shadow, a line printed along it.
type Across struct {
	Grey []float64 // the middle one is on the side
	Step float64   // px
}

// At is how far outside of the side, in px, the grey number i is.
func (a Across) At(i float64) float64 { return (i - float64(len(a.Grey)/2)) * a.Step }

const (
	acrossReach    = 0.04 // of the shorter side, how far the grey is taken to either hand
	acrossStations = 240
)

// across takes the grey across a side that was measured, as far as reach px to
// either hand.
func (p *pyramid) across(s bowed, reach float64) Across {
	l := p.levels[0]
	along, out := s.unit()
	long := r2.Norm(r2.Sub(s.b, s.a))
	a := Across{Step: acrossStep}
	half := int(math.Ceil(reach / a.Step))
	a.Grey = make([]float64, 2*half+1)
	at := make([]float64, 0, acrossStations)
	for i := range a.Grey {
		at = at[:0]
		for k := range acrossStations {
			t := cornerShare + (1-2*cornerShare)*(float64(k)+0.5)/acrossStations
			c := r2.Add(s.a, r2.Add(r2.Scale(t*long, along), r2.Scale(s.off(t)+a.At(float64(i)), out)))
			if v, ok := l.sample(c.X, c.Y); ok {
				at = append(at, v)
			}
		}
		if len(at) < acrossStations/2 {
			return Across{} // the picture ends beside the side
		}
		slices.Sort(at)
		// The mean of the middle half: a median of whole grey levels has steps.
		sum, n := 0.0, 0
		for _, v := range at[len(at)/4 : len(at)-len(at)/4] {
			sum += v
			n++
		}
		a.Grey[i] = sum / float64(n)
	}
	return a
}
