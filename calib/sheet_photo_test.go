package calib

import (
	"image"
	"image/draw"
	"math"
	"testing"

	"boltrose/samples"
	"boltrose/vision"

	"gonum.org/v1/gonum/spatial/r2"
)

// A photographed rubbing is itself a sheet of known size: an A4 sheet with a
// rubbing on it, on old boards, through a lens with distortion and with a lamp
// from one side, seen ray by ray. Lengths on it are right to 0.2 %, where the
// cut's tolerance allows 1.1 %.
func TestPhotographedRubbingIsASheet(t *testing.T) {
	r := samples.New(samples.Keyed(60, []float64{90, 160, 235, 305, 20}, 9), 3)
	r.DPI = 100
	rubbing, _ := r.Render()
	p := samples.NewPhoto(samples.Face{}, 3)
	p.NoFace, p.Ground = true, samples.Bench
	p.Camera.Tilt, p.Camera.Toward, p.Camera.Turn, p.Camera.K1 = 22, 250, 4, -0.03
	p.Camera.Distance = 430
	p.Camera = p.Camera.Scaled(0.35)
	p.Sheet = &samples.Sheet{Width: 210, Height: 297, Picture: rubbing}
	img, truth := p.Render()
	grey := image.NewGray(img.Rect)
	draw.Draw(grey, grey.Rect, img, img.Rect.Min, draw.Src)
	size, err := ParseSheet("a4")
	if err != nil {
		t.Fatal(err)
	}
	plane, fit, err := Sheet(&vision.Picture{Grey: grey, Format: "jpeg"}, SheetSet{Size: size})
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for _, pair := range [][2]r2.Vec{{{X: -60}, {X: 60}}, {{Y: -90}, {Y: 90}}, {{X: -60, Y: -80}, {X: 60, Y: 80}}, {{X: 60, Y: -80}, {X: -60, Y: 80}}} {
		got := r2.Norm(r2.Sub(plane.MM(truth.SheetToPx(pair[0])), plane.MM(truth.SheetToPx(pair[1]))))
		worst = max(worst, math.Abs(got/r2.Norm(r2.Sub(pair[0], pair[1]))-1))
	}
	t.Logf("lengths off by %.4f %% at most; rms %.2f px, k1 %.3f ± %.3f, tilt %.1f°, bows %.2f mm, %q", 100*worst, fit.RMSPx, fit.K1, fit.UK1, fit.TiltDeg, fit.BowMM, fit.Warnings)
	if worst > 0.002 || math.Abs(fit.TiltDeg-22) > 2 || len(fit.Warnings) > 0 {
		t.Errorf("lengths off by %.3f %%, tilt %.1f°, %q", 100*worst, fit.TiltDeg, fit.Warnings)
	}
}
