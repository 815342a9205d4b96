package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boltrose/cmd/internal/desk"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	cdpinput "github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// The desk in a real browser. What is waited for is always a condition of the
// page; the limits are for a machine that does nothing.

const browserLimit = 3 * time.Minute

// page is a browser that looks at a desk.
type page struct {
	*testing.T
	ctx       context.Context
	downloads string
	touch     bool
}

// openPage opens a desk and a browser of a size. What the browser complains of
// fails the test.
func openPage(t *testing.T, width, height int64, touch bool) *page {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("BOLTROSE_TESTFILES") != "" {
			t.Fatal("BOLTROSE_TESTFILES is set, and chromium is not installed")
		}
		t.Skip("chromium is not installed")
	}
	address := openDesk(t)
	p := &page{T: t, downloads: t.TempDir(), touch: touch}
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
	p.run(
		chromedp.EmulateViewport(width, height, as...),
		call(browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{
			Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: p.downloads, EventsEnabled: &enabled,
		}),
		chromedp.Navigate(address),
		chromedp.WaitVisible(chromedp.CSS("#welcome")),
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
func openDesk(t *testing.T) string {
	t.Helper()
	d, err := desk.New(desk.Config{Options: deskOptions, Run: run})
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

// screenshot keeps what the page looks like, for a person to look at.
func (p *page) screenshot(name string) {
	p.Helper()
	folder := os.Getenv("BOLTROSE_SCREENSHOTS")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.Log(err)
		return
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		p.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), png, 0o666); err != nil {
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

func TestDeskLook(t *testing.T) {
	p := openPage(t, 1400, 900, false)
	p.screenshot("desk-welcome")
	sample, _ := filepath.Abs("../../samples/cider-press.png")
	p.drop(sample)
	p.screenshot("desk-desktop")
	p.accessible()
}

var _ = io.EOF
