// Command boltrose turns a scanned pencil rubbing of a machine face into the
// angles, chords and pitch circle of its bolt holes, each with its
// uncertainty.
package main

import (
	"fmt"
	"io"
	"os"
	"strings"
)

// Exit codes.
const (
	exitDone      = 0
	exitNoPattern = 1 // the picture was opened but nothing in it can be trusted
	exitWrong     = 2 // wrong use, an unreadable file, an output that cannot be written
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// run is the whole program, less its process.
func run(args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, helpMain)
		return exitWrong
	}
	switch command, rest := args[0], args[1:]; command {
	case "read":
		return runRead(rest, stdout, stderr)
	case "solve":
		return runSolve(rest, stdout, stderr)
	case "combine":
		return runCombine(rest, stdout, stderr)
	case "frame":
		return runFrame(rest, stdout, stderr)
	case "profile":
		return runProfile(rest, stdout, stderr)
	case "mate":
		return runMate(rest, stdout, stderr)
	case "draw":
		return runDraw(rest, stdout, stderr)
	case "guard":
		return runGuard(rest, stdout, stderr)
	case "version", "--version":
		return runVersion(rest, stdout, stderr)
	case "help", "--help", "-h":
		return runHelp(rest, stdout, stderr)
	default:
		return wrong(stderr, fmt.Errorf("there is no command %q; boltrose --help lists them%s", command, meant(command)))
	}
}

// meant guesses what someone wanted who left out the command.
func meant(command string) string {
	if info, err := os.Stat(command); err == nil && !info.IsDir() {
		return fmt.Sprintf(" (to read a picture: boltrose read %s)", oneLine(command))
	}
	return ""
}

// wrong reports what stopped the program, in one line.
func wrong(stderr io.Writer, err error) int {
	fmt.Fprintln(stderr, "boltrose: "+oneLine(err.Error()))
	return exitWrong
}

func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\r' }), " ")
}
