package main

import (
	_ "embed"
	"fmt"
	"io"
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

var helps = map[string]string{"read": helpRead, "scale": helpScale, "solve": helpSolve, "combine": helpCombine, "frame": helpFrame, "profile": helpProfile, "mate": helpMate, "draw": helpDraw, "guard": helpGuard, "version": helpVersion, "help": helpMain}

func runHelp(args []string, stdout, stderr io.Writer) int {
	switch len(args) {
	case 0:
		fmt.Fprint(stdout, helpMain)
		return exitDone
	case 1:
		if text, ok := helps[args[0]]; ok {
			fmt.Fprint(stdout, text)
			return exitDone
		}
		return wrong(stderr, fmt.Errorf("there is no command %q to help with; boltrose --help lists them", args[0]))
	}
	return wrong(stderr, fmt.Errorf("help takes one command; for example: boltrose help read"))
}
