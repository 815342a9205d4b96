package folder

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
	"boltrose/pattern"
	"boltrose/vision"

	"github.com/disintegration/imaging"
)

// kept returns what was found on a picture before, if it still holds: the file
// and the settings are the same, and the results are as they were written.
func (r *run) kept(it Item) ([]*Record, bool) {
	all := r.journal.before(keyOf(it.Name))
	if len(all) == 0 {
		return nil, false
	}
	settings, err := r.settingsFor(it)
	if err != nil {
		return nil, false
	}
	sum, err := fileDigest(it.Path)
	if err != nil {
		return nil, false
	}
	if settings.Read.Page == 0 && len(all) != max(1, all[0].Pages) || settings.Read.Page != 0 && len(all) != 1 {
		return nil, false // not all pages were done
	}
	for i, rec := range all {
		reading, overlay := r.results(it, rec.Page, rec.Pages)
		switch {
		case rec.SHA256 != sum, rec.Settings != settings.Key, rec.Result == failed,
			settings.Read.Page == 0 && rec.Page != i+1,
			rec.Reading != "" && rec.Reading != reading, rec.Overlay != overlay,
			rec.Reading != "" && !r.unchanged(rec.Reading, rec.ReadingSHA256),
			!r.unchanged(rec.Overlay, rec.OverlaySHA256):
			return nil, false
		}
	}
	for i, rec := range all {
		if rec.Part == it.Part {
			continue
		}
		// Others of its part have come or gone: it is told anew.
		full, err := r.journal.full(rec)
		if err != nil {
			return nil, false
		}
		full.Part = it.Part
		all[i] = full
	}
	return all, true
}

func (r *run) unchanged(name, sum string) bool {
	got, err := fileDigest(inFolder(r.out, name))
	return err == nil && got == sum
}

func fileDigest(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// results are the names of a picture's results, from the folder of the results.
func (r *run) results(it Item, page, pages int) (reading, overlay string) {
	stem := it.Stem
	if pages > 1 {
		stem = fmt.Sprintf("%s.page-%d", stem, page)
	}
	return stem + readingEnd, stem + overlayEnd
}

const mostTries = 3 // of a file that changes while it is read

// one reads all pages of a picture file and writes their results. Whatever goes
// wrong with it is in the records.
func (r *run) one(it Item) []*Record {
	var why error
	for range mostTries {
		records, err := r.attempt(it)
		if !errors.Is(err, errChanged) {
			if err != nil {
				records = append(records, failure(it, err))
			}
			return records
		}
		why = err
	}
	return []*Record{failure(it, why)}
}

var errChanged = errors.New("changed while it was read; wait until it is written, then go on with --resume")

func failure(it Item, err error) *Record {
	rec := newRecord(it)
	rec.Page, rec.Result, rec.Reason = 1, failed, oneLine(err.Error())
	rec.full = errors.Is(err, atomicfile.ErrFull)
	return rec
}

func (r *run) attempt(it Item) (records []*Record, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%s: cannot be measured, which is this program's fault (%v)", it.Name, p)
		}
	}()
	settings, err := r.settingsFor(it)
	if err != nil {
		return nil, err
	}
	before, err := os.Stat(it.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: was here and is gone (%v)", it.Name, plain(err))
	}
	unchanged := func() error {
		after, err := os.Stat(it.Path)
		if err != nil {
			return fmt.Errorf("%s: was here and is gone (%v)", it.Name, plain(err))
		}
		if after.Size() != before.Size() || !after.ModTime().Equal(before.ModTime()) || !os.SameFile(before, after) {
			return fmt.Errorf("%s: %w", it.Name, errChanged)
		}
		return nil
	}
	sum, err := fileDigest(it.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be read (%v)", it.Name, plain(err))
	}
	only, pages := settings.Read.Page, 1
	for page := max(1, only); page <= max(pages, only); page++ {
		rec := newRecord(it)
		rec.Page, rec.SHA256, rec.Settings = page, sum, settings.Key
		if err := r.page(it, settings.Read, rec, unchanged); err != nil {
			if changed := unchanged(); changed != nil {
				return nil, changed
			}
			rec.Result, rec.Reason, rec.full = failed, r.reason(it, err), errors.Is(err, atomicfile.ErrFull)
			rec.Reading, rec.Overlay, rec.Thumbnail = "", "", nil
			rec.Pages = max(rec.Pages, pages)
		}
		records = append(records, rec)
		if only != 0 || rec.full {
			break
		}
		pages = rec.Pages
	}
	return records, nil
}

