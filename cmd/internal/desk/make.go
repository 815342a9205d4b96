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
)

// making is a file that the page asks for: made by a command from the reading.
type making struct {
	What  string            // draw, guard, reading or overlay
	Form  string            // the file's ending
	Flags map[string]string // of the command, by name
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
		[]string{"pcd", "holes", "angles", "flip", "position", "bolt", "fit", "clearance", "face-hole"},
	},
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
	for name := range m.Flags {
		if !slices.Contains(can.flags, name) {
			return nil, refused(http.StatusBadRequest, "--%s cannot be given here", name)
		}
	}
	return args, nil
}

// file makes a file of the reading that is shown. said is what the command
// prints.
func (t *session) file(m making) (name string, data []byte, said string, err error) {
	args, err := m.args()
	if err != nil {
		return "", nil, "", err
	}
	folder, err := os.MkdirTemp(t.store.desk.folder, "make-")
	if err != nil {
		return "", nil, "", err
	}
	defer os.RemoveAll(folder)
	base := strings.TrimSuffix(t.name, filepath.Ext(t.name))
	if base == "" {
		base = "reading"
	}
	in := filepath.Join(folder, "in", base+".json")
	out := filepath.Join(folder, base+"."+m.Form)
	if m.What == "guard" {
		out = filepath.Join(folder, base+"-guard."+m.Form)
	}
	overlay := filepath.Join(folder, "in", "overlay.png")
	if err := os.Mkdir(filepath.Dir(in), 0o700); err != nil {
		return "", nil, "", err
	}
	withOverlay := m.What == "draw" && (m.Form == "html" || m.Form == "report.pdf")
	drawn, err := t.write(in, overlay, out, m, withOverlay)
	if err != nil {
		return "", nil, "", err
	}
	var command []string
	switch m.What {
	case "draw":
		command = append([]string{"draw", in, "--to=" + out}, args...)
		if drawn {
			command = append(command, "--overlay="+overlay)
		}
	case "guard":
		command = append([]string{"guard", in, "--output=" + out}, args...)
	case "mate":
		command = append([]string{"mate", in}, args...)
	}
	if command != nil {
		if said, err = t.store.desk.run(command, folder); err != nil {
			return "", nil, "", err
		}
	}
	if m.Form != "" {
		if data, err = os.ReadFile(out); err != nil {
			return "", nil, "", err
		}
	}
	return filepath.Base(out), data, said, nil
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
		return strings.NewReplacer(folder+"/in/", "", folder+"/", "").Replace(s)
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
