package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/samples"
	"boltrose/vision"

	"codeberg.org/go-pdf/fpdf"
)

// served is a desk that listens, and a client that holds its key.
type served struct {
	*testing.T
	desk *Desk
	host string
}

// options is what boltrose read makes of flags, as far as these tests need it.
func options(flags []string) (read.Options, error) {
	o := read.Options{ScaleU: -1}
	for _, f := range flags {
		for name, to := range map[string]*int{"--holes": &o.Holes, "--page": &o.Page} {
			if n, ok := strings.CutPrefix(f, name+"="); ok {
				if _, err := fmt.Sscan(n, to); err != nil {
					return o, fmt.Errorf("%s takes a whole number, not %q", name, n)
				}
			}
		}
	}
	return o, nil
}

func serve(t *testing.T, change func(*Config)) *served {
	t.Helper()
	t.Setenv("TMPDIR", t.TempDir())
	c := Config{Options: options, Run: func(args []string, stdout, stderr io.Writer) int {
		fmt.Fprintf(stderr, "boltrose: %s cannot be drawn\n", args[1])
		return 2
	}}
	if change != nil {
		change(&c)
	}
	d, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(d.folder); !os.IsNotExist(err) {
			t.Errorf("the private folder is still there: %v", err)
		}
	})
	return &served{t, d, l.Addr().String()}
}

// request sends one request; with sets what a browser, or somebody else, would.
func (s *served) request(method, path string, body io.Reader, with func(*http.Request)) (int, http.Header, []byte) {
	s.Helper()
	r, err := http.NewRequest(method, "http://"+s.host+path, body)
	if err != nil {
		s.Fatal(err)
	}
	r.Header.Set(keyHeader, s.desk.Key())
	if method == http.MethodPost && !strings.HasPrefix(path, "/api/files?") {
		r.Header.Set("Content-Type", "application/json")
	}
	if with != nil {
		with(r)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		s.Fatal(err)
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		s.Fatal(err)
	}
	return answer.StatusCode, answer.Header, data
}

func (s *served) upload(name string, data []byte) entry {
	s.Helper()
	status, _, answer := s.request("POST", "/api/files?name="+name, bytes.NewReader(data), nil)
	if status != http.StatusOK {
		s.Fatalf("%d: %s", status, answer)
	}
	var e entry
	if err := json.Unmarshal(answer, &e); err != nil {
		s.Fatal(err)
	}
	return e
}

// settled waits for a file to be read, or refused.
func (s *served) settled(id string) (n news, v view) {
	s.Helper()
	for {
		status, _, data := s.request("GET", fmt.Sprintf("/api/files/%s?known=%d", id, n.Version), nil, nil)
		if status != http.StatusOK {
			s.Fatalf("%d: %s", status, data)
		}
		n = news{}
		if err := json.Unmarshal(data, &n); err != nil {
			s.Fatal(err)
		}
		if n.State == "ready" {
			if err := json.Unmarshal(n.View, &v); err != nil {
				s.Fatal(err)
			}
		}
		if n.State == "ready" || n.State == "refused" {
			return n, v
		}
	}
}

// rubbing renders a small rubbing with 5 holes.
func rubbing(t *testing.T) []byte {
	t.Helper()
	return rubbingOf(t, samples.Keyed(60, []float64{90, 160, 235, 305, 20}, 9))
}

