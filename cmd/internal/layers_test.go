// Package internal holds what the commands share. Here is only the test that
// keeps the project's parts apart.
package internal

import (
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const (
	module = "boltrose"
	opencv = "gocv.io/x/gocv"
)

// layers are the project's folders and what each may know of the others,
// directly or not. The first that a package lies in counts.
var layers = []struct {
	folder string
	knows  []string // folders, with what lies in them
	opencv bool
	files  bool // may it read and write files?
}{
	{"pattern/circle", nil, false, false},
	{"pattern", []string{"pattern"}, false, false},
	{"vision", []string{"pattern/circle"}, true, true},
	{"calib", []string{"vision", "pattern/circle"}, true, true},
	{"samples", nil, false, true},
	{"cmd/internal/bench", []string{"cmd/internal", "samples", "calib", "vision", "pattern/circle"}, true, true},
	{"cmd/internal/coverage", []string{"cmd/internal", "samples", "calib", "vision", "pattern"}, true, true},
	{"cmd/internal/demo", []string{"samples", "calib", "vision", "pattern/circle"}, true, true},
	{"cmd", []string{"cmd/internal", "calib", "vision", "pattern"}, true, true},
}

func in(pkg, folder string) bool {
	return pkg == folder || strings.HasPrefix(pkg, folder+"/")
}

func TestLayers(t *testing.T) {
	list := exec.Command("go", "list", "-deps", "-json=ImportPath,Imports,Deps,Standard", "./...")
	list.Dir = "../.."
	list.Stderr = os.Stderr
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	dec := json.NewDecoder(strings.NewReader(string(out)))
	seen := 0
	for {
		var p struct {
			ImportPath    string
			Imports, Deps []string
		}
		if err := dec.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		pkg, ours := strings.CutPrefix(p.ImportPath, module+"/")
		if !ours {
			continue
		}
		seen++
		at := -1
		for i, l := range layers {
			if at < 0 && in(pkg, l.folder) {
				at = i
			}
		}
		if at < 0 {
			t.Errorf("%s lies in none of the project's folders", pkg)
			continue
		}
		layer := layers[at]
		for _, dep := range p.Deps {
			if dep == opencv && !layer.opencv {
				t.Errorf("%s must not need OpenCV", pkg)
			}
			if dep, ours := strings.CutPrefix(dep, module+"/"); ours && !knows(layer.folder, layer.knows, dep) {
				t.Errorf("%s must not know %s", pkg, dep)
			}
		}
		for _, imp := range p.Imports {
			if imp == "os" && !layer.files {
				t.Errorf("%s must not touch files (it imports os)", pkg)
			}
		}
	}
	if seen < 5 {
		t.Errorf("only %d of the project's packages were seen", seen)
	}
}

func knows(own string, others []string, dep string) bool {
	if in(dep, own) {
		return true
	}
	for _, o := range others {
		if in(dep, o) {
			return true
		}
	}
	return false
}

// Files from outside are decoded by vision.Open and by nothing else: a crafted
// file can crash imaging's decoders and OpenCV's.
func TestOneWayToDecode(t *testing.T) {
	decoders := regexp.MustCompile(`\b(imaging\.(Open|Decode)|gocv\.IM(Read|Decode)\w*|image\.Decode)\(`)
	seen := 0
	err := filepath.WalkDir("../..", func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "build" || d.Name() == ".git") {
			return filepath.SkipDir
		}
		if filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		seen++
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if found := decoders.Find(src); found != nil {
			t.Errorf("%s decodes by itself: %s", path, found)
		}
		return nil
	})
	if err != nil || seen < 10 {
		t.Errorf("%d files seen, %v", seen, err)
	}
}
