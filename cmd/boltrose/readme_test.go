package main

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the README shows is what the program prints and draws.
func TestReadmeExample(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir("../..")
	overlay := filepath.Join(t.TempDir(), "found.png")
	var stdout, stderr bytes.Buffer
	if code := run([]string{"read", "samples/cider-press.png", "--overlay", overlay}, &stdout, &stderr); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr.String())
	}
	table, _, _ := strings.Cut(stdout.String(), "\n± is")
	for _, line := range strings.Split(table, "\n") {
		if line != "" && !strings.Contains(string(readme), "\n    "+line+"\n") {
			t.Errorf("README.md lacks the line: %s", line)
		}
	}
	now, bytesNow := overlayAt(t, overlay)
	then, _ := overlayAt(t, "samples/cider-press-overlay.png")
	differ := 0
	for i := range min(len(now.Pix), len(then.Pix)) {
		if now.Palette[now.Pix[i]] != then.Palette[then.Pix[i]] {
			differ++
		}
	}
	// Processors round smooth edges differently, which a number that changed exceeds.
	if now.Rect != then.Rect || differ > 50 {
		t.Errorf("samples/cider-press-overlay.png differs in %d pixels from what is drawn now; DEVELOPERS.md says how to make it again", differ)
	}
	if bytesNow > 500_000 {
		t.Errorf("the overlay has %d bytes, too many for the repository", bytesNow)
	}
}

func overlayAt(t *testing.T, path string) (img *image.Paletted, size int) {
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	decoded, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	img, ok := decoded.(*image.Paletted)
	if !ok {
		t.Fatalf("%s is a %T", path, decoded)
	}
	return img, len(data)
}