func rubbingOf(t *testing.T, face samples.Face) []byte {
	t.Helper()
	r := samples.New(face, 1)
	r.DPI = 150
	r.Tone, r.PaleAreas, r.Smudges = 0.5, 0, 0
	img, _ := r.Render()
	var b bytes.Buffer
	if err := samples.WritePNG(&b, img, 150, 150); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What does not come from the desk's own page is refused.
func TestHostileRequests(t *testing.T) {
	s := serve(t, nil)
	header := func(name, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(name, value) }
	}
	edit := `{"Do":"undo"}`
	for name, c := range map[string]struct {
		method, path, body string
		with               func(*http.Request)
		status             int
	}{
		"no key":                         {"GET", "/api/files", "", header(keyHeader, ""), 401},
		"another key":                    {"GET", "/api/files", "", header(keyHeader, strings.Repeat("A", 26)), 401},
		"no key for a picture":           {"POST", "/api/files?name=a.png", "x", header(keyHeader, ""), 401},
		"a name made to point here":      {"GET", "/", "", func(r *http.Request) { r.Host = "press.example:80" }, 421},
		"such a name with the key":       {"GET", "/api/files", "", func(r *http.Request) { r.Host = "press.example" }, 421},
		"a name that begins like ours":   {"GET", "/api/files", "", func(r *http.Request) { r.Host = "localhost.example:80" }, 421},
		"no host":                        {"GET", "/api/files", "", func(r *http.Request) { r.Host = "@" }, 421},
		"another site by Origin":         {"POST", "/api/files?name=a.png", "x", header("Origin", "http://press.example"), 403},
		"another port by Origin":         {"POST", "/api/files?name=a.png", "x", header("Origin", "http://127.0.0.1:1"), 403},
		"a file's page by Origin":        {"POST", "/api/files?name=a.png", "x", header("Origin", "null"), 403},
		"another site by Sec-Fetch-Site": {"GET", "/api/files", "", header("Sec-Fetch-Site", "cross-site"), 403},
		"another port by Sec-Fetch-Site": {"GET", "/desk.js", "", header("Sec-Fetch-Site", "same-site"), 403},
		"a form of another site": {"POST", "/", "", func(r *http.Request) {
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			r.Header.Set("Sec-Fetch-Mode", "navigate")
		}, 403},
		"a link to the page": {"GET", "/", "", func(r *http.Request) {
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			r.Header.Set("Sec-Fetch-Mode", "navigate")
		}, 200},
		"a question for leave":       {"OPTIONS", "/api/files", "", header("Origin", "http://press.example"), 403},
		"a form's body":              {"POST", "/api/enter", edit, header("Content-Type", "text/plain"), 415},
		"no code is taken":           {"POST", "/api/enter", `{"Code":"00000000"}`, nil, 403},
		"no such file":               {"GET", "/api/files/ABC", "", nil, 404},
		"a path out of the folder":   {"GET", "/../desk.go", "", nil, 404},
		"a path out, hidden":         {"GET", "/%2e%2e/%2e%2e/desk.go", "", nil, 404},
		"a method that there is not": {"PUT", "/api/files", "", nil, 405},
	} {
		t.Run(name, func(t *testing.T) {
			status, h, data := s.request(c.method, c.path, strings.NewReader(c.body), c.with)
			if status != c.status {
				t.Errorf("%d, want %d: %s", status, c.status, data)
			}
			if h.Get("Access-Control-Allow-Origin") != "" || h.Get("Content-Security-Policy") != policy || h.Get("X-Content-Type-Options") != "nosniff" {
				t.Errorf("headers %v", h)
			}
			if bytes.Contains(data, []byte(s.desk.Key())) || bytes.Contains(data, []byte("goroutine")) {
				t.Errorf("the answer tells %s", data)
			}
		})
	}
}

// The policy names no other origin and no script or style but the page's own.
func TestPolicyIsStrict(t *testing.T) {
	for _, loose := range []string{"unsafe", "*", "http:", "https:", "script-src 'self' "} {
		if strings.Contains(policy, loose) {
			t.Errorf("the policy holds %q", loose)
		}
	}
	for _, name := range []string{"index.html", "desk.js", "picture.js", "ask.js", "desk.css"} {
		data, err := static.ReadFile("static/" + name)
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range []string{"https://", " style=\"", "onclick=\"", "eval(", "innerHTML"} {
			if bytes.Contains(data, []byte(word)) {
				t.Errorf("%s holds %q", name, word)
			}
		}
	}
}

