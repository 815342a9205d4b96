package main

import (
	_ "embed"
	"fmt"
	"io"
	"strings"
)

//go:embed help.txt
var helpMain string

//go:embed help_read.txt
var helpRead string

//go:embed help_scale.txt
var helpScale string

const helpVersion = `Usage: boltrose version

Says which version this is, and with which OpenCV it works.

Example:
  boltrose version
`

var helps = map[string]string{
	"read": helpRead, "scale": helpScale,
	"solve": helpSolve, "combine": helpCombine, "folder": helpFolder, "mate": helpMate,
	"draw": helpDraw, "guard": helpGuard, "frame": helpFrame, "thread": helpThread,
	"desk":    helpDesk,
	"profile": helpProfile, "profile lens": helpProfileLens, "profile scanner": helpProfileScanner,
	"version": helpVersion, "help": helpMain,
}

func runHelp(args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		args = []string{"help"}
	}
	about := strings.Join(args, " ")
	text, ok := helps[about]
	if !ok {
		return wrong(stderr, fmt.Errorf("there is no command %q to help with; boltrose --help lists them", about))
	}
	fmt.Fprint(stdout, text)
	return exitDone
}
