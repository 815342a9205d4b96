package desk

import (
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strings"

	"boltrose/cmd/internal/read"
	"boltrose/pattern"

	"gonum.org/v1/gonum/spatial/r2"
)

// edits are what a person said about a picture. Holes are kept by where they
// lie in it, because their numbers change with every hole dropped or added.
type edits struct {
	Drop, Add []read.Added
	Zero      *r2.Vec
	Known     []known
	Flags     map[string]string // of boltrose read, by name; no - before it
}

// known is the distance between two holes, as --known has it behind the =.
type known struct {
	From, To r2.Vec
	Value    string
}

// settable are the flags of boltrose read that a page may set. None of them
// names a file.
var settable = []string{"page", "dpi", "scale-u", "pcd", "holes", "diameter", "pattern", "from-behind", "printed", "above", "sheet", "tie", "units"}

func (e edits) clone() edits {
	e.Drop, e.Add, e.Known = slices.Clone(e.Drop), slices.Clone(e.Add), slices.Clone(e.Known)
	e.Flags = maps.Clone(e.Flags)
	if e.Flags == nil {
		e.Flags = map[string]string{}
	}
	return e
}

// flags are the settings as they are typed, in the order of settable.
func (e edits) flags() []string {
	var out []string
	for _, name := range settable {
		value := e.Flags[name]
		switch {
		case value == "":
		case name == "tie":
			for _, tie := range strings.Fields(value) {
				out = append(out, "--tie="+tie)
			}
		default:
			out = append(out, "--"+name+"="+value)
		}
	}
	return out
}

// edit is one thing that a person does on the page.
type edit struct {
	Do       string
	Mark     int     // index of a mark
	X, Y, D  float64 // px
	From, To int     // numbers of holes
	Value    string
	At       int               // which of a list
	Flags    map[string]string // to be set; "" takes one away
}

// apply returns what is said after an edit. shown is what the person looks at.
func (e edits) apply(do edit, shown outcome) (edits, error) {
	e = e.clone()
	mark := func() (read.Added, error) {
		if shown.res == nil || do.Mark < 0 || do.Mark >= len(shown.res.Marks) {
			return read.Added{}, refused(http.StatusBadRequest, "there is no such circle")
		}
		m := shown.res.Marks[do.Mark]
		return read.Added{Centre: m.Centre, Diameter: 2 * m.Radius}, nil
	}
	hole := func(number int) (r2.Vec, error) {
		if shown.numbers == nil || number < 1 || number > len(shown.numbers) {
			return r2.Vec{}, refused(http.StatusBadRequest, "there is no hole %d", number)
		}
		return shown.numbers[number-1], nil
	}
	switch do.Do {
	case "drop":
		at, err := mark()
		if err != nil {
			return e, err
		}
		e.Add = slices.DeleteFunc(e.Add, near(at))
		e.Drop = append(e.Drop, at)
	case "hole", "add":
		at := read.Added{Centre: r2.Vec{X: do.X, Y: do.Y}, Diameter: do.D}
		if do.Do == "hole" {
			var err error
			if at, err = mark(); err != nil {
				return e, err
			}
		}
		dropped := len(e.Drop)
		e.Drop = slices.DeleteFunc(e.Drop, near(at))
		if do.Do == "hole" && len(e.Drop) < dropped {
			break // it only was dropped
		}
		e.Add = append(e.Add, at)
	case "zero":
		at, err := mark()
		if err != nil {
			return e, err
		}
		e.Zero = &at.Centre
	case "known":
		from, err := hole(do.From)
		if err != nil {
			return e, err
		}
		to, err := hole(do.To)
		if err != nil {
			return e, err
		}
		e.Known = append(e.Known, known{from, to, strings.TrimSpace(do.Value)})
	case "unknown":
		if do.At < 0 || do.At >= len(e.Known) {
			return e, refused(http.StatusBadRequest, "there is no such distance")
		}
		e.Known = slices.Delete(e.Known, do.At, do.At+1)
	case "set":
		for name, value := range do.Flags {
			if !slices.Contains(settable, name) {
				return e, refused(http.StatusBadRequest, "--%s cannot be set here", name)
			}
			value = strings.TrimSpace(value)
			if name == "page" && value != e.Flags[name] {
				e.Drop, e.Add, e.Zero, e.Known = nil, nil, nil, nil // places on the other page
			}
			delete(e.Flags, name)
			if value != "" {
				e.Flags[name] = value
			}
		}
	case "reset":
		return edits{Flags: map[string]string{}}, nil
	default:
		return e, refused(http.StatusBadRequest, "there is nothing called %q to do", do.Do)
	}
	return e, nil
}

