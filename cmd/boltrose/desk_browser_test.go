package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boltrose/cmd/internal/desk"
	"boltrose/cmd/internal/read"
	"boltrose/pattern"
	"boltrose/pattern/draw"
	"boltrose/samples"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	cdpinput "github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"gonum.org/v1/gonum/spatial/r2"
)

// The desk in a real browser. What is waited for is always a condition of the
// page; the limits are for a machine that does nothing.

const browserLimit = 5 * time.Minute

// page is a browser that looks at a desk.
type page struct {
	testing.TB
	ctx       context.Context
	downloads string
	touch     bool
}

// openPage opens a desk and a browser of a size. What the browser complains of
// fails the test.
func openPage(t testing.TB, width, height int64, touch bool) *page {
	t.Helper()
	chromium := needChromium(t)
	return openBrowserAt(t, chromium, openDesk(t, desk.Config{}), width, height, touch)
}

// openSample opens a page of a size with the sample on it, read.
func openSample(t testing.TB, width, height int64) *page {
	t.Helper()
	p := openPage(t, width, height, false)
	path, err := filepath.Abs("../../samples/cider-press.png")
	if err != nil {
		t.Fatal(err)
	}
	p.drop(path)
	p.holes(6)
	return p
}

// needChromium is where Debian's chromium is.
func needChromium(t testing.TB) string {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("BOLTROSE_TESTFILES") != "" {
			t.Fatal("BOLTROSE_TESTFILES is set, and chromium is not installed")
		}
		t.Skip("chromium is not installed")
	}
	return chromium
}

