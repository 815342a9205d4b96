package samples

import "gonum.org/v1/gonum/spatial/r2"

// Finished are the rubbings of the cider press's drive end that the README
// and the demo show, by the names of their files.
func Finished() []Rubbing {
	base := New(CiderPress(), 1872)
	base.Width, base.Height, base.Turn = 144, 144, 4
	base.StrokeAngle, base.CrossAngle, base.Cross = 38, 64, 0.25
	base.Tone = 0.42
	base.Handwriting = 1
	base.ScaleX, base.ScaleY = 0.0012, -0.0009

	// The scanner shows bare paper as plain white and tells few greys apart:
	// that keeps this file, which lies in the repository, small.
	demo := base
	demo.Name = "cider-press"
	demo.WhitePoint, demo.Levels, demo.Noise = 0.915, 20, 1

	grease := base
	grease.Name, grease.Seed = "cider-press-grease", 1873
	grease.Style = Grease
	grease.Smudges = 7

	chalk := base
	chalk.Name, chalk.Seed = "cider-press-chalk", 1874
	chalk.Style, chalk.Output = Chalk, Colour
	chalk.StrokeAngle, chalk.Cross = 15, 0
	chalk.GrainSize, chalk.StrokeWidth = 1.8, 7

	patches := base
	patches.Name, patches.Seed = "cider-press-patches", 1875
	patches.PatchesOnly, patches.Cross = true, 0
	patches.Smudges = 3
	patches.Paper = Paper{Width: 138, Height: 137, Turn: -2, Lid: 0.55}
	patches.Offset = r2.Vec{X: 1, Y: 2}
	return []Rubbing{demo, grease, chalk, patches}
}
