package samples

// CiderPressBolt is the scan of one of the bolts that held the lost cover: a
// Whitworth bolt of 3/8 inch, worn and not quite clean.
func CiderPressBolt() ThreadScan {
	return ThreadScan{
		Name: "cider-press-bolt", Seed: 1872,
		Screw: Screw{
			Major: 9.46, Pitch: 25.4 / 16, FlankDeg: 55, Depth: 0.64, Round: 0.137,
			Length: 26, Shank: 6, Head: 18, Tall: 6.5,
			Worn: 0.05, Rough: 0.012, Nicks: 3, Grease: 0.25,
		},
		DPI: 600, Turn: 4, Tilt: 0.6, Margin: 4,
		Lid: 0.95, Metal: 0.3, Shine: 0.35, Shadow: 0.12, BlurMM: 0.035, Noise: 1,
		ScaleX: 0.0012, ScaleY: -0.0009,
	}
}