// options are those of a reading; with known distances and a hole at 0° the
// picture is read for its holes' numbers first. notes say what was left aside.
func (t *session) options(e edits) (opts read.Options, notes []string, err error) {
	flags := append(slices.Clone(t.store.desk.config.Flags), e.flags()...)
	options := func() error {
		opts, err = t.store.desk.config.Options(flags)
		opts.MaxPixels = t.store.desk.config.MaxPixels
		opts.Add, opts.DropAt = e.Add, e.Drop
		return err
	}
	if err := options(); err != nil || e.Zero == nil && len(e.Known) == 0 {
		return opts, nil, err
	}
	res, _, err := t.seen.Numbers(opts)
	if err != nil {
		return opts, nil, err
	}
	for _, k := range e.Known {
		from, to := holeAt(res.Reading, k.From), holeAt(res.Reading, k.To)
		if from == 0 || to == 0 {
			notes = append(notes, fmt.Sprintf("The distance %s is left aside: one of its holes is no hole any more.", k.Value))
			continue
		}
		flags = append(flags, fmt.Sprintf("--known=%d-%d=%s", from, to, k.Value))
	}
	if err := options(); err != nil {
		return opts, nil, err
	}
	if e.Zero != nil && !opts.Free {
		if opts.Zero = holeAt(res.Reading, *e.Zero); opts.Zero == 0 {
			notes = append(notes, "The hole that was to be 0° is no hole any more; hole 1 is.")
		}
	}
	return opts, notes, nil
}

// holeAt is the number of the hole that lies at a point of the picture; 0 for
// none.
func holeAt(r *pattern.Reading, px r2.Vec) int {
	for _, h := range r.Holes {
		if math.Hypot(h.XPx-px.X, h.YPx-px.Y) < 3 {
			return h.ID
		}
	}
	return 0
}

// command is what gives the same reading on the command line.
func (t *session) command(e edits, o outcome) string {
	args := []string{"boltrose", "read", quoted(t.name)}
	for _, f := range append(slices.Clone(t.store.desk.config.Flags), e.flags()...) {
		args = append(args, quoted(f))
	}
	if o.res != nil {
		for _, at := range e.Drop {
			for i, m := range o.res.Marks {
				if at.Centre == m.Centre {
					args = append(args, fmt.Sprintf("--drop m%d", i+1))
				}
			}
		}
	}
	for _, a := range e.Add {
		args = append(args, fmt.Sprintf("--add %.0f,%.0f,%.0f", a.Centre.X, a.Centre.Y, a.Diameter))
	}
	for _, d := range o.opts.Between {
		for _, k := range e.Known {
			if o.hole(k.From) == d.From && o.hole(k.To) == d.To {
				args = append(args, "--known "+quoted(fmt.Sprintf("%d-%d=%s", d.From, d.To, k.Value)))
				break
			}
		}
	}
	if o.opts.Zero > 0 {
		args = append(args, fmt.Sprintf("--zero %d", o.opts.Zero))
	}
	return strings.Join(args, " ")
}

// quoted is a word as a shell takes it.
func quoted(s string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_=.,±%/+:", r)
	}
	if s != "" && strings.IndexFunc(s, func(r rune) bool { return !plain(r) }) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

// near says which circles mean the same hole as one pointed at.
func near(at read.Added) func(read.Added) bool {
	return func(o read.Added) bool {
		return r2.Norm(r2.Sub(at.Centre, o.Centre)) < math.Max(at.Diameter, o.Diameter)/4
	}
}
