package read_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/samples"
	"boltrose/vision"
)

// The population that is held to account: three cycles over every effect.
// Others can be looked at with
//
//	BOLTROSE_POPULATION_SEED=2 BOLTROSE_POPULATION=264 go test -run Population -v ./cmd/internal/read
const (
	populationSeed  = 1
	populationCount = 132
)

// Rendered rubbings over every effect are read, and what was read is held
// against what was rendered.
func TestPopulation(t *testing.T) {
	seed := fromEnv(t, "BOLTROSE_POPULATION_SEED", populationSeed)
	count := fromEnv(t, "BOLTROSE_POPULATION", populationCount)
	outcomes := readAll(t, samples.Population(count, uint64(seed)))

	t.Logf("\n%s\n%s\n%s", tableOf(outcomes, effectOf), tableOf(outcomes, dpiOf), coverageOf(outcomes))

	for _, o := range outcomes {
		if o.missed > 0 || o.extra > 0 {
			t.Errorf("%s: %d of %d holes missed, %d extra\n%s", o.name, o.missed, o.holes, o.extra, strings.Join(o.notes, "\n"))
		}
	}
	for dpi, limit := range map[string]float64{"150 dpi": 0.05, "300 dpi": 0.025} {
		total := sum(outcomes, func(o outcome) bool { return dpiOf(o) == dpi })
		if rms := total.rms(); !(rms <= limit) {
			t.Errorf("%s: centre error %.4f mm rms in x and y, want at most %g", dpi, rms, limit)
		}
	}
	total := sum(outcomes, everyOne)
	for _, c := range []struct {
		what string
		held tally
	}{{"chords", total.chords}, {"angles", total.angles}} {
		if share := c.held.share(); !(share >= 0.90 && share <= 0.99) {
			t.Errorf("%s: %s lie within their ±, want 90 %% to 99 %%", c.what, c.held)
		}
	}
}

func fromEnv(t *testing.T, name string, unset int) int {
	s := os.Getenv(name)
	if s == "" {
		return unset
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q: this is to be a number above zero", name, s)
	}
	return n
}

// readAll reads one rubbing for each processor at a time, which bounds the
// memory.
func readAll(t *testing.T, rubbings []samples.Rubbing) []outcome {
	outcomes := make([]outcome, len(rubbings))
	folder := t.TempDir()
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				var file string
				if i%4 == 0 { // the others as they are: writing files takes its time
					file = filepath.Join(folder, fmt.Sprintf("%03d.png", i))
				}
				o, err := readOne(rubbings[i], file)
				if err != nil {
					t.Errorf("%s: %v", rubbings[i].Name, err)
				}
				outcomes[i] = o
			}
		})
	}
	for i := range rubbings {
		next <- i
	}
	close(next)
	wg.Wait()
	return outcomes
}

// readOne renders a rubbing and reads it, through a PNG file if one is named.
func readOne(r samples.Rubbing, file string) (outcome, error) {
	img, truth := r.Render()
	result, err := func() (*read.Result, error) {
		if file == "" {
			return read.Picture(pictureOf(img, truth.DPI), "rendered", read.Options{ScaleU: -1})
		}
		var png bytes.Buffer
		if err := samples.WritePNG(&png, img, truth.DPI, truth.DPI); err != nil {
			return nil, err
		}
		if err := os.WriteFile(file, png.Bytes(), 0o600); err != nil {
			return nil, err
		}
		defer os.Remove(file)
		return read.File(file, read.Options{ScaleU: -1})
	}()
	reading := &pattern.Reading{} // of which all holes are missed
	if err == nil {
		reading = result.Reading
	}
	o := compare(r, truth, reading)
	if errors.Is(err, pattern.ErrNoPattern) {
		o.notes = append(o.notes, err.Error())
		err = nil
	}
	return o, err
}

func pictureOf(img image.Image, dpi float64) *vision.Picture {
	grey, ok := img.(*image.Gray)
	if !ok {
		grey = image.NewGray(img.Bounds())
		draw.Draw(grey, grey.Rect, img, img.Bounds().Min, draw.Src)
	}
	return &vision.Picture{Grey: grey, Format: "png", DPI: [2]float64{dpi, dpi}, DPISource: "as rendered"}
}