// openBrowserAt opens a browser at an address.
func openBrowserAt(t testing.TB, chromium, address string, width, height int64, touch bool) *page {
	t.Helper()
	p := &page{TB: t, downloads: t.TempDir(), touch: touch}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.WindowSize(int(width), int(height)))
	if os.Geteuid() == 0 { // as in a container
		options = append(options, chromedp.NoSandbox)
	}
	allocated, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	limited, cancel := context.WithTimeout(allocated, browserLimit)
	t.Cleanup(cancel)
	p.ctx, cancel = chromedp.NewContext(limited)
	t.Cleanup(cancel)
	if err := chromedp.Listen(p.ctx, func(e any) {
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page fails: %s", e.ExceptionDetails.Text+" "+e.ExceptionDetails.Exception.Description)
		case *log.EventEntryAdded:
			if e.Entry.Level == log.EntryLevelError && e.Entry.Source != log.EntrySourceNetwork {
				t.Errorf("the browser complains: %s", e.Entry.Text)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	var as []chromedp.EmulateViewportOption
	if touch {
		as = append(as, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	enabled := true
	if _, err := chromedp.CallBrowser(p.ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{
		Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: p.downloads, EventsEnabled: &enabled,
	}); err != nil {
		t.Fatal(err)
	}
	p.run(
		chromedp.EmulateViewport(width, height, as...),
		chromedp.Navigate(address),
		chromedp.WaitVisible(chromedp.CSS("#welcome:not([hidden]), #enter:not([hidden])")),
	)
	return p
}

// call is a command of the browser's protocol as an action.
func call[P, R any](command cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, params)
		return err
	})
}

// openDesk serves a desk and returns its address with the key.
func openDesk(t testing.TB, config desk.Config) string {
	t.Helper()
	config.Options, config.Run = deskOptions, run
	d, err := desk.New(config)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- d.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	if config.Code {
		return fmt.Sprintf("http://%s/", l.Addr())
	}
	return fmt.Sprintf("http://%s/#%s", l.Addr(), d.Key())
}

func (p *page) run(actions ...chromedp.Action[chromedp.Void]) {
	p.Helper()
	if err := chromedp.Do(p.ctx, actions...); err != nil {
		p.fail(err)
	}
}

func (p *page) fail(err error) {
	p.Helper()
	said, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.getElementById("refusal").textContent + document.getElementById("status").textContent`))
	p.screenshot("failed-" + strings.ReplaceAll(p.Name(), "/", "-"))
	p.Fatalf("%v (the page says %q)", err, said)
}

// until waits for a condition of the page.
func (p *page) until(condition string) {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, time.Minute)
	defer cancel()
	// Not by chromedp.Poll: it evaluates a text, which the page's policy forbids.
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](fmt.Sprintf(
		`new Promise(done => { const look = () => (%s) ? done(true) : requestAnimationFrame(look); look(); })`, condition), chromedp.EvalAwaitPromise))
	if err != nil {
		p.fail(fmt.Errorf("it never came to %s: %w", condition, err))
	}
}

// evaluated is what an expression, or its promise, is on the page.
func evaluated[T any](p *page, expression string) T {
	p.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.fail(fmt.Errorf("%s: %w", expression, err))
	}
	return v
}

func (p *page) text(selector string) string {
	p.Helper()
	return evaluated[string](p, fmt.Sprintf("document.querySelector(%q).textContent", selector))
}

// drop drops a file on the page, as from a folder.
func (p *page) drop(path string) {
	p.Helper()
	data := cdpinput.DragData{Items: []*cdpinput.DragDataItem{}, Files: []string{path}, DragOperationsMask: 1}
	for _, kind := range []cdpinput.DispatchDragEventType{cdpinput.DispatchDragEventTypeDragEnter, cdpinput.DispatchDragEventTypeDragOver, cdpinput.DispatchDragEventTypeDrop} {
		p.run(call(cdpinput.DispatchDragEvent, cdpinput.DispatchDragEventParams{Type: kind, X: 200, Y: 300, Data: &data}))
	}
	p.shown()
}

// shown waits until a file is read and its picture there.
func (p *page) shown() {
	p.Helper()
	p.until(`document.body.dataset.shown && document.querySelector("[data-open='" + document.body.dataset.shown + "']") && !document.querySelector("#look").hidden`)
}

// screenshot keeps what is on the screen, and full the whole page, for a person
// to look at.
func (p *page) screenshot(name string) { p.keep(name+".png", chromedp.CaptureScreenshot()) }
func (p *page) full(name string)       { p.keep(name+".png", chromedp.FullScreenshot(100)) }

func (p *page) keep(name string, take chromedp.Action[[]byte]) {
	p.Helper()
	folder := os.Getenv("BOLTROSE_SCREENSHOTS")
	if folder == "" {
		return
	}
	data, err := chromedp.Run(p.ctx, take)
	if err != nil {
		p.Log(err)
		return
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		p.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name), data, 0o666); err != nil {
		p.Fatal(err)
	}
}

// accessible holds the page against axe-core's rules.
func (p *page) accessible() {
	p.Helper()
	axe, err := os.ReadFile("../internal/desk/testdata/axe.min.js")
	if err != nil {
		p.Fatal(err)
	}
	evaluated[int](p, string(axe)+"\n;0")
	found := evaluated[string](p, `axe.run().then(r => JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, help: v.help, nodes: v.nodes.map(n => n.html.slice(0, 200))}))))`)
	var violations []struct {
		ID, Impact, Help string
		Nodes            []string
	}
	if err := json.Unmarshal([]byte(found), &violations); err != nil {
		p.Fatal(err)
	}
	for _, v := range violations {
		if v.Impact == "serious" || v.Impact == "critical" {
			p.Errorf("%s (%s): %s: %v", v.ID, v.Impact, v.Help, v.Nodes)
		} else {
			p.Logf("%s (%s): %s: %v", v.ID, v.Impact, v.Help, v.Nodes)
		}
	}
}

// spoiled writes the sample with a hole too many, a copy of hole 2 between
// holes 5 and 6, and with hole 4 so faint that it is missed. It returns where
// these two are.
func spoiled(t *testing.T) (path string, extra, faint r2.Vec) {
	t.Helper()
	res, err := read.File("../../samples/cider-press.png", read.Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	img, hole := res.Picture.Grey, func(n int) r2.Vec {
		h := res.Reading.Holes[n-1]
		return r2.Vec{X: h.XPx, Y: h.YPx}
	}
	centre := r2.Vec{X: res.Reading.PitchCircle.XPx, Y: res.Reading.PitchCircle.YPx}
	out := r2.Unit(r2.Sub(r2.Scale(0.5, r2.Add(hole(5), hole(6))), centre))
	extra = r2.Add(centre, r2.Scale(r2.Norm(r2.Sub(hole(2), centre)), out))
	faint = hole(4)
	const reach = 70 // px, of a hole and what is round it
	from := image.NewGray(img.Rect)
	copy(from.Pix, img.Pix)
	for y := -reach; y <= reach; y++ {
		for x := -reach; x <= reach; x++ {
			if math.Hypot(float64(x), float64(y)) > reach {
				continue
			}
			img.Pix[img.PixOffset(int(extra.X)+x, int(extra.Y)+y)] = from.GrayAt(int(hole(2).X)+x, int(hole(2).Y)+y).Y
			i := img.PixOffset(int(faint.X)+x, int(faint.Y)+y)
			img.Pix[i] = uint8(170 + 0.14*(float64(img.Pix[i])-170))
		}
	}
	path = filepath.Join(t.TempDir(), "spoiled.png")
	keepScan(t, path, img, 300)
	return path, extra, faint
}

// keepScan writes a picture as a scanner would.
func keepScan(t testing.TB, path string, img image.Image, dpi float64) {
	t.Helper()
	var b bytes.Buffer
	if err := samples.WritePNG(&b, img, dpi, dpi); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
}

// atPicture is where a point of the picture (px) is on the screen.
func (p *page) atPicture(px r2.Vec) r2.Vec {
	p.Helper()
	at := evaluated[[]float64](p, fmt.Sprintf(`(() => { const m = document.querySelector(".found > g").getScreenCTM(); return [m.a * %g + m.e, m.d * %g + m.f]; })()`, px.X, px.Y))
	return r2.Vec{X: at[0], Y: at[1]}
}

// click clicks a point of the picture, or taps it.
func (p *page) click(px r2.Vec) {
	p.Helper()
	p.run(chromedp.ScrollIntoView(chromedp.CSS("#viewer")))
	at := p.atPicture(px)
	if p.touch {
		p.run(chromedp.TapXY(at.X, at.Y))
		return
	}
	p.run(chromedp.MouseClickXY(at.X, at.Y))
}

func (p *page) press(selector string) {
	p.Helper()
	p.run(chromedp.Click(chromedp.CSS(selector)))
}

// fill types a text into a field in place of what stands there.
func (p *page) fill(selector, text string) {
	p.Helper()
	p.until(fmt.Sprintf(`(() => { const field = document.querySelector(%q); field.focus(); field.select(); return document.activeElement === field; })()`, selector))
	p.run(chromedp.KeyEvent(kb.Delete), chromedp.KeyEvent(text))
}

// holes waits until the table has so many.
func (p *page) holes(n int) {
	p.Helper()
	p.until(fmt.Sprintf(`document.querySelectorAll("#holes tr[data-hole]").length === %d`, n))
}

// download presses what makes a file, and returns it once it is there whole.
func (p *page) download(press func()) []byte {
	p.Helper()
	done := make(chan browser.EventDownloadProgress, 1)
	var name string
	ctx, stop := context.WithCancel(p.ctx)
	defer stop()
	if err := chromedp.ListenBrowser(ctx, func(e any) {
		switch e := e.(type) {
		case *browser.EventDownloadWillBegin:
			name = e.SuggestedFilename
		case *browser.EventDownloadProgress:
			if e.State != browser.DownloadProgressStateInProgress {
				done <- *e
			}
		}
	}); err != nil {
		p.Fatal(err)
	}
	press()
	select {
	case e := <-done:
		if e.State != browser.DownloadProgressStateCompleted {
			p.Fatalf("the download is %s", e.State)
		}
	case <-ctx.Done():
		p.fail(fmt.Errorf("nothing was downloaded"))
	}
	data, err := os.ReadFile(filepath.Join(p.downloads, name))
	if err != nil {
		p.Fatal(err)
	}
	return data
}

// The caliper distance of the tests: between holes 1 and 4 of the cider press,
// by the angles and the pitch circle that it was drawn with.
const pressPCD = 96.0

var pressAngles = []float64{0, 60, 120, 187, 240, 300}

func pressChord(from, to int) float64 {
	return pressPCD * math.Sin((pressAngles[to-1]-pressAngles[from-1])*math.Pi/360)
}

// rightDXF holds a drawing against the face it is of, and against the one that
// the command line gives after the same corrections.
func rightDXF(t *testing.T, data []byte, path string, extra, faint r2.Vec, known string) {
	t.Helper()
	circles, err := draw.ReadDXF(bytes.NewReader(data), 0)
	if err != nil {
		t.Fatal(err)
	}
	holes, err := circles.Holes(6, draw.Pick{Layer: draw.LayerHoles})
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range holes {
		if h.Diameter != 9 { // M8, normal fit, ISO 273
			t.Errorf("hole %d is drawn with %g mm", i+1, h.Diameter)
		}
		for k := range i {
			// Paper and pencil leave some hundredths of a millimetre.
			if got, want := r2.Norm(r2.Sub(h.Centre, holes[k].Centre)), pressChord(k+1, i+1); math.Abs(got-want) > 0.15 {
				t.Errorf("chord %d-%d is %.3f mm, and %.3f mm on the face", k+1, i+1, got, want)
			}
		}
	}
	d, err := parseDistance(known)
	if err != nil {
		t.Fatal(err)
	}
	res, err := read.File(path, read.Options{
		ScaleU: -1, DropAt: []read.Added{{Centre: extra, Diameter: 105}}, Add: []read.Added{{Centre: faint, Diameter: 105}},
		Between: []pattern.Distance{d},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range res.Reading.Holes {
		if off := math.Hypot(h.X-holes[i].Centre.X, h.Y-holes[i].Centre.Y); off > 0.005 {
			t.Errorf("hole %d is %.4f mm from where boltrose read has it", i+1, off)
		}
	}
}

// From a dropped file to the drawing of what was corrected.
func TestDeskWholeWay(t *testing.T) {
	path, extra, faint := spoiled(t)
	known := fmt.Sprintf("1-4=%.2f±0.02", pressChord(1, 4))
	p := openPage(t, 1400, 900, false)
	p.accessible()
	p.screenshot("desktop-1-welcome")
	p.drop(path)
	p.holes(6)
	p.screenshot("desktop-2-read")

	p.click(extra)
	p.until(`document.querySelector("#why").textContent.startsWith("hole 5")`)
	p.until(`document.querySelectorAll(".found .edge").length > 50`)
	p.screenshot("desktop-3-circle")
	p.press("#drop")
	p.holes(5)

	p.press("#add")
	p.screenshot("desktop-4-adding")
	p.click(r2.Add(faint, r2.Vec{X: 9, Y: -7}))
	p.holes(6)
	if got := p.text(`#holes tr[data-hole="4"] td`); !strings.HasPrefix(strings.TrimSpace(got), "187.0") && !strings.HasPrefix(strings.TrimSpace(got), "186.9") {
		t.Errorf("hole 4 is at %s, not at 187°", got)
	}

	p.fill(`#measure [name=from]`, "1")
	p.fill(`#measure [name=to]`, "4")
	p.fill(`#measure [name=value]`, strings.TrimPrefix(known, "1-4="))
	p.press("#measure button")
	p.until(`document.querySelectorAll("#said li button").length === 1`)
	if command := p.text("#command"); !strings.Contains(command, "--known "+known) || !strings.Contains(command, "--drop m") || !strings.Contains(command, "--add ") {
		t.Errorf("the command line is said to be %s", command)
	}

	p.press("#mate button")
	p.until(`document.querySelector("#mated").textContent.includes("does not go on")`)

	p.fill(`#draw [name=bolt]`, "M8")
	data := p.download(func() { p.press(`[data-form=dxf]`) })
	rightDXF(t, data, path, extra, faint, known)
	if page := p.download(func() { p.press(`[data-form=html]`) }); !bytes.Contains(page, []byte("data:image")) {
		t.Error("the report has no picture")
	}
	p.accessible()
	p.screenshot("desktop-5-done")
	p.full("desktop-6-all")

	// Back and forth.
	p.press("#undo")
	p.until(`document.querySelectorAll("#said li button").length === 0`)
	p.press("#undo")
	p.holes(5)
	p.press("#redo")
	p.holes(6)

	if facts := p.text("#words"); !strings.Contains(facts, "M8 (normal fit, 9 mm)") {
		t.Errorf("no bolt is guessed: %s", facts)
	}

	// A row shows its chord and a chord its row.
	p.run(chromedp.Focus(chromedp.CSS(`#chords tr[data-chord="2"] button`)))
	p.until(`document.querySelector('.found .chord.on')?.dataset.chord === "2"`)
	from, to := evaluated[[]float64](p, `document.querySelector('[data-chord="4"] .shape').getAttribute("d").slice(1).split("L")[0].split(",").map(Number)`), evaluated[[]float64](p, `document.querySelector('[data-chord="4"] .shape').getAttribute("d").split("L")[1].split(",").map(Number)`)
	p.click(r2.Scale(0.5, r2.Vec{X: from[0] + to[0], Y: from[1] + to[1]}))
	p.until(`document.querySelector('#chords tr.on')?.dataset.chord === "4"`)
	// So does a row of every pair.
	p.run(chromedp.Click(chromedp.CSS(`#pairs-more summary`)), chromedp.Focus(chromedp.CSS(`#pairs tr[data-chord="2"] button`)))
	p.until(`(() => {
		const ends = document.querySelector('#pairs tr[data-chord="2"] th').textContent.split("–").map(Number);
		const line = document.querySelector(".found .span")?.getAttribute("d").slice(1).split("L").map((p) => p.split(",").map(Number));
		const label = (n) => [...document.querySelectorAll(".found text")].find((t) => t.textContent === String(n)).getBoundingClientRect();
		const m = document.querySelector(".found .span")?.getScreenCTM();
		return line && ends.every((n, i) => {
			const at = new DOMPoint(...line[i]).matrixTransform(m), r = label(n);
			return Math.hypot(at.x - r.x - r.width / 2, at.y - r.y - r.height / 2) < 4;
		});
	})()`)
	p.screenshot("pair")

	// What cannot be is refused in words, and changes nothing.
	p.fill(`#know [name=pcd]`, "wide")
	p.press("#know button")
	p.until(`document.querySelector("#refusal").textContent.includes("pitch circle diameter in mm as 96")`)
	p.holes(6)
}

