package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"boltrose/cmd/internal/folder"
	"boltrose/cmd/internal/read"

	"github.com/BurntSushi/toml"
	"github.com/spf13/pflag"
)

// settable are the keys of a settings file and the flags that they set; the
// values are the flags' own.
var settable = map[string]string{
	"dpi": "dpi", "scale_u": "scale-u", "scanner": "scanner", "sheet": "sheet", "frame": "printed", "above": "above",
	"lens": "lens", "pcd": "pcd", "from_behind": "from-behind", "holes": "holes", "diameter": "diameter",
	"pattern": "pattern", "page": "page", "max_pixels": "max-pixels",
	"bolt": "bolt", "units": "units", "each": "each",
}

// forAll are the keys that count for a whole run.
var forAll = []string{"bolt", "units", "each"}

// settings is how the pictures of a folder are read: the settings files from
// the base down to it, each over the ones above, and the flags over all.
func (c *folderCommand) settings(base, dir string) (folder.Settings, error) {
	own := &folderCommand{}
	f := newFolderFlags(own)
	for _, d := range down(base, dir) {
		if err := applySettings(f, d, d == base); err != nil {
			return folder.Settings{}, err
		}
	}
	if err := parseFlags(f, c.args); err != nil {
		return folder.Settings{}, err
	}
	s, err := own.checked(f)
	if err == nil {
		s.Key, err = settingsKey(s)
	}
	return s, err
}

// down are the folders from base to dir.
func down(base, dir string) []string {
	out := []string{base}
	rel, err := filepath.Rel(base, dir)
	if err != nil || rel == "." || strings.HasPrefix(rel, "..") {
		return out
	}
	for _, step := range strings.Split(rel, string(filepath.Separator)) {
		base = filepath.Join(base, step)
		out = append(out, base)
	}
	return out
}

func applySettings(f *pflag.FlagSet, dir string, base bool) error {
	path := filepath.Join(dir, folder.SettingsFile)
	var keys map[string]any
	if _, err := toml.DecodeFile(path, &keys); errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		var parse toml.ParseError
		if errors.As(err, &parse) {
			return fmt.Errorf("%s, line %d: %s", path, parse.Position.Line, parse.Message)
		}
		return cannotOpen(path, err)
	}
	for key, v := range keys {
		flag, ok := settable[key]
		if !ok {
			return fmt.Errorf("%s: there is no setting %s; the settings are %s", path, key, settingsList())
		}
		if slices.Contains(forAll, key) && !base {
			return fmt.Errorf("%s: %s is for a whole run and belongs into the uppermost folder's %s", path, key, folder.SettingsFile)
		}
		text, err := settingText(v)
		if err == nil && (key == "scanner" || key == "lens") && !filepath.IsAbs(text) {
			text = filepath.Join(dir, text)
		}
		if err == nil {
			err = f.Set(flag, text)
		}
		if err != nil {
			var invalid *pflag.InvalidValueError
			if errors.As(err, &invalid) {
				err = errors.Unwrap(err)
			}
			return fmt.Errorf("%s: %s: %w", path, key, err)
		}
	}
	return nil
}

func settingsList() string {
	var out []string
	for key := range settable {
		out = append(out, key)
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

// settingText writes a value as it would be typed.
func settingText(v any) (string, error) {
	switch v := v.(type) {
	case string:
		return v, nil
	case int64, float64, bool:
		return fmt.Sprint(v), nil
	case []any:
		var parts []string
		for _, p := range v {
			s, err := settingText(p)
			if err != nil {
				return "", err
			}
			parts = append(parts, s)
		}
		return strings.Join(parts, ","), nil
	}
	return "", errors.New("give a text, a number, true or false, or a list of numbers")
}

// settingsKey stands for all that makes a reading beside its picture: options,
// the content of the profiles that they name, the unit of the overlay, and the
// program itself.
func settingsKey(s folder.Settings) (string, error) {
	opts := s.Read
	sum := sha256.New()
	for _, file := range []*string{&opts.ScannerFile, &opts.LensFile} {
		if *file == "" {
			continue
		}
		data, err := os.ReadFile(*file)
		if err != nil {
			return "", cannotOpen(*file, err)
		}
		fmt.Fprintf(sum, "%x\n", sha256.Sum256(data))
		*file = "given"
	}
	if err := folderInto(sum.Write, opts.LensFolder); err != nil {
		return "", err
	}
	opts.LensFolder = ""
	text, err := json.Marshal(struct {
		read.Options
		Unit, Version string
	}{opts, s.Whole.Unit, version()})
	if err != nil {
		return "", err
	}
	sum.Write(text)
	return hex.EncodeToString(sum.Sum(nil))[:32], nil
}

// folderInto writes the files of a folder that need not be there.
func folderInto(write func([]byte) (int, error), dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return cannotOpen(filepath.Join(dir, e.Name()), err)
		}
		digest := sha256.Sum256(data)
		_, _ = write([]byte(e.Name()))
		_, _ = write(digest[:])
	}
	return nil
}
