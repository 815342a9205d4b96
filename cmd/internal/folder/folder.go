// Package folder reads all pictures of a folder: a reading and an overlay for
// each, and tables of all of them. What is done stays whole whatever happens,
// and what is done once need not be done again.
package folder

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"

	"boltrose/cmd/internal/atomicfile"
	"boltrose/cmd/internal/read"
	"boltrose/cmd/internal/show"
)

// Options is what a person may say about a run.
type Options struct {
	Sources []string  // a folder, files and patterns of names, or - for a list
	List    io.Reader // the list

	Out    string // where the results go; "": beside the pictures
	Jobs   int    // pictures read side by side, each on a processor of its own; 0: all
	Resume bool   // leave alone what is done and has not changed
	Shard  Shard

	// Settings is how the pictures of a folder are read, of a run whose
	// pictures all lie in the folder base.
	Settings func(base, folder string) (Settings, error)

	Tell io.Writer // how far the run is

	watch bool // pictures may be still to come
}

// Settings is how a picture is read.
type Settings struct {
	Read read.Options
	Key  string // stands for all that a reading depends on beside its picture

	Whole Whole // the base folder's counts
}

// Whole is what is the same for all pictures of a run.
type Whole struct {
	Each bool // every picture is a part of its own; else gearbox-1 and gearbox-2 are of one
	Bolt Bolt
	Unit string // mm or in
}

func (w Whole) unit() show.Unit {
	if w.Unit == show.Inch.Name {
		return show.Inch
	}
	return show.MM
}

// Outcome is how a run ended.
type Outcome struct {
	Readings, Without, Failed int // pictures with a reading, without a pattern, and not read
	Kept                      int // of these, done before
	Stopped                   bool
	Left                      int      // not begun when it was stopped
	Summary                   string   // the table for a person; "" where none was written
	Skipped                   int      // files that are no pictures
	Problems                  []string // folders that cannot be opened
}

// Whole tells whether every picture has its reading.
func (o *Outcome) Whole() bool {
	return o.Without == 0 && o.Failed == 0 && !o.Stopped && len(o.Problems) == 0
}

// Run reads what the options name. It ends early, with all results whole, when
// the context is done.
func Run(ctx context.Context, opts Options) (*Outcome, error) {
	r, err := begin(opts)
	if err != nil {
		return nil, err
	}
	defer r.end()
	todo := r.todo()
	if err := r.work(ctx, todo); err != nil {
		return nil, err
	}
	if left := len(todo) - r.journal.items(); left > 0 {
		out := r.counted()
		out.Stopped, out.Left = true, left
		return out, nil
	}
	return r.finish()
}

// run is a run under way.
type run struct {
	opts    Options
	whole   Whole
	listing *Listing
	out     string
	lock    *lock
	journal *journal

	settings  map[string]Settings
	settingMu sync.Mutex
}

func begin(opts Options) (*run, error) {
	if opts.Jobs <= 0 {
		opts.Jobs = runtime.NumCPU()
	}
	// A job is a picture on one processor: several at a time leave nothing for
	// a picture to be shared out on.
	runtime.GOMAXPROCS(opts.Jobs)
	// Collecting stops all jobs for a moment; each picture leaves much behind,
	// and little of it is in use at a time.
	debug.SetGCPercent(300)
	r := &run{opts: opts, out: opts.Out, settings: map[string]Settings{}}
	listing, err := r.list()
	if err != nil {
		return nil, err
	}
	r.listing = listing
	base, err := opts.Settings(listing.Base, listing.Base)
	if err != nil {
		return nil, err
	}
	r.whole = base.Whole
	r.group(listing)
	if r.out == "" {
		r.out = listing.Base
	}
	if err := os.MkdirAll(r.out, 0o777); err != nil {
		return nil, fmt.Errorf("%s: cannot be made: %w", r.out, plain(err))
	}
	for _, name := range r.tables() {
		if err := atomicfile.Check(filepath.Join(r.out, name)); err != nil {
			return nil, err
		}
	}
	for _, it := range listing.Items { // settings that are wrong are told before the work
		if _, err := r.settingsFor(it); err != nil {
			return nil, err
		}
	}
	if r.lock, err = takeLock(r.out, opts.Shard); err != nil {
		return nil, err
	}
	r.clean()
	if r.journal, err = openJournal(filepath.Join(r.out, journalName(opts.Shard)), opts.Shard, r.whole, listing, opts.Resume); err != nil {
		r.lock.release()
		return nil, err
	}
	return r, nil
}

