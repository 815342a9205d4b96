// Command coverage measures how often the intervals that readings state
// contain the truth: faces of several kinds are drawn at random, rendered as
// rubbings and photographs or measured by simulated calipers, read, and held
// against what was drawn.
//
//	go run ./cmd/internal/coverage
//
// prints the table of the README, in half an hour of one processor. -faces 1 makes
// a short run, -source and -kind one part of the table, and -intervals FILE
// writes every interval as CSV, to look at those that missed.
//
// What no picture can show, because a picture is all there is to go by, is
// drawn as wide as it is stated to be: see errors.go. Everything else is drawn
// from the renderer's own settings, of which the reader knows nothing.
package main

import (
	"encoding/csv"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"

	"boltrose/cmd/internal/atomicfile"
)

func main() {
	var s study
	seeds := flag.String("seeds", "1,2,3,4", "the draws, each with its share of the faces")
	flag.IntVar(&s.faces, "faces", 6, "faces of each kind and source for each of the draws")
	flag.StringVar(&s.source, "source", "", "only sources with this in their name")
	flag.StringVar(&s.kind, "kind", "", "only kinds of pattern with this in their name")
	intervals := flag.String("intervals", "", "write every interval to this CSV file")
	flag.Parse()
	for _, text := range strings.Split(*seeds, ",") {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil || flag.NArg() > 0 || s.faces < 1 {
			fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/coverage [-faces 6] [-seeds 1,2,3,4] [-source photo] [-kind even] [-intervals FILE]")
			os.Exit(2)
		}
		s.seeds = append(s.seeds, seed)
	}
	outcomes, err := s.run(os.Stderr)
	if err == nil && *intervals != "" {
		err = atomicfile.Write(*intervals, func(w io.Writer) error { return writeIntervals(w, outcomes) })
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "coverage:", err)
		os.Exit(1)
	}
	printTable(os.Stdout, outcomes)
}

// study is what is to be drawn and read.
type study struct {
	seeds        []uint64
	faces        int // of each kind, source and seed
	source, kind string
}

// job is one face and the way it is taken down.
type job struct {
	way
	kind
	seed uint64
}

func (s study) jobs() []job {
	var list []job
	for i := range s.faces {
		for _, seed := range s.seeds {
			for k, kind := range kinds {
				for w, way := range ways {
					if !way.wanted(s.source) || !strings.Contains(kind.name, s.kind) {
						continue
					}
					for t := range way.times {
						list = append(list, job{way, kind, seed<<40 + uint64(i*way.times+t)<<16 + uint64(k)<<8 + uint64(w)})
					}
				}
			}
		}
	}
	return list
}

// run reads everything, as many faces at a time as there are processors.
func (s study) run(progress io.Writer) ([]outcome, error) {
	jobs := s.jobs()
	if len(jobs) == 0 {
		return nil, fmt.Errorf("no source or kind of pattern has such a name")
	}
	results := make([][]outcome, len(jobs))
	var mu sync.Mutex
	var wg sync.WaitGroup
	var failed error
	next, done := 0, 0
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			mu.Lock()
			defer mu.Unlock()
			for failed == nil && next < len(jobs) {
				i := next
				next++
				mu.Unlock()
				out, err := jobs[i].take(jobs[i])
				mu.Lock()
				if err != nil {
					failed = fmt.Errorf("%s, seed %d: %w", jobs[i].kind.name, jobs[i].seed, err)
				}
				results[i] = out
				if done++; done%50 == 0 || done == len(jobs) {
					fmt.Fprintf(progress, "%d of %d faces\n", done, len(jobs))
				}
			}
		})
	}
	wg.Wait()
	var all []outcome
	for _, r := range results {
		all = append(all, r...)
	}
	return all, failed
}

func writeIntervals(w io.Writer, outcomes []outcome) error {
	c := csv.NewWriter(w)
	if err := c.Write([]string{"source", "kind", "seed", "holes", "note", "quantity", "got", "u95", "truth"}); err != nil {
		return err
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 8, 64) }
	for _, o := range outcomes {
		for q, list := range o.intervals {
			for _, i := range list {
				err := c.Write([]string{o.source, o.kind, strconv.FormatUint(o.seed, 10), strconv.Itoa(o.holes), o.note,
					quantities[q], number(i.got), number(i.u95), number(i.truth)})
				if err != nil {
					return err
				}
			}
		}
	}
	c.Flush()
	return c.Error()
}
