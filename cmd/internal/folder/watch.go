package folder

import (
	"context"
	"errors"
	"os"
	"time"
)

// A file is read when it has looked the same this often, one look a second: a
// scanner writes in pieces, with pauses. Looking works on disks of the network
// too, from which no notice of changes comes.
const (
	quietLooks = 3
	lookEvery  = time.Second
)

// Watch reads what is in the folder and then whatever comes into it, until the
// context is done. Each time it writes the tables anew.
func Watch(ctx context.Context, opts Options) (*Outcome, error) {
	opts.Resume, opts.watch = true, true
	r, err := begin(opts)
	if err != nil {
		return nil, err
	}
	defer r.end()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	w := watcher{}
	out := &Outcome{}
	for {
		l, err := r.list()
		if err != nil {
			return nil, err
		}
		r.group(l)
		if ready := w.ready(l.Items, stampOf); len(ready) > 0 {
			r.see(l)
			if err := r.work(ctx, ready); err != nil {
				return nil, err
			}
			if out, err = r.finish(); err != nil {
				return nil, err
			}
		}
		select {
		case <-ctx.Done():
			return out, nil
		case <-look.C:
		}
	}
}

// stamp is what a file looks like, and what its results would be called.
type stamp struct {
	size       int64
	changed    time.Time
	stem, part string
}

func stampOf(it Item) (stamp, error) {
	info, err := os.Stat(it.Path)
	if err != nil {
		return stamp{}, err
	}
	if info.Size() == 0 {
		return stamp{}, errors.New("nothing is written yet")
	}
	return stamp{info.Size(), info.ModTime(), it.Stem, it.Part}, nil
}

// watcher knows how often each file has looked the same.
type watcher map[string]struct {
	stamp
	looks int
}

// ready are the files that have just become quiet.
func (w watcher) ready(items []Item, stampOf func(Item) (stamp, error)) []Item {
	var out []Item
	for _, it := range items {
		now, err := stampOf(it)
		if err != nil {
			delete(w, it.Name)
			continue
		}
		seen := w[it.Name]
		if seen.stamp != now {
			seen.stamp, seen.looks = now, 0
		}
		seen.looks++
		if seen.looks == quietLooks {
			out = append(out, it)
		}
		w[it.Name] = seen
	}
	return out
}
