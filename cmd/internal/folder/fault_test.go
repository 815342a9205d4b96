package folder

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"boltrose/pattern"
)

// A run in a process of its own, to be killed.
const childSource, childOut, childResume = "BOLTROSE_TEST_SOURCE", "BOLTROSE_TEST_OUT", "BOLTROSE_TEST_RESUME"

func TestMain(m *testing.M) {
	source := os.Getenv(childSource)
	if source == "" {
		os.Exit(m.Run())
	}
	o := plainOptions(source, os.Getenv(childOut))
	o.Resume = os.Getenv(childResume) != ""
	o.Tell = os.Stdout
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	if out, err := Run(ctx, o); err != nil || out.Readings == 0 {
		fmt.Println(out, err)
		os.Exit(1)
	}
}

func child(t testing.TB, source, out string, resume bool) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childSource+"="+source, childOut+"="+out)
	if resume {
		cmd.Env = append(cmd.Env, childResume+"=1")
	}
	return cmd
}

// kills is how often a run is killed. BOLTROSE_KILLS changes it.
func kills(t testing.TB) int {
	t.Helper()
	s := os.Getenv("BOLTROSE_KILLS")
	if s == "" {
		return 50
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A run is killed at 50 random moments, each after a random number of lines and
// a random wait, and goes on: what it leaves is whole at every moment, and in
// the end what an undisturbed run leaves.
func TestKilled(t *testing.T) {
	in := t.TempDir()
	for k := range 2 { // copies with a byte behind their end: other content
		for name, data := range scans() {
			put(t, in, map[string][]byte{fmt.Sprintf("%c/%s", 'a'+k, name): append(bytes.Clone(data), byte(k))})
		}
	}
	whole := t.TempDir()
	start := time.Now()
	if out, err := child(t, in, whole, false).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	took := time.Since(start)
	want := got(t, whole)

	random := rand.New(rand.NewPCG(1, 2))
	out := t.TempDir()
	killed, begun := 0, false
	for i := 0; killed < kills(t); i++ {
		if i > 4*kills(t) {
			t.Fatalf("only %d of %d runs could be killed", killed, i)
		}
		cmd := child(t, in, out, begun)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		kill := time.AfterFunc(time.Duration(random.Float64()*0.6*float64(took)), func() { cmd.Process.Signal(syscall.SIGKILL) })
		err := cmd.Wait()
		kill.Stop()
		var exit *exec.ExitError
		switch {
		case err == nil: // too fast for us: begin anew
			same(t, "a run that was not killed", got(t, out), want)
			out, begun = t.TempDir(), false
			continue
		case errors.As(err, &exit) && exit.Sys().(syscall.WaitStatus).Signal() == syscall.SIGKILL:
			killed++
			begun = true
		default:
			t.Fatal(err)
		}
		for name, data := range got(t, out) {
			base := filepath.Base(name)
			switch {
			case strings.HasPrefix(base, "."): // half written, under another name
			case strings.HasSuffix(base, readingEnd):
				if _, err := pattern.ReadJSON(strings.NewReader(data)); err != nil {
					t.Errorf("%s is not whole: %v", name, err)
				}
			case !strings.HasSuffix(base, ".jsonl") && data != want[name]:
				t.Errorf("%s is not whole", name)
			}
		}
	}
	if text, err := child(t, in, out, true).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	same(t, fmt.Sprintf("after %d kills", killed), got(t, out), want)
}

// Ctrl-C: no more is begun, what is done is whole and need not be done again.
func TestStopped(t *testing.T) {
	in := put(t, t.TempDir(), scans())
	whole, out := t.TempDir(), t.TempDir()
	mustRun(t, plainOptions(in, whole))
	o := plainOptions(in, out)
	o.Jobs = 1
	ctx, stop := context.WithCancel(context.Background())
	o.Tell = writer(func([]byte) { stop() }) // after the first picture
	res, err := Run(ctx, o)
	if err != nil || !res.Stopped || res.Whole() || res.Left == 0 || res.Readings == 0 || res.Readings+res.Left != 4 {
		t.Fatalf("%+v, %v", res, err)
	}
	before := res.Readings
	o = plainOptions(in, out)
	o.Resume = true
	if res := mustRun(t, o); res.Kept != before || res.Readings != 4 {
		t.Errorf("%+v", res)
	}
	same(t, "after a stop", got(t, out), got(t, whole))
}

type writer func([]byte)

func (w writer) Write(b []byte) (int, error) { w(b); return len(b), nil }

// tmpfs mounts a small disk in memory, where the machine lets us.
func tmpfs(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, options); err != nil {
		t.Skip("a disk cannot be mounted here:", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// A full disk stops the run with a word of advice; with room it goes on to what
// it would have been.
func TestDiskFull(t *testing.T) {
	in, whole := put(t, t.TempDir(), scans()), t.TempDir()
	mustRun(t, plainOptions(in, whole))
	for _, kb := range []int{4, 60, 140, 260} { // full at once, or later
		t.Run(fmt.Sprintf("%d kB", kb), func(t *testing.T) {
			out := tmpfs(t, fmt.Sprintf("size=%dk", kb))
			o := plainOptions(in, out)
			res, err := Run(context.Background(), o)
			if err == nil || !strings.Contains(err.Error(), "full") && !strings.Contains(err.Error(), "no space") {
				t.Fatalf("%+v, %v", res, err)
			}
			for name, data := range got(t, out) {
				if strings.HasPrefix(filepath.Base(name), ".") {
					t.Errorf("%s is left behind", name)
				}
				if strings.HasSuffix(name, readingEnd) {
					if _, err := pattern.ReadJSON(strings.NewReader(data)); err != nil {
						t.Errorf("%s: %v", name, err)
					}
				}
			}
			if err := syscall.Mount("none", out, "tmpfs", syscall.MS_REMOUNT, "size=64m"); err != nil {
				t.Fatal(err)
			}
			o.Resume = true
			mustRun(t, o)
			same(t, "with room again", got(t, out), got(t, whole))
		})
	}
}

// Where nothing may be written, that is said before the work.
func TestReadOnly(t *testing.T) {
	in := put(t, t.TempDir(), scans())
	out := tmpfs(t, "size=1m")
	if err := syscall.Mount("none", out, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Skip(err)
	}
	o := plainOptions(in, out)
	o.Tell = writer(func(b []byte) { t.Errorf("work was done: %s", b) })
	if _, err := Run(context.Background(), o); err == nil || !strings.Contains(err.Error(), "no permission to write") {
		t.Errorf("%v", err)
	}
}

// One result that may not be replaced stops nothing.
func TestWriteProtectedResult(t *testing.T) {
	in, out := put(t, t.TempDir(), scans()), t.TempDir()
	if err := os.Mkdir(filepath.Join(out, "pump-1.overlay.png"), 0o777); err != nil { // as good as protected, for root too
		t.Fatal(err)
	}
	res := mustRun(t, plainOptions(in, out))
	if res.Readings != 3 || res.Failed != 1 || !strings.Contains(got(t, out)["summary.csv"], "is a folder") {
		t.Errorf("%+v\n%s", res, got(t, out)["summary.csv"])
	}
}

func TestVanished(t *testing.T) {
	in, out := put(t, t.TempDir(), scans()), t.TempDir()
	o := plainOptions(in, out)
	before := o.Settings
	o.Settings = func(base, folder string) (Settings, error) { // asked once the folder is listed
		os.Remove(filepath.Join(in, "pump-1.png"))
		return before(base, folder)
	}
	res := mustRun(t, o)
	if res.Readings != 3 || res.Failed != 1 || !strings.Contains(got(t, out)["summary.csv"], "was here and is gone") {
		t.Errorf("%+v\n%s", res, got(t, out)["summary.csv"])
	}
}

// A file that is written to while it is read has no reading, until it is quiet.
func TestChanging(t *testing.T) {
	in, out := put(t, t.TempDir(), scans()), t.TempDir()
	path := filepath.Join(in, "pump-1.png")
	var stop atomic.Bool
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			return
		}
		defer f.Close()
		for n := 0; !stop.Load() && n < 1<<24; n++ {
			f.Write([]byte{0})
		}
	}()
	o := plainOptions(in, out)
	res := mustRun(t, o)
	stop.Store(true)
	<-stopped
	if res.Readings != 3 || res.Failed != 1 || !strings.Contains(got(t, out)["summary.csv"], "changed while it was read") {
		t.Errorf("%+v\n%s", res, got(t, out)["summary.csv"])
	}
	o.Resume = true
	if res := mustRun(t, o); res.Readings != 4 || res.Kept != 3 {
		t.Errorf("%+v", res)
	}
}

// Links that lead back up, to nowhere and to themselves.
func TestSymlinkLoops(t *testing.T) {
	in := put(t, t.TempDir(), map[string][]byte{"a/gearbox-1.png": scans()["gearbox-1.png"]})
	for name, to := range map[string]string{"a/up": "..", "a/self": "self", "b": "a", "gone.png": "nowhere.png", "a/abs": in} {
		if err := os.Symlink(to, filepath.Join(in, name)); err != nil {
			t.Skip(err)
		}
	}
	res := mustRun(t, plainOptions(in, t.TempDir()))
	if res.Readings != 1 || res.Failed != 1 {
		t.Errorf("%+v", res)
	}
}

// Two runs at once: the second says who is there, and the first goes on.
func TestTwoRuns(t *testing.T) {
	in, out := put(t, t.TempDir(), scans()), t.TempDir()
	held, err := takeLock(out, Shard{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []Shard{{}, {2, 8}} {
		o := plainOptions(in, out)
		o.Shard = s
		_, err := Run(context.Background(), o)
		if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("another boltrose folder (process %d) is writing to %s", os.Getpid(), out)) {
			t.Errorf("shard %v: %v", s, err)
		}
	}
	if _, err := Merge([]string{out}, ""); err == nil {
		t.Error("merged while a run goes on")
	}
	held.release()
	// Shards may run side by side, the same one twice may not.
	one, err := takeLock(out, Shard{1, 8})
	if err != nil {
		t.Fatal(err)
	}
	two, err := takeLock(out, Shard{2, 8})
	if err != nil {
		t.Error(err)
	}
	if _, err := takeLock(out, Shard{1, 8}); err == nil {
		t.Error("shard 1 runs twice")
	}
	if _, err := takeLock(out, Shard{}); err == nil {
		t.Error("a whole run beside shards")
	}
	one.release()
	two.release()
	mustRun(t, plainOptions(in, out))
	for name := range got(t, out) {
		if strings.HasSuffix(name, ".lock") {
			t.Errorf("%s is left behind", name)
		}
	}
}
