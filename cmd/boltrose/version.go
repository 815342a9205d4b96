package main

import (
	"fmt"
	"io"
	"runtime/debug"

	"gocv.io/x/gocv"
)

func runVersion(args []string, stdout, stderr io.Writer) int {
	if len(args) > 0 {
		if args[0] == "--help" || args[0] == "-h" {
			fmt.Fprint(stdout, helpVersion)
			return exitDone
		}
		return wrong(stderr, fmt.Errorf("version takes nothing, not %q", args[0]))
	}
	fmt.Fprintf(stdout, "boltrose %s\ngocv %s, OpenCV %s\n", version(), gocv.Version(), gocv.OpenCVVersion())
	return exitDone
}

// version is what the Go tool stamped into this program.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(built without a version)"
	}
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = "development version"
	}
	if rev := set["vcs.revision"]; rev != "" {
		v += fmt.Sprintf(", commit %.12s of %.10s", rev, set["vcs.time"])
		if set["vcs.modified"] == "true" {
			v += " with changes"
		}
	}
	return fmt.Sprintf("%s, %s", v, info.GoVersion)
}
