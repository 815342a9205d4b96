package pattern

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Whether known lengths agree with the source and with one another: the
// misfit's chi-square against its 95 % point, and which length is the odd one
// out by its deletion residual (W. Baarda, "A testing procedure for use in
// geodetic networks", 1968).

const (
	// A single length this far off, relatively, is not what the source shows:
	// other holes, or another scale altogether.
	absurd = 0.05
	// Among several, this many standard uncertainties and this much of the
	// length.
	absurdSigmas = 6
	absurdShare  = 0.01
)

// consistent says whether a misfit of so many degrees of freedom is one that
// 95 % of misfits do not exceed.
func consistent(chi2 float64, freedom int) bool {
	return freedom <= 0 || chi2 <= distuv.ChiSquared{K: float64(freedom)}.Quantile(0.95)
}

// agree conditions the source on the lengths, in the way that their agreement
// allows: with the source's own scale; without it when the lengths contradict
// that but not one another; with the lengths' uncertainties widened when they
// contradict one another a little; and not at all when the contradiction is
// absurd.
func (p *assembly) agree(lengths []known) (c *conditioned, noise *mat.SymDense, free bool, err error) {
	noise = p.noise(lengths, 1)
	try := func(free bool) (*conditioned, error) {
		g, err := p.ground(free, lengths)
		if err != nil {
			return nil, err
		}
		return g.condition(lengths, noise)
	}
	var own *conditioned
	if !p.opts.NoScale {
		if own, err = try(false); err != nil {
			return nil, nil, false, err
		}
		if !own.astray && consistent(own.chi2, len(lengths)) {
			return own, noise, false, nil
		}
		if len(lengths) == 1 {
			if err := p.refuseOne(own, noise); err != nil {
				return nil, nil, false, err
			}
		}
	}
	loose, err := try(true)
	if err != nil {
		return nil, nil, false, err
	}
	if freedom := len(lengths) - 1; loose.astray || !consistent(loose.chi2, freedom) {
		judge := loose
		if own != nil {
			judge = own
		}
		warning, err := p.contradiction(judge.ground, lengths, own == nil)
		if err != nil {
			return nil, nil, false, err
		}
		// R. T. Birge, "The calculation of errors by the method of least
		// squares", Phys. Rev. 40 (1932) 207: external consistency.
		noise = p.noise(lengths, math.Sqrt(loose.chi2/float64(freedom)))
		if loose, err = loose.condition(lengths, noise); err != nil {
			return nil, nil, false, err
		}
		if loose.astray {
			return nil, nil, false, errors.New(warning)
		}
		p.notes = append(p.notes, warning)
		return loose, noise, true, nil
	}
	if own != nil {
		p.notes = append(p.notes, p.scaleContradicted(lengths))
	}
	return loose, noise, true, nil
}

// refuseOne refuses a single length that is far from what the source's scale
// says.
func (p *assembly) refuseOne(own *conditioned, noise *mat.SymDense) error {
	k := own.lengths[0]
	mm, u, _ := own.without(0, noise)
	if math.Abs(k.Value-mm) < absurd*mm {
		return nil
	}
	return fmt.Errorf("the %s of %.3f mm measures %.3f ±%.3f mm by the %s%s; if the holes are the right ones, that scale is wrong: give the true one, or none", k, k.Value, mm, coverage*u, p.sourceScale(), p.fits(k, own.ground.parts, own.cov))
}

// verdict is what source and other lengths say of one length.
type verdict struct {
	k       known
	mm, u   float64 // with its standard uncertainty
	sigmas  float64 // how far off the length is
	rest    *conditioned
	cov     *mat.SymDense // of that
	allWell bool          // the others agree without it
}

// verdicts looks at each length by what the ground and the others say.
func (p *assembly) verdicts(g *ground, lengths []known, free bool) ([]verdict, error) {
	out := make([]verdict, len(lengths))
	for i, k := range lengths {
		others := slices.Concat(lengths[:i], lengths[i+1:])
		noise := p.noise(others, 1)
		rest, err := g.condition(others, noise)
		if err != nil {
			return nil, err
		}
		cov, err := rest.covariance(noise)
		if err != nil {
			return nil, err
		}
		freedom := len(others)
		if free {
			freedom--
		}
		v := verdict{k: k, rest: rest, cov: cov, allWell: !rest.astray && consistent(rest.chi2, freedom)}
		mm, by, err := k.of(rest.parts, p.holes)
		if err != nil {
			return nil, err
		}
		v.mm, v.u = mm, uncertainty(cov, by...)
		v.sigmas = math.Abs(k.Value-mm) / math.Sqrt(v.u*v.u+p.noise([]known{k}, 1).At(0, 0))
		out[i] = v
	}
	return out, nil
}

