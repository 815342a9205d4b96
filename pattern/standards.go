package pattern

// standard is a published pattern of equally spaced holes. The same rows, with
// how each was come by, are in testdata/flange-patterns.csv; a test holds the
// two together.
type standard struct {
	name   string
	pcd    float64
	inches bool
	holes  int
	source string
}

func (s standard) pcdMM() float64 {
	if s.inches {
		return s.pcd * inch
	}
	return s.pcd
}

var standards = []standard{
	{"ISO 9409-1 31.5-4-M5", 31.5, false, 4, "designation in makers' data sheets"},
	{"ISO 9409-1 40-4-M6", 40, false, 4, "designation in makers' data sheets"},
	{"ISO 9409-1 50-4-M6", 50, false, 4, "table of a gripper maker"},
	{"ISO 9409-1 80-6-M8", 80, false, 6, "table of a gripper maker"},
	{"ISO 9409-1 100-6-M8", 100, false, 6, "designation in makers' data sheets"},
	{"ISO 9409-1 125-6-M10", 125, false, 6, "ISO 9409-1"},
	{"IEC 60072-1 FF165", 165, false, 4, "IEC 60072-1"},
	{"IEC 60072-1 FF215", 215, false, 4, "IEC 60072-1"},
	{"IEC 60072-1 FT85", 85, false, 4, "IEC 60072-1"},
	{"IEC 60072-1 FT100", 100, false, 4, "IEC 60072-1"},
	{"ASME B16.5 NPS 1 class 150", 3.12, true, 4, "public table after ASME B16.5"},
	{"ASME B16.5 NPS 2 class 150", 4.75, true, 4, "public table after ASME B16.5"},
	{"ASME B16.5 NPS 3 class 150", 6.00, true, 4, "public table after ASME B16.5"},
	{"ASME B16.5 NPS 4 class 150", 7.50, true, 8, "public table after ASME B16.5"},
	{"ASME B16.5 NPS 6 class 150", 9.50, true, 8, "public table after ASME B16.5"},
	{"ASME B16.5 NPS 8 class 150", 11.75, true, 8, "public table after ASME B16.5"},
}