// The sample as README shows it.
func TestDeskSample(t *testing.T) {
	p := openSample(t, 1240, 900)
	p.press(`#holes tr[data-hole="4"] button`)
	p.until(`document.querySelectorAll(".found .edge").length > 50`)
	if verdict := p.text("#words p"); !strings.HasPrefix(verdict, "Uneven: hole 4 sits") {
		t.Errorf("the verdict is %s", verdict)
	}
	if why := p.text("#why"); !strings.HasPrefix(why, "hole 4, on the pitch circle") {
		t.Errorf("hole 4 is %s", why)
	}
	p.run(chromedp.ScrollIntoView(chromedp.CSS("header")))
	p.screenshot("sample")
}

// On a phone, by touch.
func TestDeskPhone(t *testing.T) {
	path, extra, faint := spoiled(t)
	known := fmt.Sprintf("1-4=%.2f±0.02", pressChord(1, 4))
	p := openPage(t, 390, 844, true)
	p.screenshot("phone-1-welcome")
	p.run(chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{path}))
	p.shown()
	p.holes(6)
	p.click(extra)
	p.until(`document.querySelector("#why").textContent.startsWith("hole 5")`)
	p.screenshot("phone-2-circle")
	p.run(chromedp.Tap(chromedp.CSS("#drop")))
	p.holes(5)
	p.run(chromedp.Tap(chromedp.CSS("#add")))
	p.click(faint)
	p.holes(6)
	p.fill(`#measure [name=from]`, "1")
	p.fill(`#measure [name=to]`, "4")
	p.fill(`#measure [name=value]`, strings.TrimPrefix(known, "1-4="))
	p.run(chromedp.Tap(chromedp.CSS("#measure button")))
	p.until(`document.querySelectorAll("#said li button").length === 1`)
	p.fill(`#draw [name=bolt]`, "M8")
	rightDXF(t, p.download(func() { p.run(chromedp.Tap(chromedp.CSS(`[data-form=dxf]`))) }), path, extra, faint, known)
	if wide := evaluated[int](p, `document.documentElement.scrollWidth`); wide > 390 {
		t.Errorf("the page is %d px wide on a screen of 390", wide)
	}
	p.accessible()
	p.full("phone-3-all")
}

