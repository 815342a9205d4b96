package main

import (
	"path/filepath"
	"slices"
	"testing"

	cdpinput "github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r2"

	"boltrose/samples"
)

// A page of 35 megapixels is dragged about and zoomed in the browser: how far
// apart the frames are that it shows meanwhile.
func BenchmarkDeskPan(b *testing.B) {
	page := samples.New(samples.CiderPress(), 1)
	page.DPI, page.Width, page.Height = 600, 210, 297
	img, _ := page.Render()
	path := filepath.Join(b.TempDir(), "page.png")
	keepScan(b, path, img, 600)
	p := openPage(b, 1400, 900, false)
	p.drop(path)
	p.run(chromedp.ScrollIntoView(chromedp.CSS("#viewer")))
	box := evaluated[[]float64](p, `(() => { const r = document.querySelector("#viewer").getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	middle := r2.Vec{X: box[0] + box[2]/2, Y: box[1] + box[3]/2}
	mouse := func(kind cdpinput.DispatchMouseEventType, at r2.Vec, wheel float64) {
		e := cdpinput.DispatchMouseEventParams{Type: kind, X: at.X, Y: at.Y, DeltaX: 1e-6, DeltaY: wheel} // 0 counts as not given
		if kind != cdpinput.DispatchMouseEventTypeMouseWheel {
			e.Button, e.ClickCount = cdpinput.MouseButtonLeft, 1
		}
		p.run(call(cdpinput.DispatchMouseEvent, e))
	}
	var apart []float64 // ms
	for b.Loop() {
		evaluated[bool](p, `(() => { window.frames_ = []; const look = (t) => { if (!frames_) return; frames_.push(t); requestAnimationFrame(look); }; requestAnimationFrame(look); return true; })()`)
		for range 8 { // into the picture
			mouse(cdpinput.DispatchMouseEventTypeMouseWheel, middle, -120)
		}
		for turn := range 4 {
			mouse(cdpinput.DispatchMouseEventTypeMousePressed, middle, 0)
			at := middle
			for range 40 {
				at = r2.Add(at, r2.Vec{X: []float64{5, 0, -5, 0}[turn], Y: []float64{0, 5, 0, -5}[turn]})
				mouse(cdpinput.DispatchMouseEventTypeMouseMoved, at, 0)
			}
			mouse(cdpinput.DispatchMouseEventTypeMouseReleased, at, 0)
		}
		for range 8 { // and out again
			mouse(cdpinput.DispatchMouseEventTypeMouseWheel, middle, 120)
		}
		times := evaluated[[]float64](p, `(() => { const f = frames_; window.frames_ = null; return f; })()`)
		for i := 1; i < len(times); i++ {
			apart = append(apart, times[i]-times[i-1])
		}
	}
	slices.Sort(apart)
	b.ReportMetric(apart[len(apart)/2], "ms-between-frames")
	b.ReportMetric(apart[len(apart)*99/100], "ms-99th")
	b.ReportMetric(apart[len(apart)-1], "ms-longest")
}
