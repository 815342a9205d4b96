package main

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/pflag"
)

// Every command has a help that fits a screen and has an example, that names
// each of its flags and none that is gone.
func TestHelp(t *testing.T) {
	commandFlags := map[string]*pflag.FlagSet{
		"read":            newReadFlags(&readCommand{}),
		"solve":           newSolveFlags(&solveCommand{}),
		"combine":         newCombineFlags(&combineCommand{}),
		"folder":          newFolderFlags(&folderCommand{}),
		"mate":            newMateFlags(&mateCommand{}),
		"draw":            newDrawFlags(&drawCommand{}),
		"guard":           newGuardFlags(&guardCommand{}),
		"frame":           newFrameFlags(&frameCommand{}),
		"thread":          newThreadFlags(&threadCommand{}),
		"desk":            newDeskFlags(&deskCommand{}),
		"profile lens":    newProfileLensFlags(&profileLensCommand{}),
		"profile scanner": newProfileScannerFlags(&profileScannerCommand{}),
	}
	for name := range commands {
		if _, ok := helps[name]; !ok && !strings.HasPrefix(name, "-") {
			t.Errorf("%s has no help", name)
		}
	}
	for name, help := range helps {
		lines := strings.Split(help, "\n")
		most := 40
		if commandFlags[name] == nil && name != "scale" {
			most = 24
		}
		if len(lines)-1 > most {
			t.Errorf("%s: %d lines, at most %d wanted", name, len(lines)-1, most)
		}
		for _, line := range lines {
			if n := utf8.RuneCountInString(line); n > 80 {
				t.Errorf("%s: %d columns: %s", name, n, line)
			}
		}
		if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(l, "Example") }) || !strings.Contains(help, "\n  boltrose ") {
			t.Errorf("%s: no example", name)
		}
		if flags := commandFlags[name]; flags != nil {
			flags.VisitAll(func(f *pflag.Flag) {
				if !strings.Contains(help, "--"+f.Name) {
					t.Errorf("the help of %s does not mention --%s", name, f.Name)
				}
			})
		}
		// A help may speak of another command's flags, but not of none's.
		for _, word := range strings.FieldsFunc(help, func(r rune) bool { return !(r == '-' || r >= 'a' && r <= 'z') }) {
			flag, ok := strings.CutPrefix(word, "--")
			known := flag == "help"
			for _, flags := range commandFlags {
				known = known || flags.Lookup(flag) != nil
			}
			if ok && !known {
				t.Errorf("the help of %s mentions --%s, which is no flag", name, flag)
			}
		}
	}
	for _, f := range drawForms {
		if !strings.Contains(helpDraw, "."+f.name) {
			t.Errorf("the help of draw does not mention .%s", f.name)
		}
	}
}
