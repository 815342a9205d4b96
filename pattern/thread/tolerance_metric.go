package thread

import "math"

// metric are the tolerances of ISO 965-1, whose tables are its formulas
// rounded to preferred numbers (ISO 3, R40), but for a few values.
func (t Thread) metric(class string, bolt bool) tolerances {
	grade, position := int(class[0]-'0'), class[1]
	p := t.Pitch
	tol := tolerances{}
	if position == 'g' || position == 'G' {
		tol.off = math.RoundToEven(r40(exceptOr(shiftExcept, p, 15+11*p), 0)) / 1000
	}
	// A grade is a step of R10 from the next, four of R40's; grade 6 is the
	// one that the formulas give.
	steps := 4 * (grade - 6)
	pitch6 := r40(t.exceptPitch(90*math.Pow(p, 0.4)*math.Pow(meanOfRange(t.Major), 0.1)), 0)
	if bolt {
		tol.major = r40(exceptOr(majorExcept, p, 180*math.Cbrt(p*p)-3.15/math.Sqrt(p)), steps) / 1000
		tol.pitch = r40(pitch6, steps) / 1000
		return tol
	}
	minor6 := 230 * math.Pow(p, 0.7)
	if p < 1 {
		minor6 = 433*p - 190*math.Pow(p, 1.22)
	}
	// Of holes grade 5 is 1.06 times what bolts have in grade 6.
	tol.pitch = r40(1.06*pitch6, steps+4) / 1000
	tol.minor = r40(exceptOr(minorExcept, p, minor6), steps) / 1000
	return tol
}

// Where the tables of ISO 965-1 have another preferred number than the
// formula's nearest, by pitch; µm. The row of 0.5 and that of 0.75 were seen in
// prints of the tables, the others are from memory.
var (
	shiftExcept = map[float64]float64{0.75: 22.4}
	majorExcept = map[float64]float64{4: 475}
	minorExcept = map[float64]float64{0.5: 140, 1: 236, 2.5: 450}
)

func exceptOr(table map[float64]float64, pitch, formula float64) float64 {
	if v, ok := table[pitch]; ok {
		return v
	}
	return formula
}

// exceptPitch is the same for the pitch diameter, which depends on the
// diameter too.
func (t Thread) exceptPitch(formula float64) float64 {
	if t.Pitch == 0.5 && t.Major > 2.8 && t.Major <= 5.6 {
		return 75
	}
	return formula
}

// meanOfRange is the geometric mean of the range of ISO 965-1 in which a
// diameter (mm) lies.
func meanOfRange(d float64) float64 {
	edges := []float64{0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45, 90, 180}
	for i := 1; i < len(edges); i++ {
		if d <= edges[i] {
			return math.Sqrt(edges[i-1] * edges[i])
		}
	}
	return d
}

// preferred are the rounded preferred numbers of the series R40 (ISO 3).
var preferred = []float64{
	1, 1.06, 1.12, 1.18, 1.25, 1.32, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2, 2.12, 2.24, 2.36, 2.5, 2.65, 2.8, 3,
	3.15, 3.35, 3.55, 3.75, 4, 4.25, 4.5, 4.75, 5, 5.3, 5.6, 6, 6.3, 6.7, 7.1, 7.5, 8, 8.5, 9, 9.5,
}

// r40 is the preferred number nearest to v, or the one so many steps on.
func r40(v float64, steps int) float64 {
	decade := math.Floor(math.Log10(v))
	best, at := math.Inf(1), 0
	number := func(i int) float64 {
		turn, k := floorDiv(i, len(preferred))
		return preferred[k] * math.Pow(10, decade+float64(turn))
	}
	for i := -1; i <= len(preferred); i++ {
		if off := math.Abs(number(i) - v); off < best {
			best, at = off, i
		}
	}
	return number(at + steps)
}

func floorDiv(a, b int) (quotient, rest int) {
	quotient, rest = a/b, a%b
	if rest < 0 {
		quotient, rest = quotient-1, rest+b
	}
	return quotient, rest
}