// A code opens the desk once; guessing does not.
func TestCode(t *testing.T) {
	var codes []string
	s := serve(t, func(c *Config) { c.Code, c.ShowCode = true, func(code string) { codes = append(codes, code) } })
	a := s.desk.access
	now := time.Now()
	try := func(code string) (string, int) {
		now = now.Add(2 * tryEvery)
		key, status, _ := a.enter(code, now)
		return key, status
	}
	if key, status := try(codes[0]); key != s.desk.Key() || status != 200 {
		t.Errorf("the code gives %q, %d", key, status)
	}
	if key, status := try(codes[0]); key != "" || status != 403 {
		t.Errorf("a code that was used gives %q, %d", key, status)
	}
	if _, status, _ := a.enter(codes[1], now); status != http.StatusTooManyRequests {
		t.Errorf("at once after a wrong one: %d", status)
	}
	current := codes[len(codes)-1]
	for range mostTries {
		try("1234")
	}
	if codes[len(codes)-1] == current {
		t.Error("after many wrong tries the code is the same")
	}
	if key, _ := try(current); key != "" {
		t.Error("the old code still opens the desk")
	}
	// Over HTTP, from a page of the desk.
	a.mu.Lock()
	a.last = time.Time{}
	a.mu.Unlock()
	status, _, data := s.request("POST", "/api/enter", strings.NewReader(fmt.Sprintf(`{"Code":%q}`, codes[len(codes)-1])), func(r *http.Request) { r.Header.Del(keyHeader) })
	if status != 200 || !bytes.Contains(data, []byte(s.desk.Key())) {
		t.Errorf("%d: %s", status, data)
	}
}

// Files that are no picture, too large or cut short are refused in words that
// name them; nothing of them stays.
func TestRefusedFiles(t *testing.T) {
	good := rubbing(t)
	s := serve(t, func(c *Config) { c.MaxBytes, c.MaxPixels = int64(len(good))+100, 1000*1000 })
	status, _, data := s.request("POST", "/api/files?name=large.png", bytes.NewReader(make([]byte, len(good)+101)), nil)
	if status != http.StatusRequestEntityTooLarge || !bytes.Contains(data, []byte("large.png")) {
		t.Errorf("a large file: %d: %s", status, data)
	}
	if status, _, data := s.request("POST", "/api/files?name=empty.png", strings.NewReader(""), nil); status != 400 || !bytes.Contains(data, []byte("empty")) {
		t.Errorf("an empty file: %d: %s", status, data)
	}
	var wide bytes.Buffer
	if err := samples.WritePNG(&wide, image.NewGray(image.Rect(0, 0, 1001, 1000)), 300, 300); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		data []byte
		says string
	}{
		"wide.png":               {wide.Bytes(), "more than the limit of"},
		"cut.png":                {good[:len(good)/2], "cut.png"},
		"text.png":               {[]byte("How to restore a cider press"), "text.png"},
		"other.json":             {[]byte(`{"schema": "cider"}`), "write the reading again"},
		"broken.json":            {[]byte(`{"schema": `), "no JSON document"},
		"..%2f..%2fetc%2fpasswd": {[]byte("root"), "passwd: "},
	} {
		n, _ := s.settled(s.upload(name, c.data).ID)
		if n.State != "refused" || !strings.Contains(n.Refusal, c.says) || strings.Contains(n.Refusal, s.desk.folder) || strings.Contains(n.Refusal, "/etc") {
			t.Errorf("%s: %s: %s", name, n.State, n.Refusal)
		}
	}
	for _, e := range s.desk.store.list() {
		if status, _, _ := s.request("DELETE", "/api/files/"+e.id, nil, nil); status != 200 {
			t.Errorf("%s is not closed", e.name)
		}
	}
	left, err := os.ReadDir(s.desk.folder)
	if err != nil || len(left) > 0 || s.desk.store.uploaded != 0 {
		t.Errorf("%d files are left, %d bytes counted, %v", len(left), s.desk.store.uploaded, err)
	}
}

// The folder of uploads is private.
func TestFolderIsPrivate(t *testing.T) {
	s := serve(t, nil)
	s.settled(s.upload("a.png", []byte("no picture")).ID)
	info, err := os.Stat(s.desk.folder)
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	files, _ := filepath.Glob(filepath.Join(s.desk.folder, "*"))
	for _, f := range files {
		if info, err := os.Stat(f); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", f, info.Mode(), err)
		}
	}
}

