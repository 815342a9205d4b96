package calib

// ChooseLens fits a lens with k1 and k2, and takes p1, p2 and k3 too where
// they make the residuals smaller by more than chance does (F test at 0.1 %)
// and by 2 % at least: what is only just there does more harm outside of the
// points than good among them.
func ChooseLens(views []LensView, widthPx, highPx int) (*Lens, LensFit, error) {
	plain, fit, err := FitLens(views, widthPx, highPx, LensModel{})
	if err != nil {
		return nil, fit, err
	}
	rich, richFit, err := FitLens(views, widthPx, highPx, LensModel{Tangential: true, K3: true})
	if err != nil {
		return plain, fit, nil
	}
	points := 0
	for _, v := range fit.Views {
		points += v.Points
	}
	n := float64(points)
	before, after := n*fit.RMSPx*fit.RMSPx, n*richFit.RMSPx*richFit.RMSPx
	if richFit.RMSPx < 0.98*fit.RMSPx && fTest(before, after, 3, 2*points-6*len(views)-8) < unlikely {
		return rich, richFit, nil
	}
	return plain, fit, nil
}
