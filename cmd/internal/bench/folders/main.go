// Command folders measures boltrose folder on folders that
// cmd/internal/bench/scans renders:
//
//	make bench-folder
//
// It prints how much faster two workers are than one, what a picture costs
// against single runs of boltrose read less their start, how the memory depends
// on the number of pictures, and how time grows with it. Runs that are compared
// take turns, so that whatever else the machine does falls on all alike. Beside
// the time on the clock stands that of the processors, which a busy machine
// disturbs less.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

func main() {
	rounds := flag.Int("rounds", 3, "how often each is run")
	most := flag.Int("most", 10_000, "the most files of the tiny ones")
	flag.Parse()
	if flag.NArg() != 4 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/bench/folders BOLTROSE MIXED MANY TINY")
		os.Exit(2)
	}
	b := bench{flag.Arg(0), *rounds}
	for _, measure := range []func() error{
		func() error { return b.workers(flag.Arg(1)) },
		func() error { return b.memory(flag.Arg(2)) },
		func() error { return b.growth(flag.Arg(3), *most) },
	} {
		if err := measure(); err != nil {
			fmt.Fprintln(os.Stderr, "folders:", err)
			os.Exit(1)
		}
	}
}

type bench struct {
	boltrose string
	rounds   int
}

// sample is one run.
type sample struct{ seconds, cpu, peakMB float64 }

func (b bench) run(args ...string) (sample, error) {
	cmd := exec.Command(b.boltrose, args...)
	start := time.Now()
	err := cmd.Run()
	took := time.Since(start)
	if cmd.ProcessState == nil {
		return sample{}, err
	}
	if code := cmd.ProcessState.ExitCode(); code != 0 && code != 1 {
		return sample{}, fmt.Errorf("%v: %w", args, err)
	}
	u := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	cpu := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return sample{took.Seconds(), cpu.Seconds(), float64(u.Maxrss) * 1024 / 1e6}, nil
}

func (b bench) folder(in string, args ...string) (sample, error) {
	out, err := os.MkdirTemp("", "bench")
	if err != nil {
		return sample{}, err
	}
	defer os.RemoveAll(out)
	return b.run(append([]string{"folder", in, "--out", out}, args...)...)
}

// workers compares one worker, two, and single reads of the same pictures.
func (b bench) workers(in string) error {
	pictures, err := filepath.Glob(filepath.Join(in, "*.*"))
	if err != nil {
		return err
	}
	pictures = slices.DeleteFunc(pictures, func(p string) bool { return strings.HasSuffix(p, ".toml") })
	out, err := os.MkdirTemp("", "bench")
	if err != nil {
		return err
	}
	defer os.RemoveAll(out)
	var one, two, single []sample
	for range b.rounds {
		a, err := b.folder(in, "--jobs", "1")
		if err != nil {
			return err
		}
		c, err := b.folder(in, "--jobs", "2")
		if err != nil {
			return err
		}
		var sum sample
		for _, p := range pictures {
			start, err := b.run("version")
			if err != nil {
				return err
			}
			s, err := b.run("read", p, "--dpi", "150", "--overlay", filepath.Join(out, "o.png"), "--json", filepath.Join(out, "r.json"))
			if err != nil {
				return err
			}
			sum.seconds += s.seconds - start.seconds
			sum.cpu += s.cpu - start.cpu
			sum.peakMB = max(sum.peakMB, s.peakMB)
		}
		one, two, single = append(one, a), append(two, c), append(single, sum)
	}
	fmt.Printf("%d mixed pictures, medians of %d runs in turn\n", len(pictures), b.rounds)
	row := func(name string, s []sample) {
		fmt.Printf("  %-38s %8.1f s %8.1f s of processors %6.0f MB\n", name, median(s, seconds), median(s, cpu), median(s, peak))
	}
	row("folder, one worker", one)
	row("folder, two workers", two)
	row("single reads less their start, summed", single)
	fmt.Printf("  two workers are %.2f times as fast as one\n", ratio(one, two, seconds))
	fmt.Printf("  two workers take %.2f of the time of the single reads, %.2f of their processors' time\n", ratio(two, single, seconds), ratio(two, single, cpu))
	fmt.Printf("  one worker takes %.2f of the time of the single reads, %.2f of their processors' time\n", ratio(one, single, seconds), ratio(one, single, cpu))
	return nil
}

// memory compares folders of few and of many files.
func (b bench) memory(in string) error {
	fmt.Println("memory")
	return b.few(in, []int{20, 200, 2000})
}

// growth reads more and more tiny files.
func (b bench) growth(in string, most int) error {
	fmt.Println("tiny files, in which there is nothing to find")
	return b.few(in, []int{100, 1000, min(most, 10_000)})
}

func (b bench) few(in string, counts []int) error {
	entries, err := os.ReadDir(in)
	if err != nil {
		return err
	}
	for _, n := range counts {
		part, err := os.MkdirTemp("", "bench")
		if err != nil {
			return err
		}
		linked := 0
		for _, e := range entries {
			if linked == n {
				break
			}
			from, err := filepath.Abs(filepath.Join(in, e.Name()))
			if err != nil {
				return err
			}
			if err := os.Symlink(from, filepath.Join(part, e.Name())); err != nil {
				return err
			}
			linked++
		}
		if linked < n {
			os.RemoveAll(part)
			continue
		}
		s, err := b.folder(part, "--dpi", "100", "--jobs", "2")
		os.RemoveAll(part)
		if err != nil {
			return err
		}
		fmt.Printf("  %6s files %8.1f s %8.2f ms each %8.2f ms of processors each %6.0f MB\n", strconv.Itoa(n), s.seconds, 1000*s.seconds/float64(n), 1000*s.cpu/float64(n), s.peakMB)
	}
	return nil
}

func seconds(s sample) float64 { return s.seconds }
func cpu(s sample) float64     { return s.cpu }
func peak(s sample) float64    { return s.peakMB }

func median(all []sample, of func(sample) float64) float64 {
	var v []float64
	for _, s := range all {
		v = append(v, of(s))
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// ratio is the median over the pairs of runs.
func ratio(a, b []sample, of func(sample) float64) float64 {
	var v []float64
	for i := range a {
		v = append(v, of(a[i])/of(b[i]))
	}
	slices.Sort(v)
	return v[len(v)/2]
}
