//go:build linux

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// The system's own way of opening a page is given the address, key and all;
// where there is none, the person is told to do it.
func TestOpenBrowser(t *testing.T) {
	const address = "http://127.0.0.1:4711/#KEY"
	folder := t.TempDir()
	pipe := filepath.Join(folder, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	script := "#!/bin/sh\necho \"$#:$1\" > " + pipe + "\n"
	if err := os.WriteFile(filepath.Join(folder, "xdg-open"), []byte(script), 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", folder)
	var stderr bytes.Buffer
	openBrowser(address, &stderr)
	said, err := os.ReadFile(pipe) // until the script has written it
	if err != nil || string(said) != "1:"+address+"\n" || stderr.Len() > 0 {
		t.Errorf("the browser is opened with %q, %v; it says %q", said, err, &stderr)
	}

	t.Setenv("PATH", t.TempDir())
	openBrowser(address, &stderr)
	if !strings.Contains(stderr.String(), "open the address above") {
		t.Errorf("without a browser it says %q", &stderr)
	}
}
