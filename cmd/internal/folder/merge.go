package folder

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"boltrose/cmd/internal/atomicfile"
)

// Merge joins what the shards of a run wrote to one folder or to several, and
// writes the tables that a whole run would have written to the folder out. What
// lies in other folders is copied there.
func Merge(folders []string, out string) (*Outcome, error) {
	if out == "" {
		out = folders[0]
	}
	shards, err := findShards(folders)
	if err != nil {
		return nil, err
	}
	defer func() {
		for _, s := range shards {
			s.journal.close()
		}
	}()
	if err := os.MkdirAll(out, 0o777); err != nil {
		return nil, fmt.Errorf("%s: cannot be made: %w", out, plain(err))
	}
	l, err := takeLock(out, Shard{})
	if err != nil {
		return nil, err
	}
	defer l.release()
	var all []*Record
	from := map[*Record]*shardFile{}
	for _, s := range shards {
		for _, r := range s.records {
			all = append(all, r)
			from[r] = s
		}
	}
	sortRecords(all)
	for _, r := range all {
		for _, name := range []string{r.Reading, r.Overlay} {
			if err := fetch(from[r].folder, out, name); err != nil {
				return nil, err
			}
		}
	}
	head := shards[0].journal.head
	head.Shard, head.Shards, head.Complete = 0, 0, true
	merged := &journal{path: filepath.Join(out, journalName(Shard{})), head: head, done: map[string][]*Record{}}
	places := make([]span, len(all))
	err = atomicfile.Write(merged.path, func(w io.Writer) error {
		counted := &counter{w: w}
		if err := merged.writeHead(counted); err != nil {
			return err
		}
		for i, r := range all {
			line, err := from[r].journal.line(r)
			if err != nil {
				return fmt.Errorf("%s: cannot be read: %w", from[r].journal.path, plain(err))
			}
			places[i].from = counted.n
			if _, err := counted.Write(line); err != nil {
				return err
			}
			places[i].to = counted.n
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i, r := range all {
		r.at = places[i]
		merged.done[r.Key] = append(merged.done[r.Key], r)
	}
	if merged.file, err = os.Open(merged.path); err != nil {
		return nil, fmt.Errorf("%s: cannot be opened: %w", merged.path, plain(err))
	}
	defer merged.close()
	o := merged.count()
	o.Summary = filepath.Join(out, summaryHTML)
	return o, writeTables(out, merged)
}

type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}

// shardFile is the journal of one shard.
type shardFile struct {
	folder  string
	journal *journal
	records []*Record
}

// findShards opens the journals of all shards, and fails where one is missing.
func findShards(folders []string) (found []*shardFile, err error) {
	defer func() {
		if err != nil {
			for _, s := range found {
				s.journal.close()
			}
		}
	}()
	for _, folder := range folders {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return found, fmt.Errorf("%s: the folder cannot be opened: %w", folder, plain(err))
		}
		for _, e := range entries {
			m := shardName.FindStringSubmatch(e.Name())
			if m == nil || m[1] == "" {
				continue
			}
			s, err := openShard(folder, e.Name())
			if err != nil {
				return found, err
			}
			found = append(found, s)
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%s: no shard's summary is there (summary-1-of-8.jsonl and so on); give the folders that boltrose folder --shard wrote to", strings.Join(folders, ", "))
	}
	of := found[0].journal.head.Shards
	here := map[int]*shardFile{}
	var missing, unfinished []string
	for _, s := range found {
		h := s.journal.head
		switch {
		case h.Shards != of:
			return found, fmt.Errorf("%s is of %d shards and %s of %d: give the folders of one run", found[0].journal.path, of, s.journal.path, h.Shards)
		case h.List != found[0].journal.head.List:
			return found, fmt.Errorf("%s and %s were made of different lists of pictures: all shards must see the same folder; run the older one again with --resume", found[0].journal.path, s.journal.path)
		case h.Whole != found[0].journal.head.Whole:
			return found, fmt.Errorf("%s and %s were made with other units, bolts or parts; run the older one again with --resume", found[0].journal.path, s.journal.path)
		case here[h.Shard] != nil:
			return found, fmt.Errorf("shard %d/%d is there twice, as %s and %s: leave one out", h.Shard, of, here[h.Shard].journal.path, s.journal.path)
		case !h.Complete:
			unfinished = append(unfinished, fmt.Sprint(h.Shard))
		}
		here[h.Shard] = s
	}
	for k := 1; k <= of; k++ {
		if here[k] == nil {
			missing = append(missing, fmt.Sprint(k))
		}
	}
	var say []string
	if len(missing) > 0 {
		say = append(say, "missing: "+strings.Join(missing, ", "))
	}
	if len(unfinished) > 0 {
		say = append(say, "not finished: "+strings.Join(unfinished, ", "))
	}
	if len(say) > 0 {
		slices.Sort(say)
		return found, fmt.Errorf("of %d shards are %s; nothing was merged. Run them, as with --shard %s/%d --resume, and merge again", of, strings.Join(say, "; "), append(missing, unfinished...)[0], of)
	}
	return found, nil
}

func openShard(folder, name string) (*shardFile, error) {
	path := filepath.Join(folder, name)
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be opened: %w", path, plain(err))
	}
	head, records, _, err := readJournal(f)
	if err == nil && name != journalName(Shard{head.Shard, head.Shards}) {
		err = fmt.Errorf("is of shard %d/%d and bears another's name", head.Shard, head.Shards)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &shardFile{folder, &journal{path: path, head: head, file: f}, records}, nil
}

// fetch copies a result that lies in another folder.
func fetch(from, out, name string) error {
	if name == "" || sameFolder(from, out) {
		return nil
	}
	in, err := os.Open(inFolder(from, name))
	if err != nil {
		return fmt.Errorf("%s: cannot be opened (%w); run that shard again with --resume", inFolder(from, name), plain(err))
	}
	defer in.Close()
	to := inFolder(out, name)
	if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
		return fmt.Errorf("%s: cannot be made: %w", filepath.Dir(to), plain(err))
	}
	return atomicfile.Write(to, func(w io.Writer) error { _, err := io.Copy(w, in); return err })
}
