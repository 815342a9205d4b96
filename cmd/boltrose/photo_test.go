package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"strings"
	"testing"

	"boltrose/samples"

	"github.com/rogpeppe/go-internal/testscript"
)

// photo FILE renders the keyed face as rubbing does, at 150 pixels an inch,
// and writes it as a camera would: with its make, model and focal length, and
// with the 72 dpi that say nothing.
func photo(ts *testscript.TestScript, neg bool, args []string) {
	r := samples.New(samples.Keyed(60, []float64{90, 160, 235, 305, 20}, 9), 1)
	r.DPI, r.Tone, r.PaleAreas, r.Smudges = 150, 0.5, 0, 0
	img, _ := r.Render()
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), asPhoto(img), 0o666))
}

// asPhoto is a JPEG with EXIF.
func asPhoto(img image.Image) []byte {
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, img, &jpeg.Options{Quality: 92}); err != nil {
		panic(err)
	}
	var tags []byte // IFD0, little endian, its values behind it
	tiff := []byte{'I', 'I', 42, 0, 8, 0, 0, 0}
	entry := func(id, kind uint16, count, value uint32) {
		tags = binary.LittleEndian.AppendUint16(tags, id)
		tags = binary.LittleEndian.AppendUint16(tags, kind)
		tags = binary.LittleEndian.AppendUint32(tags, count)
		tags = binary.LittleEndian.AppendUint32(tags, value)
	}
	const n = 6
	values := uint32(8 + 2 + 12*n + 4)
	entry(0x010f, 2, 8, values)      // Make
	entry(0x0110, 2, 8, values+8)    // Model
	entry(0x011a, 5, 1, values+16)   // XResolution
	entry(0x011b, 5, 1, values+16)   // YResolution
	entry(0x0128, 3, 1, 2)           // ResolutionUnit: inch
	entry(0x920a, 5, 1, values+16+8) // FocalLength
	tiff = binary.LittleEndian.AppendUint16(tiff, n)
	tiff = append(tiff, tags...)
	tiff = append(tiff, 0, 0, 0, 0)
	tiff = append(tiff, "Camera1\x00Model-1\x00"...)
	for _, v := range []uint32{72, 1, 425, 100} {
		tiff = binary.LittleEndian.AppendUint32(tiff, v)
	}
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{}, plain.Bytes()[:2]...)
	out = append(out, 0xff, 0xe1)
	out = binary.BigEndian.AppendUint16(out, uint16(2+len(body)))
	out = append(out, body...)
	return append(out, plain.Bytes()[2:]...)
}

// ties FILE sets $TIE1 to $TIE4 to four corners of a picture that has 150
// pixels an inch, as --tie takes them.
func ties(ts *testscript.TestScript, neg bool, args []string) {
	c, _, err := image.DecodeConfig(strings.NewReader(ts.ReadFile(args[0])))
	ts.Check(err)
	w, h := float64(c.Width-40), float64(c.Height-40)
	for i, at := range [4][2]float64{{40, 40}, {w, 40}, {w, h}, {40, h}} {
		ts.Setenv(fmt.Sprintf("TIE%d", i+1), fmt.Sprintf("%g,%g=%.3f,%.3f±0.1", at[0], at[1], at[0]*25.4/150, -at[1]*25.4/150))
	}
}

// Whatever is typed for what is known of the face, parsing ends in finite
// values or in an error of one line.
func FuzzScaleFlags(f *testing.F) {
	for _, s := range []string{"812,405=0,76.35±0.1", "1-2=84.35+-0.05,outside,8", "a4", "210±0.3x297", "99.8,100.1", "-2±0.5", "=,±", "1-2=±"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c := &readCommand{}
		flags := newReadFlags(c)
		for _, name := range []string{"tie", "known", "sheet", "printed", "above", "pcd"} {
			if err := flags.Set(name, s); err != nil && strings.Contains(oneLine(err.Error()), "\n") {
				t.Errorf("more than a line: %q", err)
			}
		}
		numbers := []float64{c.opts.AboveMM, c.opts.AboveU95, c.opts.Printed[0], c.opts.Printed[1], c.opts.PCD}
		for _, tie := range c.opts.Ties {
			numbers = append(numbers, tie.Px.X, tie.Px.Y, tie.MM.X, tie.MM.Y, tie.U95)
		}
		for _, d := range c.opts.Between {
			numbers = append(numbers, d.Value, d.U, d.Pins[0])
		}
		if c.opts.Sheet != nil {
			numbers = append(numbers, c.opts.Sheet.Width, c.opts.Sheet.Height)
		}
		for _, v := range numbers {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%q gives %v", s, numbers)
			}
		}
	})
}