// A phone that has no key types the code.
func TestDeskCode(t *testing.T) {
	chromium := needChromium(t)
	codes := make(chan string, 10)
	address := openDesk(t, desk.Config{Code: true, ShowCode: func(code string) { codes <- code }})
	p := openBrowserAt(t, chromium, address, 390, 844, true)
	p.until(`!document.querySelector("#enter").hidden && document.querySelector("#welcome").hidden`)
	p.accessible()
	p.screenshot("phone-0-code")
	p.fill("#code", "1"+kb.Enter)
	p.until(`document.querySelector("#enter-refusal").textContent.includes("not the code")`)
	code := <-codes
	// One try a second is taken; the page says so, and is asked again.
	p.until(fmt.Sprintf(`(() => {
		const refusal = document.querySelector("#enter-refusal");
		if (!document.querySelector("#enter").hidden && refusal.textContent) {
			refusal.textContent = "";
			document.querySelector("#code").value = %q;
			document.querySelector("#enter").requestSubmit();
		}
		return document.querySelector("#enter").hidden && !document.querySelector("#welcome").hidden;
	})()`, code))
	// It is good once: another browser is not let in by it.
	q := openBrowserAt(t, chromium, address, 390, 844, true)
	q.fill("#code", code+kb.Enter)
	q.until(`document.querySelector("#enter-refusal").textContent.includes("not the code")`)
}

