package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// tally counts intervals by the reading that they are of.
type tally struct {
	readings    int
	within, of  float64
	square, mix float64 // Σ of², Σ within·of over the readings
	hits        float64 // Σ within²
}

func (t *tally) add(list []interval) {
	if len(list) == 0 {
		return
	}
	k := 0.0
	for _, i := range list {
		if i.holds() {
			k++
		}
	}
	n := float64(len(list))
	t.readings++
	t.within += k
	t.of += n
	t.square += n * n
	t.mix += k * n
	t.hits += k * k
}

func (t tally) share() float64 { return t.within / t.of }

// interval is the 95 % interval of the share: Wilson's (1927) for a binomial
// one, with the number of intervals divided by Kish's design effect (1965),
// because those of one reading share its errors.
func (t tally) interval() (low, high float64) {
	p, n := t.share(), t.of
	// The variance of a ratio of sums over readings, against a binomial one's.
	if v := (t.hits - 2*p*t.mix + p*p*t.square) / (n * n); v > (1+1e-9)*p*(1-p)/n {
		n = p * (1 - p) / v
	}
	const z = 1.96
	mid := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return mid - half, mid + half
}

// What is wanted of every row's share.
const rowLow, rowHigh = 0.90, 0.98

// String is the share in per cent, its interval and the number it is of. A
// share outside what is wanted of a row is marked: with one star where chance
// may have put it there, with two where it cannot.
func (t tally) String() string {
	if t.of == 0 {
		return "–"
	}
	low, high := t.interval()
	mark := ""
	switch p := t.share(); {
	case low > rowHigh || high < rowLow:
		mark = " \\*\\*"
	case p < rowLow || p > rowHigh:
		mark = " \\*"
	}
	return fmt.Sprintf("%.1f%s (%.1f–%.1f) of %.0f", 100*t.share(), mark, 100*low, 100*high, t.of)
}

// row is one line of the table.
type row struct {
	readings, none, wrong int
	tallies               [len(quantities)]tally
}

func (r *row) add(o outcome) {
	if !o.read {
		r.none++
		return
	}
	r.readings++
	if o.wrong {
		r.wrong++
	}
	for q, list := range o.intervals {
		r.tallies[q].add(list)
	}
}

// rowOf sums those outcomes that are wanted.
func rowOf(outcomes []outcome, wanted func(outcome) bool) row {
	var r row
	for _, o := range outcomes {
		if wanted(o) {
			r.add(o)
		}
	}
	return r
}

// printTable prints the sums first, then every source with every kind of
// pattern, in Markdown.
func printTable(w io.Writer, outcomes []outcome) {
	var sources, patterns []string
	for _, way := range ways {
		sources = append(sources, way.sources...)
	}
	for _, k := range kinds {
		patterns = append(patterns, k.name)
	}
	head := func(first string) {
		fmt.Fprintf(w, "| %s | readings | none | wrong holes | %s |\n|---|---|---|---|%s\n", first, strings.Join(quantities[:], " | "), strings.Repeat("---|", len(quantities)))
	}
	line := func(name string, r row) {
		if r.readings+r.none == 0 {
			return
		}
		cells := []string{name, fmt.Sprint(r.readings), fmt.Sprint(r.none), fmt.Sprint(r.wrong)}
		for _, t := range r.tallies {
			cells = append(cells, t.String())
		}
		fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | "))
	}
	head("all")
	line("everything", rowOf(outcomes, func(outcome) bool { return true }))
	for _, s := range sources {
		line(s, rowOf(outcomes, func(o outcome) bool { return o.source == s }))
	}
	for _, k := range patterns {
		line(k, rowOf(outcomes, func(o outcome) bool { return o.kind == k }))
	}
	for _, s := range sources {
		if !slices.ContainsFunc(outcomes, func(o outcome) bool { return o.source == s }) {
			continue
		}
		fmt.Fprintln(w)
		head(s)
		for _, k := range patterns {
			line(k, rowOf(outcomes, func(o outcome) bool { return o.source == s && o.kind == k }))
		}
	}
}
