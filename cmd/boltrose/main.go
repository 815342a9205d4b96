// Command boltrose turns a scanned pencil rubbing, a photograph or caliper
// measurements of a machine face into the angles, chords and pitch circle of
// its bolt holes, each with its uncertainty, and these into a part.
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
	command, ok := commands[args[0]]
	if !ok {
		return wrong(stderr, fmt.Errorf("there is no command %q; boltrose --help lists them%s", args[0], meant(args[0])))
	}
	return command(args[1:], stdout, stderr)
}

// commands are all that boltrose can do.
var commands = map[string]func(args []string, stdout, stderr io.Writer) int{
	"read":    runRead,
	"solve":   runSolve,
	"combine": runCombine,
	"folder":  runFolder,
	"mate":    runMate,
	"draw":    runDraw,
	"guard":   runGuard,
	"thread":  runThread,
	"frame":   runFrame,
	"profile": runProfile,

	"version": runVersion, "--version": runVersion,
	"help": runHelp, "--help": runHelp, "-h": runHelp,
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
