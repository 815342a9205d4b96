package read_test

import (
	"os"
	"path/filepath"
	"testing"

	"boltrose/cmd/internal/read"
)

// testFile returns the path of a file that is fetched from outside. Where the
// environment says that such files are there, one that is not fails the test;
// otherwise it is skipped.
func testFile(t *testing.T, name string) string {
	t.Helper()
	folder := os.Getenv("BOLTROSE_TESTFILES")
	path := filepath.Join(folder, name)
	if folder == "" {
		path = filepath.Join("..", "..", "..", "build", "testfiles", name)
	}
	if _, err := os.Stat(path); err != nil {
		if folder != "" {
			t.Fatalf("BOLTROSE_TESTFILES is set: %v", err)
		}
		t.Skipf("%v; make build/testfiles/%s fetches it", err, name)
	}
	return path
}

// A real photograph: 24 coins in 4 rows of 6 (skimage.data.coins, in Debian's
// python3-skimage; seen).
func TestCoins(t *testing.T) {
	result, err := read.File(testFile(t, "coins.png"), read.Options{DPI: [2]float64{100, 100}, ScaleU: -1, Free: true})
	if err != nil {
		t.Fatal(err)
	}
	holes := result.Reading.Holes
	if len(holes) != 24 {
		t.Errorf("%d marks, want the 24 coins", len(holes))
	}
	if result.Reading.PitchCircle != nil {
		t.Error("a pitch circle is claimed for coins that lie in rows")
	}
	// In 4 rows of 6: each row's coins lie within a coin's height.
	rows := map[int]int{}
	for _, h := range holes {
		rows[int(h.YPx)*4/result.Picture.Grey.Rect.Dy()]++
	}
	for row := range 4 {
		if rows[row] != 6 {
			t.Errorf("row %d has %d coins, want 6", row+1, rows[row])
		}
	}
	if t.Failed() {
		for _, h := range holes {
			t.Logf("at %.1f, %.1f px, diameter %.1f mm, rim seen %.2f", h.XPx, h.YPx, h.Diameter, h.RimSeen)
		}
	}
}