// contradiction names the length that disagrees with the rest: the one
// without which the others agree the best. It is a warning, or an error where
// it is absurd.
func (p *assembly) contradiction(g *ground, lengths []known, free bool) (warning string, err error) {
	if len(lengths) == 1 {
		return "", fmt.Errorf("the %s of %.3f mm cannot be on this picture: check the number, and whether the right holes were taken", lengths[0], lengths[0].Value)
	}
	verdicts, err := p.verdicts(g, lengths, free)
	if err != nil {
		return "", err
	}
	// Where the others agree, the less their misfit the better.
	slices.SortStableFunc(verdicts, func(a, b verdict) int {
		if a.allWell != b.allWell {
			if a.allWell {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.rest.chi2, b.rest.chi2)
	})
	v := verdicts[0]
	off := math.Abs(v.k.Value - v.mm)
	away := fmt.Sprintf("%.3f ±%.3f mm, %.3f mm or %.0f standard uncertainties away", v.mm, coverage*v.u, off, v.sigmas)
	said := fmt.Sprintf("the %s of %.3f mm disagrees with the picture and the other known lengths: they say %s", v.k, v.k.Value, away)
	if o := verdicts[1]; v.allWell && o.allWell { // it cannot be told which of the two is wrong
		said = fmt.Sprintf("the %s of %.3f mm and the %s of %.3f mm contradict each other on this picture: without the first, it is %s", v.k, v.k.Value, o.k, o.k.Value, away)
	}
	if v.sigmas > absurdSigmas && off > absurdShare*v.mm || v.rest.astray {
		return "", fmt.Errorf("%s%s; measure again, or leave it out", said, p.fits(v.k, v.rest.parts, v.cov))
	}
	return said + "; every ± of these lengths was widened until they agree: measure again", nil
}

// fits lists the pairs of holes that a length would fit.
func (p *assembly) fits(k known, parts []part, cov *mat.SymDense) string {
	if k.isPCD() {
		return ""
	}
	var pairs []string
	for i := 1; i <= p.holes; i++ {
		for j := i + 1; j <= p.holes; j++ {
			o := k
			o.From, o.To = i, j
			mm, by, err := o.of(parts, p.holes)
			if err == nil && math.Abs(mm-k.Value) <= coverage*math.Hypot(k.U, uncertainty(cov, by...)) {
				pairs = append(pairs, fmt.Sprintf("%d-%d", i, j))
			}
		}
	}
	switch n := len(pairs); {
	case n == 0:
		return ", and it fits no other pair of holes"
	case n > 6:
		pairs = append(pairs[:6], fmt.Sprintf("%d more", n-6))
	}
	return "; it would fit " + strings.Join(pairs, ", ")
}

// scaleContradicted warns of a source whose scale the lengths contradict.
func (p *assembly) scaleContradicted(lengths []known) string {
	worst, said := 0.0, ""
	for _, k := range lengths {
		mm, by, err := k.of(p.parts, p.holes)
		if err != nil {
			continue
		}
		cov, _ := sourceCovariance(p.parts)
		allowed := coverage * math.Hypot(k.U, uncertainty(cov, by...))
		if r := math.Abs(k.Value-mm) / math.Max(allowed, exactU); r > worst {
			worst = r
			said = fmt.Sprintf("the %s of %.3f mm measures %.3f mm by the %s, %.3f mm apart where ±%.3f mm was expected: that scale is not used; check the number, and whether the right holes were taken", k, k.Value, mm, p.sourceScale(), math.Abs(k.Value-mm), allowed)
		}
	}
	return said
}

func (p *assembly) sourceScale() string {
	if p.opts.Scale.Method == "" {
		return "source's own scale"
	}
	return p.opts.Scale.Method
}
