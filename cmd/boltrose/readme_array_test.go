package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"boltrose/samples"
)

// The README's job arrays, each of their shares run by the shell as a cluster
// would: together they leave what one run leaves, a picture without a reading
// ends no share, and a share that is begun again finds its work done.
func TestReadmeArrays(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	pod := regexp.MustCompile(`(?m)^ +- (boltrose folder .*JOB_COMPLETION_INDEX.*)$`).FindSubmatch(readme)
	batch := regexp.MustCompile("(?s)```sh\n(#!/bin/sh\n#SBATCH .*?)```").FindSubmatch(readme)
	if pod == nil || batch == nil {
		t.Fatal("README.md has no job arrays")
	}
	const shares = 8
	for _, want := range []string{fmt.Sprintf("completions: %d", shares), fmt.Sprintf("--array=1-%d\n", shares)} {
		if !bytes.Contains(readme, []byte(want)) {
			t.Errorf("README.md lacks %q", want)
		}
	}

	work := t.TempDir()
	if err := os.MkdirAll(filepath.Join(work, "scans"), 0o777); err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		rubbing := samples.New(samples.Ring(3+i, 50, 7), uint64(i+1))
		rubbing.DPI = 100
		img, _ := rubbing.Render()
		keepScan(t, filepath.Join(work, "scans", fmt.Sprintf("part%d-1.png", i)), img, 100)
	}
	if err := os.WriteFile(filepath.Join(work, "scans", "broken.png"), []byte("no picture"), 0o666); err != nil {
		t.Fatal(err)
	}
	sh := func(script string, env ...string) error {
		cmd := exec.Command("sh", "-c", script)
		cmd.Dir, cmd.Env = work, append(os.Environ(), env...)
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w\n%s", script, err, out)
		}
		return nil
	}
	if err := sh("boltrose folder scans --out whole || [ $? -eq 1 ]"); err != nil {
		t.Fatal(err)
	}
	want := contents(t, filepath.Join(work, "whole"))

	for name, share := range map[string]func(k int) error{
		"Kubernetes": func(k int) error {
			script := strings.NewReplacer("/scans", "scans", "/readings", "readings").Replace(string(pod[1]))
			return sh(script, fmt.Sprintf("JOB_COMPLETION_INDEX=%d", k))
		},
		"Slurm": func(k int) error {
			return sh(string(batch[1]), fmt.Sprintf("SLURM_ARRAY_TASK_ID=%d", k+1), "SLURM_CPUS_PER_TASK=2")
		},
	} {
		t.Run(name, func(t *testing.T) {
			out := filepath.Join(work, "readings")
			defer os.RemoveAll(out)
			for _, k := range []int{3, 0, 7, 1, 2, 6, 5, 4, 3} { // in any order, and one twice
				if err := share(k); err != nil {
					t.Fatalf("share %d: %v", k, err)
				}
			}
			if err := sh("boltrose folder --merge readings || [ $? -eq 1 ]"); err != nil {
				t.Fatal(err)
			}
			have := contents(t, out)
			for name, data := range want {
				if have[name] != data {
					t.Errorf("%s differs from what one run leaves", name)
				}
			}
		})
	}
}

// contents are the files of a folder, less those that lie there for a run's own
// sake.
func contents(t *testing.T, folder string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(d.Name(), ".") {
			return err
		}
		data, err := os.ReadFile(path)
		files[strings.TrimPrefix(path, folder)] = string(data)
		return err
	})
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files in %s: %v", len(files), folder, err)
	}
	return files
}
