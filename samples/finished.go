package samples

import "gonum.org/v1/gonum/spatial/r2"

// Finished are the rubbings of the cider press's drive end that the README
// and the demo show, by the names of their files.
func Finished() []Rubbing {
	demo := New(CiderPress(), 1872)
	demo.Name = "cider-press"
	demo.Width, demo.Height = 148, 148
	demo.Turn = 4
	demo.StrokeAngle, demo.CrossAngle, demo.Cross = 38, 64, 0.25
	demo.Tone = 0.42
	demo.Smudges, demo.Handwriting = 3, 1
	demo.ScaleX, demo.ScaleY = 0.0012, -0.0009

	grease := demo
	grease.Name, grease.Seed = "cider-press-grease", 1873
	grease.Style = Grease
	grease.Smudges = 7

	chalk := demo
	chalk.Name, chalk.Seed = "cider-press-chalk", 1874
	chalk.Style, chalk.Output = Chalk, Colour
	chalk.StrokeAngle, chalk.Cross = 15, 0
	chalk.GrainSize, chalk.StrokeWidth = 1.8, 7

	patches := demo
	patches.Name, patches.Seed = "cider-press-patches", 1875
	patches.PatchesOnly, patches.Cross = true, 0
	patches.Paper = Paper{Width: 142, Height: 140, Turn: -2, Lid: 0.55}
	patches.Offset = r2.Vec{X: 1, Y: 2}
	return []Rubbing{demo, grease, chalk, patches}
}