// Edits give what a fresh reading with the same options gives; undo and redo
// go back and forth; what cannot be changes nothing.
func TestEdits(t *testing.T) {
	s := serve(t, nil)
	id := s.upload("press.png", rubbing(t)).ID
	n, v := s.settled(id)
	if n.State != "ready" || v.HoleCount != 5 {
		t.Fatalf("%s: %s %s", n.State, n.Refusal, v.Refusal)
	}
	edit := func(want int, body string) (v view) {
		t.Helper()
		status, _, data := s.request("POST", "/api/files/"+id+"/edit", strings.NewReader(body), nil)
		if status != want {
			t.Fatalf("%s: %d: %s", body, status, data)
		}
		var n news
		if want == 200 {
			if err := json.Unmarshal(data, &n); err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(n.View, &v); err != nil {
				t.Fatal(err)
			}
		}
		return v
	}
	markOf := func(v view, hole int) int {
		for _, m := range v.Scene.Marks {
			if m.Hole == hole {
				return m.Index
			}
		}
		t.Fatalf("there is no hole %d", hole)
		return -1
	}
	second, third := v.Scene.Marks[1].Shape, v.Scene.Marks[2].Shape
	v = edit(200, fmt.Sprintf(`{"Do":"zero","Mark":%d}`, markOf(v, 3)))
	if strings.TrimSpace(v.Holes.Rows[2][1]) != "0" || !strings.Contains(v.Command, "--zero 3") {
		t.Errorf("hole 3 is at %q; %s", v.Holes.Rows[2][1], v.Command)
	}
	// Hole 2 goes, and hole 3, which is now 2, stays at 0°.
	v = edit(200, fmt.Sprintf(`{"Do":"drop","Mark":%d}`, markOf(v, 2)))
	if v.HoleCount != 4 || strings.TrimSpace(v.Holes.Rows[1][1]) != "0" || !strings.Contains(v.Command, "--zero 2") {
		t.Errorf("%d holes, hole 2 at %q; %s", v.HoleCount, v.Holes.Rows[1][1], v.Command)
	}
	dropped := -1
	for _, m := range v.Scene.Marks {
		if m.Shape.X == second.X {
			dropped = m.Index
			if m.Role != "left" || m.Why != "left: dropped by you" {
				t.Errorf("the circle that was dropped is %s: %s", m.Role, m.Why)
			}
		}
	}
	v = edit(200, fmt.Sprintf(`{"Do":"hole","Mark":%d}`, dropped))
	if v.HoleCount != 5 || len(v.Corrections) != 0 || v.Scene.Marks[2].Shape.X != third.X {
		t.Errorf("%d holes after it was taken back, %v", v.HoleCount, v.Corrections)
	}
	// A place pointed at beside the hole is measured, not believed.
	v = edit(200, fmt.Sprintf(`{"Do":"add","X":%g,"Y":%g,"D":%g}`, second.X+5, second.Y-4, 2.1*second.R))
	if v.HoleCount != 5 {
		t.Errorf("%d holes after one was added that is there", v.HoleCount)
	}
	edit(422, `{"Do":"add","X":3,"Y":3,"D":40}`)
	edit(422, `{"Do":"set","Flags":{"holes":"many"}}`)
	edit(400, `{"Do":"set","Flags":{"json":"/tmp/x"}}`)
	edit(400, `{"Do":"set","Flags":{"scanner":"/etc/passwd"}}`)
	edit(400, `{"Do":"drop","Mark":9999}`)
	edit(400, `{"Do":"known","From":0,"To":99,"Value":"3"}`)
	edit(400, `{"Do":"fly"}`)
	edit(400, `{"Do":"undo"`)
	edit(400, `{"Do":"undo","Run":"rm"}`)
	v = edit(200, `{"Do":"set","Flags":{"holes":"6"}}`)
	if v.Sheet != nil || !strings.Contains(v.Refusal, "you expect 6 holes, and 5 can be trusted") || len(v.Scene.Marks) == 0 {
		t.Errorf("with 6 holes expected: %q", v.Refusal)
	}
	v = edit(200, `{"Do":"undo"}`)
	if v.HoleCount != 5 || !v.Redo {
		t.Errorf("%d holes after undoing", v.HoleCount)
	}
	for range 4 {
		v = edit(200, `{"Do":"undo"}`)
	}
	if v.Undo || strings.TrimSpace(v.Holes.Rows[0][1]) != "0" {
		t.Errorf("undone to %v", v.Holes.Rows)
	}
	edit(409, `{"Do":"undo"}`)
}

