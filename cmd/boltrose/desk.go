package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"net"
	"os/exec"
	"os/signal"
	"runtime"
	"strconv"
	"strings"
	"syscall"

	"boltrose/cmd/internal/desk"
	"boltrose/cmd/internal/read"

	"github.com/spf13/pflag"
)

//go:embed help_desk.txt
var helpDesk string

// The desk runs the other commands, and so cannot stand in their table from the
// start.
func init() { commands["desk"] = runDesk }

// deskCommand is what the flags of boltrose desk say.
type deskCommand struct {
	files     []string
	noBrowser bool
	port      int
	listen    string
	maxPixels int64
	scanner   string
	lens      string
}

func runDesk(args []string, stdout, stderr io.Writer) int {
	c, err := parseDesk(args)
	if err == nil {
		err = c.run(stdout, stderr)
	}
	return ended(err, helpDesk, stdout, stderr)
}

func newDeskFlags(c *deskCommand) *pflag.FlagSet {
	f := newFlags("desk")
	f.BoolVar(&c.noBrowser, "no-browser", false, "")
	f.IntVar(&c.port, "port", 0, "")
	f.StringVar(&c.listen, "listen", "", "")
	f.Var(pixelsValue(&c.maxPixels), "max-pixels", "")
	f.StringVar(&c.scanner, "scanner", "", "")
	f.StringVar(&c.lens, "lens", "", "")
	return f
}

func parseDesk(args []string) (*deskCommand, error) {
	c := &deskCommand{}
	f := newDeskFlags(c)
	if err := parseFlags(f, args); err != nil {
		return nil, err
	}
	c.files = f.Args()
	return c, c.check(f)
}

// check refuses flags that cannot be, alone or together.
func (c *deskCommand) check(f *pflag.FlagSet) error {
	given := f.Changed
	switch {
	case c.port < 0 || c.port > 65535:
		return fmt.Errorf("--port is a number from 0 (any that is free) to 65535, not %d", c.port)
	case given("listen") && net.ParseIP(c.listen) == nil:
		return fmt.Errorf("--listen wants an address of this machine, as 192.168.1.20, or 0.0.0.0 for all of them, not %q; the port is --port", c.listen)
	case given("lens") && c.lens == "":
		return errors.New("--lens wants the file of a lens profile")
	case given("scanner") && c.scanner == "":
		return errors.New("--scanner wants the file of a scanner profile")
	}
	return nil
}

func (c *deskCommand) run(stdout, stderr io.Writer) error {
	// From the start: whatever ends the desk, its folder is removed.
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	host := "127.0.0.1"
	if c.listen != "" {
		host = c.listen
	}
	open := c.listen != "" && !net.ParseIP(c.listen).IsLoopback()
	l, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(c.port)))
	if err != nil {
		return fmt.Errorf("the desk cannot be opened at %s, port %d (%v); give another --port, or 0 for any that is free", host, c.port, reasonOf(err))
	}
	d, err := desk.New(desk.Config{
		Options: deskOptions, Run: run, Flags: c.profiles(), MaxPixels: c.maxPixels,
		Code: open, ShowCode: func(code string) { fmt.Fprintf(stderr, "Code for the next device: %s\n", code) },
	})
	if err != nil {
		l.Close()
		return err
	}
	defer d.Close()
	for _, path := range c.files {
		if err := d.Open(path); err != nil {
			l.Close()
			return err
		}
	}
	address := c.address(l, open, d.Key())
	fmt.Fprintln(stdout, address)
	fmt.Fprintln(stderr, "The desk is open; Ctrl+C closes it. What was uploaded is removed then.")
	if open {
		fmt.Fprintln(stderr, "It can be reached from this network, and nothing is encrypted: use it on your own.")
	}
	if !c.noBrowser {
		openBrowser(address, stderr)
	}
	return d.Serve(ctx, l)
}

// address is where the page is; with its key unless a code is asked for.
func (c *deskCommand) address(l net.Listener, open bool, key string) string {
	at := l.Addr().(*net.TCPAddr)
	ip := at.IP
	if ip.IsUnspecified() {
		ip = ownAddress()
	}
	address := "http://" + net.JoinHostPort(ip.String(), strconv.Itoa(at.Port)) + "/"
	if open {
		return address
	}
	return address + "#" + key
}

// ownAddress is this machine's in its network, as far as that can be told;
// else loopback. Nothing is sent.
func ownAddress() net.IP {
	all, err := net.InterfaceAddrs()
	if err == nil {
		for _, a := range all {
			if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
				return n.IP
			}
		}
	}
	return net.IPv4(127, 0, 0, 1)
}

// profiles are the flags of boltrose read that all pictures are read with.
func (c *deskCommand) profiles() []string {
	var flags []string
	if c.scanner != "" {
		flags = append(flags, "--scanner="+c.scanner)
	}
	if c.lens != "" {
		flags = append(flags, "--lens="+c.lens)
	}
	return flags
}

// deskOptions are those that boltrose read has by flags.
func deskOptions(flags []string) (read.Options, error) {
	c, err := parseRead(append(flags[:len(flags):len(flags)], "picture"))
	if errors.Is(err, pflag.ErrHelp) {
		err = errors.New("no help is given here")
	}
	if err != nil {
		return read.Options{}, errors.New(strings.TrimSuffix(err.Error(), " (boltrose read --help lists the flags)"))
	}
	return c.opts, nil
}

// openBrowser shows the page, where the system knows how.
func openBrowser(address string, stderr io.Writer) {
	program := map[string][]string{
		"darwin":  {"open"},
		"windows": {"rundll32", "url.dll,FileProtocolHandler"},
	}[runtime.GOOS]
	if program == nil {
		program = []string{"xdg-open"}
	}
	cmd := exec.Command(program[0], append(program[1:], address)...)
	if err := cmd.Start(); err != nil {
		fmt.Fprintln(stderr, "No browser could be opened: open the address above in one.")
		return
	}
	go cmd.Wait()
}

// reasonOf is a network error without the address that it repeats.
func reasonOf(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}
