package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"

	"boltrose/calib"
	"boltrose/cmd/internal/profile"

	"github.com/spf13/pflag"
)

//go:embed help_profile_scanner.txt
var helpProfileScanner string

// profileScannerCommand is what the flags of boltrose profile scanner say.
type profileScannerCommand struct {
	scans  []string
	opts   profile.ScannerOptions
	output string
}

func newProfileScannerFlags(c *profileScannerCommand) *pflag.FlagSet {
	f := newFlags("profile scanner")
	f.StringVarP(&c.output, "output", "o", "", "")
	f.Var(value{"pitch", func(s string) (err error) { c.opts.Rule, err = calib.ParsePitch(s); return err }}, "rule", "")
	f.Var(value{"size", func(s string) error {
		size, err := calib.ParseSheet(s)
		c.opts.Sheet = &size
		return err
	}}, "sheet", "")
	f.Var(barsValue(&c.opts.Printed), "printed", "")
	f.Var(dpiValue(&c.opts.DPI), "dpi", "")
	addOpening(f, &c.opts.MaxPixels, &c.opts.Page)
	return f
}

func parseProfileScanner(args []string) (*profileScannerCommand, error) {
	c := &profileScannerCommand{}
	f := newProfileScannerFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	c.scans = f.Args()
	said := 0
	for _, name := range []string{"rule", "sheet", "printed"} {
		if f.Changed(name) {
			said++
		}
	}
	switch {
	case len(c.scans) == 0:
		return nil, errors.New("profile scanner wants scans; for example: boltrose profile scanner along.png across.png --rule 1mm -o scanner.json")
	case c.output == "":
		return nil, errors.New("profile scanner wants -o FILE, where to write the profile")
	case said > 1:
		return nil, errors.New("--rule, --sheet and --printed cannot go together: all scans show one thing")
	}
	return c, nil
}

func runProfileScanner(args []string, stdout, stderr io.Writer) int {
	c, err := parseProfileScanner(args)
	if err == nil && c.output != "-" {
		err = checkOutputs([]output{{"-o", c.output}}, asInputs("scan", c.scans)...)
	}
	if err != nil {
		return ended(err, helpProfileScanner, stdout, stderr)
	}
	if len(c.scans) > 1 {
		c.opts.Progress = func(done, of int, name, result string) {
			fmt.Fprintf(stderr, "%d of %d: %s: %s\n", done, of, oneLine(name), oneLine(result))
		}
	}
	res, err := profile.Scanner(c.scans, c.opts)
	if err == nil {
		err = giveProfile(c.output, res.Scanner.WriteJSON, func(w io.Writer) error { return c.text(w, res) }, stdout)
	}
	return ended(err, helpProfileScanner, stdout, stderr)
}

// text says what was found and what it is good for.
func (c *profileScannerCommand) text(w io.Writer, res *profile.ScannerResult) error {
	s := res.Scanner
	u := func(i int) float64 { return 2 * math.Sqrt(s.Cov.At(i, i)) }
	plane, err := s.Plane(s.DPI)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Scanner profile of %s\n\n", s.MadeFrom)
	for i, v := range []float64{s.X, s.Y} {
		axis := [2]string{"x", "y"}[i]
		if !s.Measured[i] {
			fmt.Fprintf(w, "Along %s     not measured; ±%.2f %% is taken, as for any scanner\n", axis, 100*u(i))
			continue
		}
		fmt.Fprintf(w, "Along %s     %.2f dpi for %.5g: lengths are %+.3f %% ± %.3f %%\n", axis, s.DPI[i]/(1+v), s.DPI[i], 100*v, 100*u(i))
	}
	if s.Measured[2] {
		fmt.Fprintf(w, "Axes        %+.3f° ± %.3f° off square\n", s.Shear*180/math.Pi, u(2)*180/math.Pi)
	} else {
		fmt.Fprintf(w, "Axes        angle not measured; ±%.3f° is taken\n", u(2)*180/math.Pi)
	}
	if math.IsNaN(res.Fit.Repeat) {
		fmt.Fprintln(w, "Repeats     not known: nothing was scanned twice")
	} else {
		fmt.Fprintf(w, "Repeats     to %.3f %% rms over %d scans\n", 100*res.Fit.Repeat, s.Scans)
	}
	fmt.Fprintf(w, "On 100 mm   ±%.2f mm, where without a profile it is ±%.2f mm\n", 200*plane.URel, 200*calib.DefaultScaleU)
	for _, s := range res.Skipped {
		fmt.Fprintf(w, "Not used    %s\n", oneLine(s))
	}
	for _, s := range res.Fit.Warnings {
		fmt.Fprintf(w, "Warning: %s\n", s)
	}
	_, err = fmt.Fprintf(w, "\nWritten to %s. Use it with: boltrose read SCAN --scanner %s\n", oneLine(c.output), oneLine(c.output))
	return err
}