func (r *run) list() (*Listing, error) {
	l, err := list(r.opts.Sources, r.opts.List, r.opts.Out)
	if err != nil {
		return nil, err
	}
	if len(l.Items) == 0 && !r.opts.watch {
		return nil, l.none(r.opts.Sources)
	}
	return l, nil
}

func (r *run) group(l *Listing) {
	if !r.whole.Each {
		l.group()
	}
}

// see goes on with a newer listing.
func (r *run) see(l *Listing) {
	r.listing = l
	r.journal.see(l)
}

func (r *run) end() {
	r.journal.close()
	r.lock.release()
}

// tables are the files that a run writes for all pictures together.
func (r *run) tables() []string {
	if r.opts.Shard.Of > 0 { // the tables are for --merge to make
		return []string{journalName(r.opts.Shard)}
	}
	return []string{journalName(Shard{}), summaryCSV, partsCSV, summaryHTML}
}

func (r *run) settingsFor(it Item) (Settings, error) {
	folder := filepath.Dir(it.Path)
	r.settingMu.Lock()
	defer r.settingMu.Unlock()
	s, ok := r.settings[folder]
	if !ok {
		var err error
		if s, err = r.opts.Settings(r.listing.Base, folder); err != nil {
			return s, err
		}
		r.settings[folder] = s
	}
	return s, nil
}

// todo are the pictures of this run's shard.
func (r *run) todo() []Item {
	var out []Item
	for _, it := range r.listing.Items {
		if r.opts.Shard.holds(it.Name) {
			out = append(out, it)
		}
	}
	return out
}

// errFull stops a run: what cannot be written need not be read.
var errFull = errors.New("go on with --resume when there is room")

// work reads pictures, Jobs of them at a time.
func (r *run) work(ctx context.Context, items []Item) error {
	tell := newProgress(r.opts.Tell, r.whole.unit())
	tell.begin(len(items))
	defer tell.end()
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	next := make(chan Item)
	var workers sync.WaitGroup
	for range min(r.opts.Jobs, len(items)) {
		workers.Go(func() {
			for it := range next {
				records, kept := r.kept(it)
				if !kept {
					records = r.one(it)
				}
				// What is not in the journal was not done.
				if err := r.journal.add(it, records, kept); err != nil {
					stop(err)
					return
				}
				tell.done(records, kept)
				for _, rec := range records {
					if rec.full {
						stop(fmt.Errorf("%s; %w", rec.Reason, errFull))
					}
				}
			}
		})
	}
	for _, it := range items {
		select {
		case next <- it:
			continue
		case <-ctx.Done():
		}
		break
	}
	close(next)
	workers.Wait()
	if err := context.Cause(ctx); err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

func (r *run) counted() *Outcome {
	out := r.journal.count()
	out.Skipped, out.Problems = r.listing.Skipped, r.listing.Problems
	return out
}

// finish writes the tables.
func (r *run) finish() (*Outcome, error) {
	out := r.counted()
	if err := r.journal.complete(); err != nil {
		return nil, err
	}
	if r.opts.Shard.Of > 0 {
		return out, nil
	}
	out.Summary = filepath.Join(r.out, summaryHTML)
	return out, writeTables(r.out, r.journal)
}

// sortRecords puts records into the order of their names, numbers in names
// counting as numbers.
func sortRecords(records []*Record) {
	slices.SortStableFunc(records, func(a, b *Record) int {
		return cmp.Or(naturally(a.Name, b.Name), cmp.Compare(a.Key, b.Key), cmp.Compare(a.Page, b.Page))
	})
}

// plain is an error without the path that the caller names.
func plain(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