// tabTo presses Tab until something has the focus.
func (p *page) tabTo(selector string) {
	p.Helper()
	for range 250 {
		if evaluated[bool](p, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
			return
		}
		p.run(chromedp.KeyEvent(kb.Tab))
	}
	p.fail(fmt.Errorf("%s is not reached by the keyboard", selector))
}

func (p *page) enter(selector string) {
	p.Helper()
	p.tabTo(selector)
	p.run(chromedp.KeyEvent(kb.Enter))
}

// Without a mouse. Only the system's own dialogue that chooses a file is left
// out.
func TestDeskKeyboard(t *testing.T) {
	path, extra, faint := spoiled(t)
	known := fmt.Sprintf("1-4=%.2f±0.02", pressChord(1, 4))
	p := openPage(t, 1400, 900, false)
	p.tabTo("#files")
	p.run(chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{path}))
	p.shown()
	p.holes(6)

	p.tabTo("#circle")
	p.run(chromedp.KeyEvent("Hole 5"))
	p.until(`document.querySelector("#why").textContent.startsWith("hole 5")`)
	p.enter("#drop")
	p.holes(5)

	for range 4 {
		p.enter("#zoom-in")
	}
	p.enter("#add")
	p.until(`document.activeElement.matches(".openseadragon-canvas")`)
	p.bring(faint)
	p.screenshot("keyboard-adding")
	p.run(chromedp.KeyEvent(kb.Enter))
	p.holes(6)

	p.tabTo("#measure [name=from]")
	p.run(chromedp.KeyEvent("1" + kb.Tab + "4" + kb.Tab))
	p.run(chromedp.KeyEvent(strings.TrimPrefix(known, "1-4=") + kb.Enter))
	p.until(`document.querySelectorAll("#said li button").length === 1`)
	p.tabTo("#draw [name=bolt]")
	p.run(chromedp.KeyEvent("M8"))
	rightDXF(t, p.download(func() { p.enter(`[data-form=dxf]`) }), path, extra, faint, known)
	p.until(`document.querySelector("#status").textContent.includes("is made")`)
	p.run(chromedp.KeyEvent("z", chromedp.KeyModifiers(kb.ModifierCtrl)))
	p.until(`document.querySelectorAll("#said li button").length === 0`)
	p.run(chromedp.KeyEvent("y", chromedp.KeyModifiers(kb.ModifierCtrl)))
	p.until(`document.querySelectorAll("#said li button").length === 1`)
}

