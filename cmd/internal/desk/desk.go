// Package desk serves one page on which a picture is looked at, read,
// corrected and drawn. It reads as every command does, and makes its files by
// running the commands themselves; its page shows what it is sent and computes
// nothing.
package desk

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"time"

	"boltrose/cmd/internal/read"
)

//go:embed static
var static embed.FS

// Config is what a desk needs of the program it is part of.
type Config struct {
	// Options are those that boltrose read has by flags.
	Options func(flags []string) (read.Options, error)
	// Run is the whole program.
	Run func(args []string, stdout, stderr io.Writer) int

	Flags     []string // of boltrose read, for every picture: profiles
	MaxPixels int64    // of a picture
	MaxBytes  int64    // of a file
	Code      bool     // who opens the page must type a code
	ShowCode  func(code string)
}

// Limits where Config says nothing: an A4 page at 1200 dpi has 139 megapixels.
const (
	DefaultMaxPixels = 150_000_000
	DefaultMaxBytes  = 512 << 20
)

// Desk is a running page.
type Desk struct {
	config Config
	folder string // private; everything uploaded and made lies here
	access *access
	store  *store
	ctx    context.Context
	cancel context.CancelFunc
}

// New makes a desk and its private folder. The caller closes it.
func New(config Config) (*Desk, error) {
	if config.MaxPixels <= 0 {
		config.MaxPixels = DefaultMaxPixels
	}
	if config.MaxBytes <= 0 {
		config.MaxBytes = DefaultMaxBytes
	}
	folder, err := os.MkdirTemp("", "boltrose-desk-") // only its owner may look into it
	if err != nil {
		return nil, fmt.Errorf("no folder for what is worked on: %w", err)
	}
	d := &Desk{config: config, folder: folder}
	d.access = newAccess(config.Code, config.ShowCode)
	d.ctx, d.cancel = context.WithCancel(context.Background())
	d.store = newStore(d)
	return d, nil
}

// Close ends all work and removes the private folder.
func (d *Desk) Close() error {
	d.cancel()
	d.store.wait()
	return os.RemoveAll(d.folder)
}

// Key is what the page must show to be served; it is part of the address.
func (d *Desk) Key() string { return d.access.key }

// Open puts a file of this machine on the desk.
func (d *Desk) Open(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: there is no such file", path)
	case err != nil:
		return fmt.Errorf("%s: cannot be opened: %w", path, err)
	case info.IsDir():
		return fmt.Errorf("%s: is a folder; give the picture files inside it", path)
	}
	_, err = d.store.add(path, path, false)
	return err
}

// Serve answers on the listener until the context ends.
func (d *Desk) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler:           d.handler(),
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		BaseContext:       func(net.Listener) context.Context { return d.ctx },
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	select {
	case err := <-served:
		return err
	case <-ctx.Done():
	}
	d.cancel() // whoever waits for news is sent away
	soon, stop := context.WithTimeout(context.Background(), 3*time.Second)
	defer stop()
	if server.Shutdown(soon) != nil {
		server.Close()
	}
	return nil
}
