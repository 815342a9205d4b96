// Command bench compares `boltrose read` with the least any program can do,
// that is to start with the same libraries and decode the same file, and
// prints how long and how much memory both took:
//
//	make bench
//
// or, step by step,
//
//	go build -o build/ ./cmd/boltrose ./cmd/internal/bench/bare
//	go run ./cmd/internal/bench/pages build/bench
//	go run ./cmd/internal/bench build/boltrose build/bare build/bench/*
//
// The two programs take turns, so that whatever else the machine does falls
// on both alike. Times are wall-clock medians; the ratio is the median over
// the pairs of runs.
//
// This program does nothing else, to remain small: Linux counts the parent's
// memory at the moment of the fork as the child's.
package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"time"
)

const runs = 9

func main() {
	if len(os.Args) < 4 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/bench BOLTROSE BARE PICTURE…")
		os.Exit(2)
	}
	boltrose, bare, pictures := os.Args[1], os.Args[2], os.Args[3:]
	fmt.Printf("%-26s %9s %9s %7s %10s %10s\n", "", "bare", "read", "ratio", "bare", "read")
	for _, picture := range pictures {
		if err := compare(boltrose, bare, picture); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
	}
}

func compare(boltrose, bare, picture string) error {
	var floor, read series
	for i := range runs + 1 {
		b, err := run(bare, picture)
		if err != nil {
			return err
		}
		r, err := run(boltrose, "read", picture)
		if err != nil {
			return err
		}
		if i > 0 { // the first pair only warms the disk's cache
			floor, read = append(floor, b), append(read, r)
		}
	}
	var ratios []float64
	for i := range floor {
		ratios = append(ratios, read[i].seconds/floor[i].seconds)
	}
	fmt.Printf("%-26s %7.3f s %7.3f s %7.2f %7.0f MB %7.0f MB\n", filepath.Base(picture),
		floor.seconds(), read.seconds(), median(ratios), floor.peakMB(), read.peakMB())
	return nil
}

// sample is one run of a program.
type sample struct {
	seconds float64
	peakMB  float64 // largest resident set
}

func run(name string, args ...string) (sample, error) {
	cmd := exec.Command(name, args...)
	start := time.Now()
	err := cmd.Run()
	took := time.Since(start)
	if cmd.ProcessState == nil {
		return sample{}, err
	}
	// Exit code 1 is a picture without a pattern, and an answer like another.
	if code := cmd.ProcessState.ExitCode(); code != 0 && code != 1 {
		return sample{}, fmt.Errorf("%s %v: %w", name, args, err)
	}
	usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		return sample{}, errors.New("this system does not tell what a process used")
	}
	return sample{took.Seconds(), float64(usage.Maxrss) * 1024 / 1e6}, nil // Linux counts KiB
}

type series []sample

func (s series) seconds() float64 {
	var v []float64
	for _, x := range s {
		v = append(v, x.seconds)
	}
	return median(v)
}

func (s series) peakMB() float64 {
	var peak float64
	for _, x := range s {
		peak = max(peak, x.peakMB)
	}
	return peak
}

// median of an odd number of values.
func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}