// bring moves the picture by arrow keys until a point of it lies under the
// cross, as near as these can.
func (p *page) bring(px r2.Vec) {
	p.Helper()
	middle := evaluated[[]float64](p, `(() => { const r = document.querySelector(".found").getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`)
	for range 200 {
		p.settled()
		off := r2.Sub(p.atPicture(px), r2.Vec{X: middle[0], Y: middle[1]})
		key := ""
		switch {
		case off.X > 21:
			key = kb.ArrowRight
		case off.X < -21:
			key = kb.ArrowLeft
		case off.Y > 21:
			key = kb.ArrowDown
		case off.Y < -21:
			key = kb.ArrowUp
		default:
			return
		}
		p.run(chromedp.KeyEvent(key))
	}
	p.fail(fmt.Errorf("the arrow keys do not bring the picture to %v", px))
}

// settled waits until the picture stands still: for so many frames that a key
// pressed before is surely seen to.
func (p *page) settled() {
	p.Helper()
	p.until(`(() => { const now = document.querySelector(".found > g").getAttribute("transform"); window.still = now === window.before ? window.still + 1 : 0; window.before = now; if (window.still < 15) return false; window.before = null; return true; })()`)
}

// A reading that was saved is opened as the same page, without its picture.
func TestDeskReading(t *testing.T) {
	p := openPage(t, 1400, 900, false)
	path := filepath.Join(t.TempDir(), "press.json")
	res, err := read.File("../../samples/cider-press.png", read.Options{ScaleU: -1})
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(res.Reading.WriteJSON(f), f.Close()); err != nil {
		t.Fatal(err)
	}
	p.run(chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{path}))
	p.holes(6)
	p.until(`document.querySelector("#sketch img").naturalWidth > 0`)
	p.screenshot("desktop-7-reading")
	p.accessible()
	saved := p.download(func() { p.press(`[data-what=reading]`) })
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(saved, want) {
		t.Error("the reading is saved as another than was opened")
	}
}

