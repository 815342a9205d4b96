package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"boltrose/calib"
	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/profile"

	"github.com/spf13/pflag"
)

//go:embed help_profile.txt
var helpProfile string

//go:embed help_profile_lens.txt
var helpProfileLens string

// profiles are the kinds of profile that can be made.
var profiles = map[string]func(args []string, stdout, stderr io.Writer) int{
	"lens":    runProfileLens,
	"scanner": runProfileScanner,
}

func runProfile(args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		return wrong(stderr, errors.New("profile wants what to make a profile of, lens or scanner (boltrose profile --help)"))
	}
	if args[0] == "--help" || args[0] == "-h" {
		fmt.Fprint(stdout, helpProfile)
		return exitDone
	}
	make, ok := profiles[args[0]]
	if !ok {
		return wrong(stderr, fmt.Errorf("there is no profile of a %q (boltrose profile --help)", args[0]))
	}
	return make(args[1:], stdout, stderr)
}

// giveProfile writes a profile's file and then prints its text, or prints the
// profile alone where the file is standard output.
func giveProfile(file string, profile, text func(io.Writer) error, stdout io.Writer) error {
	if file == "-" {
		return toStdout(stdout, profile)
	}
	if err := atomicfile.Write(file, profile); err != nil {
		return err
	}
	return toStdout(stdout, text)
}

// profileLensCommand is what the flags of boltrose profile lens say.
type profileLensCommand struct {
	photos []string
	opts   profile.LensOptions
	output string
}

func newProfileLensFlags(c *profileLensCommand) *pflag.FlagSet {
	f := newFlags("profile lens")
	f.StringVarP(&c.output, "output", "o", "", "")
	f.Var(countsValue(&c.opts.Chessboard), "chessboard", "")
	f.Var(countsValue(&c.opts.Grid), "grid", "")
	f.Var(barsValue(&c.opts.Printed), "printed", "")
	addOpening(f, &c.opts.MaxPixels, &c.opts.Page)
	return f
}

func parseProfileLens(args []string) (*profileLensCommand, error) {
	c := &profileLensCommand{}
	f := newProfileLensFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	c.photos = f.Args()
	said := 0
	for _, name := range []string{"chessboard", "grid", "printed"} {
		if f.Changed(name) {
			said++
		}
	}
	switch {
	case len(c.photos) == 0:
		return nil, errors.New("profile lens wants photographs; for example: boltrose profile lens left*.jpg --chessboard 9x6 -o lens.json")
	case c.output == "":
		return nil, errors.New("profile lens wants -o FILE, where to write the profile")
	case said > 1:
		return nil, errors.New("--chessboard, --grid and --printed cannot go together: all photographs show one sheet")
	}
	return c, nil
}

func runProfileLens(args []string, stdout, stderr io.Writer) int {
	c, err := parseProfileLens(args)
	if err == nil && c.output != "-" {
		err = checkOutputs([]output{{"-o", c.output}}, asInputs("photograph", c.photos)...)
	}
	if err != nil {
		return ended(err, helpProfileLens, stdout, stderr)
	}
	c.opts.Progress = func(done, of int, name, result string) {
		fmt.Fprintf(stderr, "%d of %d: %s: %s\n", done, of, oneLine(name), oneLine(result))
	}
	res, err := profile.Lens(c.photos, c.opts)
	if err == nil {
		err = giveProfile(c.output, res.Lens.WriteJSON, func(w io.Writer) error { return c.text(w, res) }, stdout)
	}
	return ended(err, helpProfileLens, stdout, stderr)
}

// text says what was found and what to do with it.
func (c *profileLensCommand) text(w io.Writer, res *profile.LensResult) error {
	l := res.Lens
	focal, k1, k2 := l.U()
	camera := strings.TrimSpace(l.Make + " " + l.Model)
	if camera == "" {
		camera = "not named by the photographs"
	} else {
		camera = fmt.Sprintf("%s at %g mm", oneLine(camera), l.FocalLengthMM)
	}
	fmt.Fprintf(w, "Lens profile of %s\n\n", l.MadeFrom)
	fmt.Fprintf(w, "Camera        %s\n", camera)
	fmt.Fprintf(w, "Pictures      %d × %d px\n", l.WidthPx, l.HighPx)
	fmt.Fprintf(w, "Focal length  %.1f ± %.1f px\n", l.FX, 2*focal)
	fmt.Fprintf(w, "Distortion    k1 = %.4f ± %.4f, k2 = %.4f ± %.4f: %s\n", l.K1, 2*k1, l.K2, 2*k2, bends(l))
	fmt.Fprintf(w, "Points miss   %.2f px rms\n", res.Fit.RMSPx)
	for _, v := range res.Fit.Views {
		if v.Poor {
			fmt.Fprintf(w, "Poor          %s: %.2f px rms, %d points used; leave it out, or take it again\n", oneLine(v.Name), v.RMSPx, v.Points)
		}
	}
	for _, s := range res.Skipped {
		fmt.Fprintf(w, "Not used      %s\n", oneLine(s))
	}
	for _, s := range res.Fit.Warnings {
		fmt.Fprintf(w, "Warning: %s\n", s)
	}
	_, err := fmt.Fprintf(w, "\nWritten to %s. Use it with: boltrose read PHOTO --lens %s\n", oneLine(c.output), oneLine(c.output))
	return err
}

// bends says how far the lens moves what is seen in a corner of the picture.
func bends(l *calib.Lens) string {
	corner, ideal := l.CornerPx()
	by := 100 * (corner - ideal) / ideal
	if math.IsNaN(by) || math.IsInf(by, 0) {
		return "a corner of the picture is beyond what the points show"
	}
	toward := "outward"
	if by < 0 {
		toward = "inward"
	}
	return fmt.Sprintf("a corner is seen %.1f %% too far %s", math.Abs(by), toward)
}

// countsValue reads columns and rows, as 9x6.
func countsValue(to *[2]int) value {
	return value{"CxR", func(s string) error {
		a, b, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
		columns, err1 := strconv.Atoi(strings.TrimSpace(a))
		rows, err2 := strconv.Atoi(strings.TrimSpace(b))
		if !ok || err1 != nil || err2 != nil {
			return errors.New("give columns and rows, as 9x6")
		}
		if columns < 3 || rows < 3 || columns > 100 || rows > 100 {
			return fmt.Errorf("%d × %d cannot be used: 3 to 100 columns and rows", columns, rows)
		}
		*to = [2]int{columns, rows}
		return nil
	}}
}

// barsValue reads what the bars X and Y of a printed frame measure, in mm.
func barsValue(to *calib.PrintedBars) value {
	return value{"X,Y", func(s string) error {
		v, err := numbers(s, 2)
		if err != nil || v[0] <= 0 || v[1] <= 0 {
			return errors.New("give what the printed bars X and Y measure in mm, as 139.8,140.1")
		}
		*to = calib.PrintedBars{v[0], v[1]}
		return nil
	}}
}
