package main

// What a picture cannot show is taken on trust by every reading, and its ± says
// how far. The study draws such errors as wide as help and README state them,
// as normal distributions with these standard deviations; what it tests is
// everything that is made of them, and all that pictures do show. They are
// written down here once more, and not taken from the reader, so that a reader
// who came to suppose less would be found out.
const (
	scannerScaleU = 0.002  // relative, of either axis of a home scanner
	scannerShearU = 0.0006 // rad, how far its axes are from square

	printU = 0.003 // relative, of either axis of a printer
	dotU   = 0.03  // mm, of a printed dot along either axis
	barU   = 0.1   // mm, of a bar's measured length
	paperU = 0.1   // mm, by which the paper lies above the face
	flatU  = 0.2   // mm, by which it stands off as a whole because it is not flat

	caliperU = 0.025 // mm, of a caliper distance between two holes
	laidU    = 8     // degrees, of how somebody lays a paper on the glass

	// What shows: a second edge round a bore, in a photograph above the first.
	leastChamfer, mostChamfer = 0.2, 1.2 // mm, of a bore's chamfer of 45°: common practice

	drillU = 0.04 // mm, of a hole along either axis: the fine class of ISO 2768-1
)