// Everything that can be taken away is what its ending says, and of the six
// holes of the press.
func TestDeskFiles(t *testing.T) {
	p := openSample(t, 1400, 900)
	p.fill(`#draw [name=bolt]`, "M8")
	p.run(chromedp.Click(chromedp.CSS(`#guard-more summary`)))
	p.fill(`#guard [name=shaft]`, "35")
	p.fill(`#guard [name=projects]`, "40")
	p.fill(`#guard [name=bolt]`, "M8")
	for _, c := range []struct {
		what, form, begins string
		holds              func([]byte) bool
	}{
		{"draw", "dxf", "  0\r\nSECTION", func(data []byte) bool {
			circles, err := draw.ReadDXF(bytes.NewReader(data), 0)
			if err != nil {
				return false
			}
			_, err = circles.Holes(6, draw.Pick{Layer: draw.LayerHoles})
			return err == nil
		}},
		{"draw", "svg", "<?xml", nil},
		{"draw", "pdf", "%PDF-", nil},
		{"draw", "report.pdf", "%PDF-", nil},
		{"draw", "html", "<!DOCTYPE html>", nil},
		{"draw", "csv", "hole,", func(data []byte) bool { return bytes.Count(data, []byte("\n")) == 7 }},
		{"draw", "gaps.csv", "from,to,", func(data []byte) bool { return bytes.Count(data, []byte("\n")) == 7 }},
		{"draw", "scad", "//", nil},
		{"reading", "json", "{", func(data []byte) bool {
			r, err := pattern.ReadJSON(bytes.NewReader(data))
			return err == nil && len(r.Holes) == 6
		}},
		{"overlay", "png", "\x89PNG", func(data []byte) bool { _, _, err := image.Decode(bytes.NewReader(data)); return err == nil }},
		{"guard", "scad", "//", nil},
	} {
		data := p.download(func() { p.press(fmt.Sprintf(`[data-what=%s][data-form="%s"]`, c.what, c.form)) })
		if !bytes.HasPrefix(data, []byte(c.begins)) || c.holds != nil && !c.holds(data) {
			t.Errorf("%s %s is %.200q", c.what, c.form, data)
		}
	}
	if said := p.text("#guarded"); !strings.Contains(said, "lock") {
		t.Errorf("of the guard it says %s", said)
	}
	if _, err := exec.LookPath("openscad"); err == nil {
		data := p.download(func() { p.press(`[data-what=guard][data-form=stl]`) })
		if n := bytes.Count(data, []byte("endfacet")); !bytes.HasPrefix(data, []byte("solid")) && len(data) < 84 || n == 0 && len(data) < 10_000 {
			t.Errorf("the guard's STL has %d bytes, and begins %.80q", len(data), data)
		}
	}
}

