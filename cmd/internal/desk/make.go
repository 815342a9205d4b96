package desk

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/show"
	"boltrose/pattern/thread"
)

// making is what the page asks for of the reading: a file, or what a command
// says.
type making struct {
	What  string            // draw, guard, mate, thread, reading or overlay
	Form  string            // the file's ending; "" where no file is wanted
	Flags map[string]string // of the command, by name
	Part  *part             // that is to go on, where flags do not give it
}

// part is a drawing or a reading of a part.
type part struct{ Name, Text string }

// made is what came of it.
type made struct {
	name string
	data []byte
	said string // what the command prints
	bolt string // the bolt that it names, for the fields that ask for one
}

// makeable are the forms of each command, and the flags that the page may give
// it. None of them names a file.
var makeable = map[string]struct{ forms, flags []string }{
	"draw": {
		[]string{"dxf", "svg", "pdf", "html", "report.pdf", "csv", "gaps.csv", "scad"},
		[]string{"bolt", "fit", "clearance", "allowance", "mirror", "units", "paper", "printed"},
	},
	"guard": {
		[]string{"scad", "stl"},
		[]string{"shaft", "projects", "bolt", "fit", "clearance", "allowance", "socket", "running", "wall", "thickness", "flange", "foot", "at", "vents", "vent-width"},
	},
	"mate": {
		nil,
		[]string{"pcd", "holes", "angles", "flip", "position", "bolt", "fit", "clearance", "face-hole", "diameter", "layer", "drawing-units"},
	},
	"thread":  {nil, []string{"tpi", "pitch", "major", "minor", "flank", "series"}},
	"reading": {[]string{"json"}, nil},
	"overlay": {[]string{"png", "jpg"}, nil},
}

// args are flags as they are typed.
func (m making) args() ([]string, error) {
	can, ok := makeable[m.What]
	if !ok || len(can.forms) > 0 && !slices.Contains(can.forms, m.Form) {
		return nil, refused(http.StatusBadRequest, "no %s is made as %q", m.What, m.Form)
	}
	var args []string
	for _, name := range can.flags {
		if value := strings.TrimSpace(m.Flags[name]); value != "" {
			args = append(args, "--"+name+"="+value)
		}
	}
	for name, value := range m.Flags {
		if !slices.Contains(can.flags, name) {
			return nil, refused(http.StatusBadRequest, "--%s cannot be given here", name)
		}
		if name == "bolt" && strings.Contains(strings.ToLower(value), ".json") { // on the command line it may be a file
			return nil, refused(http.StatusBadRequest, "give the bolt by its size, as M8 or 3/8in")
		}
	}
	return args, nil
}

// make makes what is asked for of the reading that is shown.
func (t *session) make(m making) (out made, err error) {
	args, err := m.args()
	if err != nil {
		return out, err
	}
	folder, err := os.MkdirTemp(t.store.desk.folder, "make-")
	if err != nil {
		return out, err
	}
	defer os.RemoveAll(folder)
	base := strings.TrimSuffix(t.name, filepath.Ext(t.name))
	if base == "" {
		base = "reading"
	}
	in := filepath.Join(folder, "in", base+".json")
	file := filepath.Join(folder, base+"."+m.Form)
	if m.What == "guard" {
		file = filepath.Join(folder, base+"-guard."+m.Form)
	}
	overlay := filepath.Join(folder, "in", "overlay.png")
	if err := os.Mkdir(filepath.Dir(in), 0o700); err != nil {
		return out, err
	}
	withOverlay := m.What == "draw" && (m.Form == "html" || m.Form == "report.pdf")
	drawn, err := t.write(in, overlay, file, m, withOverlay)
	if err != nil {
		return out, err
	}
	var command []string
	switch m.What {
	case "draw":
		command = append([]string{"draw", in, "--to=" + file}, args...)
		if drawn {
			command = append(command, "--overlay="+overlay)
		}
	case "guard":
		command = append([]string{"guard", in, "--output=" + file}, args...)
	case "mate":
		command = append([]string{"mate", in}, args...)
		if m.Part != nil {
			path, err := m.Part.write(folder)
			if err != nil {
				return out, err
			}
			command = append(command, "--with="+path)
		}
	case "thread":
		file = filepath.Join(folder, "thread.json")
		command = append([]string{"thread", "--json=" + file}, args...)
	}
	if command != nil {
		if out.said, err = t.store.desk.run(command, folder); err != nil {
			return out, err
		}
	}
	if m.What == "thread" {
		out.bolt, err = boltOf(file)
		return out, err
	}
	if m.Form != "" {
		if out.data, err = os.ReadFile(file); err != nil {
			return out, err
		}
	}
	out.name = filepath.Base(file)
	return out, nil
}

// write puts the part where a command can read it.
func (p *part) write(folder string) (path string, err error) {
	folder = filepath.Join(folder, "part")
	if err := os.Mkdir(folder, 0o700); err != nil {
		return "", err
	}
	path = filepath.Join(folder, cleanName(p.Name))
	return path, os.WriteFile(path, []byte(p.Text), 0o600)
}

// boltOf is the size of the bolt that a result of boltrose thread names, as a
// flag takes it; "" where it leaves that open.
func boltOf(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	r, err := thread.ReadResult(f)
	if err != nil {
		return "", err
	}
	c, err := r.One()
	if err != nil {
		return "", nil // it may be several: the person decides
	}
	if _, err := thread.ClearanceOf(c.Size); err != nil {
		return fmt.Sprintf("%g", c.Major), nil // no table has it
	}
	return c.Size, nil
}

// write writes what the commands are given: the reading, and its overlay where
// it is asked for and there is a picture.
func (t *session) write(in, overlay, out string, m making, withOverlay bool) (drawn bool, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if m.What == "overlay" || withOverlay && !t.isReading() {
		if t.isReading() {
			return false, refused(http.StatusConflict, "a reading has no picture to draw on")
		}
		if err := t.whole(); err != nil {
			return false, err
		}
		img, err := show.Overlay(t.shown.res, show.OverlayOptions{Unit: t.unit})
		if err != nil {
			return false, err
		}
		path := overlay
		if m.What == "overlay" {
			path = out
		}
		if err := atomicfile.Write(path, func(w io.Writer) error { return show.WritePicture(w, img, path) }); err != nil {
			return false, err
		}
		if m.What == "overlay" {
			return true, nil
		}
		drawn = true
	}
	if m.What == "thread" {
		return false, nil
	}
	if t.shown.reading == nil {
		return false, refused(http.StatusConflict, "there is no reading yet to make it of")
	}
	path := in
	if m.What == "reading" {
		path = out
	}
	return drawn, atomicfile.Write(path, t.shown.reading.WriteJSON)
}

// run runs a command, and says in its own words why it refused. What it says
// names files without the folder that nobody knows.
func (d *Desk) run(args []string, folder string) (said string, err error) {
	var stdout, stderr bytes.Buffer
	code := d.config.Run(args, &stdout, &stderr)
	plain := func(s string) string {
		return strings.NewReplacer(folder+"/in/", "", folder+"/part/", "", folder+"/", "").Replace(s)
	}
	if code != 0 {
		text := strings.TrimPrefix(strings.TrimSpace(plain(stderr.String())), "boltrose: ")
		text = strings.TrimSuffix(text, " (boltrose "+args[0]+" --help lists the flags)")
		if text == "" {
			text = fmt.Sprintf("boltrose %s ended with %d", args[0], code)
		}
		return "", refused(http.StatusUnprocessableEntity, "%s", text)
	}
	return plain(stdout.String()), nil
}