// Only the files that the page is to make are made, and only by flags that
// name no file; a command's refusal names no folder.
func TestMakeIsBounded(t *testing.T) {
	s := serve(t, nil)
	id := s.upload("press.png", rubbing(t)).ID
	s.settled(id)
	for body, want := range map[string]int{
		`{"What":"draw","Form":"exe"}`:                                           400,
		`{"What":"draw","Form":"../x.dxf"}`:                                      400,
		`{"What":"profile","Form":"json"}`:                                       400,
		`{"What":"draw","Form":"dxf","Flags":{"overlay":"/etc/x"}}`:              400,
		`{"What":"draw","Form":"dxf","Flags":{"to":"/tmp/x.dxf"}}`:               400,
		`{"What":"mate","Flags":{"with":"/etc/passwd"}}`:                         400,
		`{"What":"mate","Flags":{"pcd":"96","holes":"6","bolt":"/etc/x.JSON"}}`:  400,
		`{"What":"draw","Form":"dxf","Flags":{"bolt":"M8,/etc/x.json"}}`:         400,
		`{"What":"mate","Part":{"Name":"../../x.dxf","Text":"0\\nEOF\\n"}}`:      422,
		`{"What":"mate","Part":{"Name":"x.dxf","Text":"","Path":"/etc/passwd"}}`: 400,
		`{"What":"reading","Form":"json"}`:                                       200,
		`{"What":"overlay","Form":"png"}`:                                        200,
		`{"What":"draw","Form":"dxf"}`:                                           422, // by the command, which here draws nothing
	} {
		status, _, data := s.request("POST", "/api/files/"+id+"/make", strings.NewReader(body), nil)
		if status != want || bytes.Contains(data, []byte(s.desk.folder)) {
			t.Errorf("%s: %d, want %d: %.200s", body, status, want, data)
		}
		if want == 422 && !strings.Contains(body, "Part") && !bytes.Contains(data, []byte(`"press.json cannot be drawn"`)) {
			t.Errorf("the refusal is %s", data)
		}
	}
	left, err := filepath.Glob(filepath.Join(s.desk.folder, "make-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("%v is left, %v", left, err)
	}
}

// A picture that nothing gives a scale to has holes with numbers; the distance
// between two of them then gives it.
func TestNoScale(t *testing.T) {
	var without bytes.Buffer
	seen, err := vision.Decode(rubbing(t), vision.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&without, seen.Grey); err != nil {
		t.Fatal(err)
	}
	s := serve(t, func(c *Config) {
		c.Options = func(flags []string) (read.Options, error) {
			o := read.Options{ScaleU: -1}
			for _, f := range flags {
				if k, ok := strings.CutPrefix(f, "--known="); ok {
					d := pattern.Distance{Over: pattern.Centres}
					if _, err := fmt.Sscanf(k, "%d-%d=%g", &d.From, &d.To, &d.Value); err != nil {
						return o, err
					}
					o.Between = append(o.Between, d)
				}
			}
			return o, nil
		}
	})
	id := s.upload("press.png", without.Bytes()).ID
	n, v := s.settled(id)
	if n.State != "ready" || !v.Unscaled || v.Sheet != nil || !strings.Contains(v.Refusal, "no scale") {
		t.Fatalf("%s, unscaled %v: %s", n.State, v.Unscaled, v.Refusal)
	}
	numbers := map[int]bool{}
	for _, m := range v.Scene.Marks {
		numbers[m.Hole] = true
		for _, f := range m.Facts {
			if strings.Contains(f.Name, "mm") {
				t.Errorf("%s is said to have %s %s", m.Name, f.Name, f.Text)
			}
		}
	}
	if !numbers[1] || !numbers[5] {
		t.Errorf("the holes have numbers %v", numbers)
	}
	status, _, data := s.request("POST", "/api/files/"+id+"/make", strings.NewReader(`{"What":"reading","Form":"json"}`), nil)
	if status != http.StatusConflict {
		t.Errorf("a reading without a scale: %d: %.100s", status, data)
	}
	// Holes 1 and 3 lie at 90° and 235° on a pitch circle of 60 mm.
	status, _, data = s.request("POST", "/api/files/"+id+"/edit", strings.NewReader(`{"Do":"known","From":1,"To":3,"Value":"57.22"}`), nil)
	if status != 200 || !bytes.Contains(data, []byte(`"HoleCount":5`)) || !bytes.Contains(data, []byte(`1–3 = 57.22`)) {
		t.Fatalf("%d: %.300s", status, data)
	}
	r := s.desk.store.get(id).shown.reading
	if d := r.PitchCircle.Diameter; math.Abs(d-60) > 0.2 {
		t.Errorf("the pitch circle is %.2f mm", d)
	}
}

// Of a file with several pages each can be looked at. What was corrected on one
// is not carried to another, and comes back with it.
func TestPagesOfAFile(t *testing.T) {
	pdf := fpdf.New("P", "mm", "A4", "")
	for i, n := range []int{5, 7} {
		name := fmt.Sprint(i)
		info := pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(rubbingOf(t, samples.Ring(n, 60, 8))))
		info.SetDpi(150)
		pdf.AddPageFormat("P", fpdf.SizeType{Wd: info.Width(), Ht: info.Height()})
		pdf.ImageOptions(name, 0, 0, info.Width(), info.Height(), false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
	}
	var file bytes.Buffer
	if err := pdf.Output(&file); err != nil {
		t.Fatal(err)
	}
	s := serve(t, nil)
	id := s.upload("scan.pdf", file.Bytes()).ID
	n, v := s.settled(id)
	if n.State != "ready" || v.HoleCount != 5 || v.Page != 1 || v.Pages != 2 {
		t.Fatalf("%s %s: %d holes on page %d of %d", n.State, n.Refusal, v.HoleCount, v.Page, v.Pages)
	}
	edited := func(do string) (v view) {
		t.Helper()
		status, _, data := s.request("POST", "/api/files/"+id+"/edit", strings.NewReader(do), nil)
		if status != 200 {
			t.Fatalf("%s: %d: %.300s", do, status, data)
		}
		var n news
		if err := json.Unmarshal(data, &n); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(n.View, &v); err != nil {
			t.Fatal(err)
		}
		return v
	}
	hole := slices.IndexFunc(v.Scene.Marks, func(m show.SceneMark) bool { return m.Hole > 0 })
	if v = edited(fmt.Sprintf(`{"Do":"drop","Mark":%d}`, v.Scene.Marks[hole].Index)); v.HoleCount != 4 {
		t.Errorf("%d holes when one is dropped", v.HoleCount)
	}
	if v = edited(`{"Do":"set","Flags":{"page":"2"}}`); v.HoleCount != 7 || v.Page != 2 || len(v.Corrections) != 0 {
		t.Errorf("%d holes on page %d, corrected: %v", v.HoleCount, v.Page, v.Corrections)
	}
	for page, want := range map[string]int{"1": http.StatusConflict, "2": http.StatusOK} {
		if status, _, data := s.request("GET", "/api/files/"+id+"/tile/9/0/0?page="+page, nil, nil); status != want {
			t.Errorf("a part of page %s: %d: %.100s", page, status, data)
		}
	}
	if v = edited(`{"Do":"undo"}`); v.HoleCount != 4 || v.Page != 1 || len(v.Corrections) != 1 {
		t.Errorf("%d holes on page %d, corrected: %v", v.HoleCount, v.Page, v.Corrections)
	}
	if status, _, data := s.request("POST", "/api/files/"+id+"/edit", strings.NewReader(`{"Do":"set","Flags":{"page":"3"}}`), nil); status != http.StatusUnprocessableEntity || !bytes.Contains(data, []byte("from 1 to 2")) {
		t.Errorf("page 3: %d: %s", status, data)
	}
}

// Tiles put together are the picture.
func TestTiles(t *testing.T) {
	grey := image.NewGray(image.Rect(0, 0, 1300, 700))
	for i := range grey.Pix {
		grey.Pix[i] = uint8(i % 251)
	}
	ts := newTiles(&vision.Picture{Grey: grey})
	if n := len(ts.levels); n != 12 { // 2¹¹ is the first power of two that holds it
		t.Errorf("%d levels", n)
	}
	for level, size := range map[int]image.Point{11: {1300, 700}, 10: {650, 350}, 9: {325, 175}, 0: {1, 1}} {
		if got := ts.level(level).Rect.Size(); got != size {
			t.Errorf("level %d has %v, not %v", level, got, size)
		}
	}
	white := image.NewGray(image.Rect(0, 0, 3, 3))
	for i := range white.Pix {
		white.Pix[i] = 255
	}
	white.Pix[0] = 51
	if h := halved(white); h.Rect.Size() != (image.Point{2, 2}) || h.Pix[0] != 204 || h.Pix[3] != 255 {
		t.Errorf("halved to %v %v", h.Rect, h.Pix)
	}
	for _, at := range [][3]int{{-1, 0, 0}, {12, 0, 0}, {11, 3, 0}, {11, 0, 2}, {11, -1, 0}, {11, 1 << 40, 0}} {
		if _, err := ts.tile(at[0], at[1], at[2]); err == nil {
			t.Errorf("there is a tile %v", at)
		}
	}
}

// A desk that is full takes no more, keeps nothing of what it refused, and goes
// on once something is closed.
func TestFullDesk(t *testing.T) {
	s := serve(t, nil)
	data := rubbing(t)
	kept := s.upload("press.png", data)
	room := int64(mostUploaded) - int64(len(data)) - 10
	if !s.desk.store.reserve(room) {
		t.Fatal("there is no room")
	}
	counted := s.desk.store.uploaded
	status, _, answer := s.request("POST", "/api/files?name=more.png", bytes.NewReader(data), nil)
	if status != http.StatusInsufficientStorage || !bytes.Contains(answer, []byte("the desk is full")) {
		t.Errorf("%d: %s", status, answer)
	}
	files, err := os.ReadDir(s.desk.folder)
	if err != nil || len(files) != 1 || s.desk.store.uploaded != counted {
		t.Errorf("%d files lie there, %d bytes are counted and not %d, %v", len(files), s.desk.store.uploaded, counted, err)
	}
	if status, _, _ := s.request("DELETE", "/api/files/"+kept.ID, nil, nil); status != http.StatusOK {
		t.Errorf("not closed: %d", status)
	}
	s.upload("more.png", data)
}

// A tile shows its own square of the picture, the last ones what is left.
func TestTileIsItsSquare(t *testing.T) {
	grey := image.NewGray(image.Rect(0, 0, 1300, 700))
	for i := range grey.Pix { // a step of 100 where the second tile has its 64th column
		grey.Pix[i] = 80
		if i%grey.Stride >= tileSize+64 {
			grey.Pix[i] = 180
		}
	}
	ts := newTiles(&vision.Picture{Grey: grey})
	for _, c := range []struct {
		x, y, w, h int
		grey       map[int]uint8 // of columns
	}{
		{0, 0, tileSize, tileSize, map[int]uint8{0: 80, tileSize - 1: 80}},
		{1, 1, tileSize, 700 - tileSize, map[int]uint8{0: 80, 63: 80, 64: 180, tileSize - 1: 180}},
		{2, 1, 1300 - 2*tileSize, 700 - tileSize, map[int]uint8{0: 180}},
	} {
		data, err := ts.tile(11, c.x, c.y)
		if err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if size := img.Bounds().Size(); size != (image.Point{c.w, c.h}) {
			t.Errorf("tile %d,%d is of %v", c.x, c.y, size)
		}
		for column, want := range c.grey {
			got := img.At(column, c.h/2).(color.Gray).Y
			if d := int(got) - int(want); d < -5 || d > 5 {
				t.Errorf("tile %d,%d is %d in column %d, not %d", c.x, c.y, got, column, want)
			}
		}
	}
}

// 50 uploads at once: all are read, in the order in which they came in, and
// few pictures are in memory at a time.
func TestManyUploadsAtOnce(t *testing.T) {
	const n = 50
	s := serve(t, nil)
	data := rubbing(t)
	var together sync.WaitGroup
	ids := make([]string, n)
	for i := range ids {
		together.Go(func() { ids[i] = s.upload(fmt.Sprintf("press-%d.png", i), data).ID })
	}
	together.Wait()
	for _, id := range ids {
		if n, v := s.settled(id); n.State != "ready" || v.HoleCount != 5 {
			t.Errorf("%s: %s %s", id, n.State, n.Refusal)
		}
	}
	if got := len(s.desk.store.list()); got != n {
		t.Errorf("%d files on the desk", got)
	}
}

// The memory of many large pictures is bounded: those not looked at leave it,
// and come back with what was corrected.
func TestPicturesLeaveMemory(t *testing.T) {
	s := serve(t, nil)
	ids := make([]string, 6)
	for i := range ids {
		ids[i] = s.upload("press.png", rubbing(t)).ID
		s.settled(ids[i])
	}
	first := s.desk.store.get(ids[0])
	status, _, data := s.request("POST", "/api/files/"+ids[0]+"/edit", strings.NewReader(`{"Do":"drop","Mark":0}`), nil)
	if status != 200 {
		t.Fatalf("%s", data)
	}
	for _, id := range ids { // as if each were large
		s.desk.store.get(id).pixels.Store(keptPixels / 3)
	}
	last := s.desk.store.get(ids[5])
	last.mu.Lock()
	s.desk.store.used(last)
	last.mu.Unlock()
	in := 0
	for _, id := range ids {
		if s.desk.store.get(id).tiles.Load() != nil {
			in++
		}
	}
	if in > 3 || last.tiles.Load() == nil {
		t.Errorf("%d pictures are in memory", in)
	}
	first.mu.Lock()
	first.forget()
	first.mu.Unlock()
	if status, _, data := s.request("GET", "/api/files/"+ids[0]+"/tile/9/0/0?page=1", nil, nil); status != 200 {
		t.Errorf("%d: %s", status, data)
	}
	status, _, data = s.request("POST", "/api/files/"+ids[0]+"/edit", strings.NewReader(`{"Do":"set","Flags":{"holes":"4"}}`), nil)
	if status != 200 || !bytes.Contains(data, []byte(`"HoleCount":4`)) {
		t.Errorf("%d: %.300s", status, data)
	}
}

// The queue is in order of arrival, tells how many are ahead, and lets those
// go who do not wait.
func TestQueue(t *testing.T) {
	var q queue
	ctx := context.Background()
	if err := q.enter(ctx, nil); err != nil {
		t.Fatal(err)
	}
	var order []int
	var group sync.WaitGroup
	ahead := make([]chan int, 4)
	gone, leave := context.WithCancel(ctx)
	for i := range ahead {
		ahead[i] = make(chan int, 10)
		in := ctx
		if i == 1 {
			in = gone
		}
		group.Go(func() {
			err := q.enter(in, func(n int) { ahead[i] <- n })
			if i == 1 {
				if err == nil {
					t.Error("who left has his turn")
				}
				close(ahead[i])
				return
			}
			order = append(order, i) // one at a time
			q.leave()
		})
		if n := <-ahead[i]; n != i+1 {
			t.Errorf("%d are ahead of number %d", n, i)
		}
	}
	leave()
	for range ahead[1] {
	}
	q.leave()
	group.Wait()
	if fmt.Sprint(order) != "[0 2 3]" {
		t.Errorf("the order was %v", order)
	}
	if err := q.enter(ctx, nil); err != nil {
		t.Error(err)
	}
	runtime.KeepAlive(&q)
}

func TestCleanName(t *testing.T) {
	for name, want := range map[string]string{
		"press.png": "press.png", "../../etc/passwd": "passwd", `C:\scans\press.png`: "press.png", "": "picture", "..": "picture",
		"a\nb.png": "a_b.png", "Größe 1.png": "Größe 1.png",
	} {
		if got := cleanName(name); got != want {
			t.Errorf("%q becomes %q, not %q", name, got, want)
		}
	}
	if n := len([]rune(cleanName(strings.Repeat("ä", 999) + ".png"))); n != maxNameLength {
		t.Errorf("a long name has %d letters", n)
	}
}

func TestQuoted(t *testing.T) {
	for s, want := range map[string]string{"--pcd=96±0.1": "--pcd=96±0.1", "my press.png": "'my press.png'", "it's": `'it'\''s'`, "$(rm)": "'$(rm)'", "": "''"} {
		if got := quoted(s); got != want {
			t.Errorf("%q becomes %s", s, got)
		}
	}
}