// The bolt is found, and a part that exists is tried, from the page.
func TestDeskPart(t *testing.T) {
	p := openSample(t, 1400, 900)
	p.fill(`#thread [name=pitch]`, "1.25")
	p.fill(`#thread [name=major]`, "7.9±0.1")
	p.press("#thread button")
	p.until(`document.querySelector("#mate [name=bolt]").value === "M8" && document.querySelector("#guard [name=bolt]").value === "M8"`)
	if said := p.text("#threaded"); !strings.Contains(said, "M8") || !strings.Contains(said, "not for guessing") {
		t.Errorf("of the thread it says %s", said)
	}

	// Two standards that gauge and calipers cannot tell apart go through the same
	// holes where their diameters are the same; where they aren't, the bolt stays
	// as it was: the person decides.
	p.fill(`#thread [name=pitch]`, "")
	p.fill(`#thread [name=tpi]`, "16")
	p.fill(`#thread [name=major]`, "9.4±0.1")
	p.press("#thread button")
	p.until(`document.querySelector("#mate [name=bolt]").value === "3/8"`)
	if said := p.text("#threaded"); !strings.Contains(said, "3/8-16 UNC or 3/8-16 BSW") {
		t.Errorf("of the thread it says %s", said)
	}
	p.fill(`#thread [name=tpi]`, "")
	p.fill(`#thread [name=major]`, "9.6±0.15")
	p.press("#thread button")
	p.until(`document.querySelector("#threaded").textContent.includes("M10x1.25")`)
	if bolt := evaluated[string](p, `document.querySelector("#mate [name=bolt]").value`); bolt != "3/8" {
		t.Errorf("the bolt is now %s", bolt)
	}
	p.fill(`#mate [name=bolt]`, "M8")

	// A cover drawn from the face's own angles goes on, an even one doesn't.
	cover := func(name string, angles []float64) string {
		var dxf strings.Builder
		dxf.WriteString("0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n")
		for _, a := range angles {
			sin, cos := math.Sincos(a * math.Pi / 180)
			fmt.Fprintf(&dxf, "0\nCIRCLE\n8\nHOLES\n10\n%.4f\n20\n%.4f\n40\n4.5\n", pressPCD/2*cos, pressPCD/2*sin)
		}
		dxf.WriteString("0\nENDSEC\n0\nEOF\n")
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(dxf.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		name   string
		angles []float64
		goes   bool
	}{
		{"cover.dxf", pressAngles, true},
		{"even.dxf", []float64{0, 60, 120, 180, 240, 300}, false},
	} {
		p.run(chromedp.SetUploadFiles(chromedp.CSS("#mate [name=part]"), []string{cover(c.name, c.angles)}))
		p.until(`!document.querySelector("#mate [name=layer]").closest("label").hidden && document.querySelector("#mate [name=fit]").value === ""`)
		p.press("#mate button")
		p.until(fmt.Sprintf(`document.querySelector("#mated").textContent.includes(%q)`, c.name))
		if said := p.text("#mated"); strings.Contains(said, "does not go on") == c.goes || !strings.Contains(said, "9 mm") {
			t.Errorf("%s: %s", c.name, said)
		}
	}
	p.accessible()
	p.full("part")

	// On paper there are no fields and buttons, and the answers stay.
	paper := p.printed("print.pdf")
	for _, want := range []string{"Uneven: hole 4 sits", "From hole to hole", "52.93", "even.dxf", "not for guessing", "lock it out"} {
		if !strings.Contains(paper, want) {
			t.Errorf("on paper there is no %q", want)
		}
	}
	for _, not := range []string{"Undo", "Use it", "Whole picture", "Clearance holes", "Take it away", "drop it"} {
		if strings.Contains(paper, not) {
			t.Errorf("on paper there is %q", not)
		}
	}
}

// printed is the text of the page as it is printed; the pages are kept for a
// person to look at.
func (p *page) printed(name string) string {
	p.Helper()
	var pdf []byte
	print := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		out, err := cdp.Call(ctx, t, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		pdf = out.Data
		return err
	})
	p.run(print)
	path := filepath.Join(p.TempDir(), name)
	if folder := os.Getenv("BOLTROSE_SCREENSHOTS"); folder != "" {
		path = filepath.Join(folder, name)
	}
	if err := os.WriteFile(path, pdf, 0o666); err != nil {
		p.Fatal(err)
	}
	text, err := exec.Command("pdftotext", "-layout", path, "-").Output()
	if err != nil {
		p.Fatal(err)
	}
	return string(text)
}
