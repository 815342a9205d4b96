package folder

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"sync"

	"boltrose/cmd/internal/atomicfile"
)

const journalSchema = "boltrose/folder/1"

// heading is a journal's first line.
type heading struct {
	Schema   string `json:"schema"`
	Shard    int    `json:"shard"` // 0: a whole run
	Shards   int    `json:"shards"`
	Complete bool   `json:"complete"` // false while the run goes on
	Files    int    `json:"files"`    // of all shards together
	List     string `json:"list"`     // stands for their names
	Whole    Whole  `json:"settings"`
}

// journal is the file with a line for each picture that is done. While a run
// goes on lines are only added, so that whatever ends it costs the last line at
// most; at its end the lines are put in order.
type journal struct {
	path string
	head heading

	mu    sync.Mutex
	file  *os.File
	size  int64
	done  map[string][]*Record // by Key, in the order of pages
	known map[string][]*Record // of an earlier run
	kept  int                  // pictures whose records are of an earlier run
}

// span is where a line lies in the journal.
type span struct{ from, to int64 }

func openJournal(path string, s Shard, w Whole, l *Listing, resume bool) (*journal, error) {
	j := &journal{path: path, done: map[string][]*Record{}, known: map[string][]*Record{}}
	j.head = heading{Schema: journalSchema, Shard: s.K, Shards: s.Of, Whole: w}
	j.see(l)

	if resume {
		if err := j.load(); err != nil {
			return nil, err
		}
	} else if err := atomicfile.Write(path, j.writeHead); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be written: %w", path, plain(err))
	}
	j.file = f
	if j.size == 0 { // a new one, or one of an earlier run that had no first line
		j.size, err = f.Seek(0, io.SeekEnd)
	}
	if err == nil && j.size == 0 {
		var b bytes.Buffer
		_ = j.writeHead(&b)
		if _, err = f.WriteAt(b.Bytes(), 0); err == nil {
			j.size = int64(b.Len())
		}
	}
	if err == nil {
		err = f.Truncate(j.size) // less a line that was cut short
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: cannot be written: %w", path, plain(err))
	}
	return j, nil
}

// see notes what the run is about, and forgets what is not there any more.
func (j *journal) see(l *Listing) {
	names := make([]string, len(l.Items))
	there := map[string]bool{}
	for i, it := range l.Items {
		names[i] = keyOf(it.Name)
		there[names[i]] = true
	}
	sort.Strings(names)
	j.head.Files, j.head.List = len(names), digest([]byte(strings.Join(names, "\n")))
	maps.DeleteFunc(j.done, func(key string, _ []*Record) bool { return !there[key] })
}

func (j *journal) writeHead(w io.Writer) error { return json.NewEncoder(w).Encode(j.head) }

// load reads what an earlier run noted, up to a line that was cut short.
func (j *journal) load() error {
	f, err := os.Open(j.path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: cannot be opened: %w", j.path, plain(err))
	}
	defer f.Close()
	_, records, size, err := readJournal(f)
	if err != nil {
		return fmt.Errorf("%s: %w; without --resume everything is done again", j.path, err)
	}
	j.size = size
	for _, r := range records {
		all := j.known[r.Key]
		for i, o := range all { // the later line counts
			if o.Page == r.Page {
				all = append(all[:i:i], all[i+1:]...)
				break
			}
		}
		j.known[r.Key] = append(all, r)
	}
	return nil
}

// readJournal returns the whole lines of a journal and where they end.
func readJournal(f io.Reader) (head heading, records []*Record, size int64, err error) {
	in := bufio.NewReaderSize(f, 1<<16)
	for n := 0; ; n++ {
		line, err := in.ReadBytes('\n')
		if err != nil { // at the end, or within a line
			return head, records, size, nil
		}
		if n == 0 {
			if json.Unmarshal(line, &head) != nil || head.Schema != journalSchema {
				return head, nil, 0, errors.New("is not what an earlier boltrose folder wrote")
			}
		} else {
			r := &Record{}
			if json.Unmarshal(line, r) != nil {
				return head, records, size, nil
			}
			r = r.withNames(nameOfText)
			r.Thumbnail = nil
			r.at = span{size, size + int64(len(line))}
			records = append(records, r)
		}
		size += int64(len(line))
	}
}

// add notes that a picture is done.
func (j *journal) add(it Item, records []*Record, kept bool) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, r := range records {
		if r.at == (span{}) { // it is not there yet
			line, err := json.Marshal(r.withNames(textOfName))
			if err != nil {
				return err
			}
			line = append(line, '\n')
			if _, err := j.file.WriteAt(line, j.size); err != nil {
				_ = j.file.Truncate(j.size)
				return fmt.Errorf("%s: cannot be written (%w); go on with --resume", j.path, plain(err))
			}
			r.at = span{j.size, j.size + int64(len(line))}
			j.size += int64(len(line))
		}
		r.Thumbnail = nil
	}
	if kept {
		j.kept++
	}
	j.done[keyOf(it.Name)] = records
	return nil
}

// before are the records of a picture that is done, in this run or an earlier
// one.
func (j *journal) before(key string) []*Record {
	j.mu.Lock()
	defer j.mu.Unlock()
	if all, ok := j.done[key]; ok {
		return slices.Clone(all)
	}
	return slices.Clone(j.known[key])
}

// full is a record with its thumbnail, to be added once more.
func (j *journal) full(r *Record) (*Record, error) {
	line, err := j.line(r)
	if err != nil {
		return nil, err
	}
	var full Record
	if err := json.Unmarshal(line, &full); err != nil {
		return nil, err
	}
	return full.withNames(nameOfText), nil
}

// line is a record as it stands in the journal.
func (j *journal) line(r *Record) ([]byte, error) {
	b := make([]byte, r.at.to-r.at.from)
	_, err := j.file.ReadAt(b, r.at.from)
	return b, err
}

func (j *journal) items() int { return len(j.done) }

// records are all that are done, in order.
func (j *journal) records() []*Record {
	var out []*Record
	for _, all := range j.done {
		out = append(out, all...)
	}
	sortRecords(out)
	return out
}

func (j *journal) count() *Outcome {
	out := &Outcome{Kept: j.kept}
	for _, r := range j.records() {
		switch r.Result {
		case gotReading:
			out.Readings++
		case noPattern:
			out.Without++
		default:
			out.Failed++
		}
	}
	return out
}

// complete puts the lines in order and says that nothing is missing.
func (j *journal) complete() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	records := j.records()
	head := j.head
	head.Complete = true
	places := make([]span, len(records))
	err := atomicfile.Write(j.path, func(w io.Writer) error {
		first, err := json.Marshal(head)
		if err != nil {
			return err
		}
		at := int64(len(first) + 1)
		if _, err := fmt.Fprintf(w, "%s\n", first); err != nil {
			return err
		}
		for i, r := range records {
			line, err := j.line(r)
			if err != nil {
				return err
			}
			if _, err := w.Write(line); err != nil {
				return err
			}
			places[i] = span{at, at + int64(len(line))}
			at += int64(len(line))
		}
		return nil
	})
	if err != nil {
		return err
	}
	f, err := os.OpenFile(j.path, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("%s: cannot be opened: %w", j.path, plain(err))
	}
	j.file.Close()
	j.file = f
	for i, r := range records {
		r.at = places[i]
	}
	if len(places) > 0 {
		j.size = places[len(places)-1].to
	}
	return nil
}

func (j *journal) close() {
	if j.file != nil {
		j.file.Close()
	}
}

func inFolder(folder, name string) string { return filepath.Join(folder, filepath.FromSlash(name)) }