// reason is an error without the way to this machine's file.
func (r *run) reason(it Item, err error) string {
	return oneLine(strings.ReplaceAll(err.Error(), oneLine(it.Path), it.Name))
}

// page reads one page and writes its results.
func (r *run) page(it Item, opts read.Options, rec *Record, unchanged func() error) error {
	pic, err := vision.OpenPage(it.Path, rec.Page, vision.Limits{MaxPixels: opts.MaxPixels})
	if err != nil {
		return err
	}
	rec.Pages = pic.Pages
	res, err := read.Picture(pic, it.Name, opts)
	none := errors.Is(err, pattern.ErrNoPattern) && res != nil
	if err != nil && !none {
		return err
	}
	reading, overlay := r.results(it, rec.Page, rec.Pages)
	var text, picture bytes.Buffer
	if none {
		rec.Result, rec.Reason = noPattern, oneLine(err.Error())
		res.Reading = nil
	} else {
		if err := res.Reading.WriteJSON(&text); err != nil {
			return err
		}
		rec.take(res.Reading)
		rec.Reading, rec.ReadingSHA256 = reading, digest(text.Bytes())
	}
	img, err := show.Overlay(res, show.OverlayOptions{Unit: r.whole.unit()})
	if err != nil {
		return err
	}
	if err := show.WritePicture(&picture, img, overlay); err != nil {
		return err
	}
	rec.Overlay, rec.OverlaySHA256 = overlay, digest(picture.Bytes())
	var thumb bytes.Buffer
	if err := jpeg.Encode(&thumb, imaging.Fit(img, thumbSide, thumbSide, imaging.Box), &jpeg.Options{Quality: 75}); err != nil {
		return err
	}
	rec.Thumbnail = thumb.Bytes()
	if err := unchanged(); err != nil {
		return err
	}
	if rec.Reading != "" {
		if err := r.write(reading, text.Bytes()); err != nil {
			return err
		}
	} else { // of what the picture showed before
		_ = os.Remove(inFolder(r.out, reading))
	}
	return r.write(overlay, picture.Bytes())
}

const thumbSide = 220

func (r *run) write(name string, data []byte) error {
	path := inFolder(r.out, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return fmt.Errorf("%s: cannot be made (%w)", filepath.Dir(path), plain(err))
	}
	return atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// pending is a result that was being written when a run was killed.
var pending = regexp.MustCompile(`^\.(.*\D)\d+$`)

// clean removes what a killed run left half written, of this run's files only.
func (r *run) clean() {
	folders := map[string]map[string]bool{}
	add := func(name string) {
		path := inFolder(r.out, name)
		dir := filepath.Dir(path)
		if folders[dir] == nil {
			folders[dir] = map[string]bool{}
		}
		folders[dir][filepath.Base(path)] = true
	}
	for _, it := range r.todo() {
		reading, overlay := r.results(it, 1, 1)
		add(reading)
		add(overlay)
		if it.Part != "" && r.opts.Shard.Of == 0 {
			add(it.Part + combinedEnd)
		}
	}
	for _, name := range r.tables() {
		add(name)
	}
	for dir, names := range folders {
		entries, err := os.ReadDir(dir)
		if err != nil {
			continue
		}
		for _, e := range entries {
			if m := pending.FindStringSubmatch(e.Name()); m != nil && e.Type().IsRegular() && names[beforePage(m[1])] {
				_ = os.Remove(filepath.Join(dir, e.Name()))
			}
		}
	}
}

var ofPage = regexp.MustCompile(`\.page-\d+(\.(?:reading\.json|overlay\.png))$`)

func beforePage(name string) string { return ofPage.ReplaceAllString(name, "$1") }

func oneLine(s string) string { return show.Plain(s) }
