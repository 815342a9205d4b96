package folder

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Shard is one of several runs that share a folder's pictures. The zero value
// is a run that has them all.
type Shard struct {
	K, Of int // the K-th, from 1
}

const maxShards = 100_000

// ParseShard reads K/N.
func ParseShard(s string) (Shard, error) {
	a, b, ok := strings.Cut(s, "/")
	k, err1 := strconv.Atoi(strings.TrimSpace(a))
	n, err2 := strconv.Atoi(strings.TrimSpace(b))
	if !ok || err1 != nil || err2 != nil || n < 1 || n > maxShards || k < 1 || k > n {
		return Shard{}, errors.New("give which of how many, from 1, as 3/8")
	}
	return Shard{k, n}, nil
}

func (s Shard) String() string { return fmt.Sprintf("%d/%d", s.K, s.Of) }

// holds tells whether a picture belongs to the shard. It depends on nothing
// but the name, so that every machine answers alike.
func (s Shard) holds(name string) bool {
	if s.Of == 0 {
		return true
	}
	sum := sha256.Sum256([]byte(name))
	return int(binary.BigEndian.Uint64(sum[:])%uint64(s.Of)) == s.K-1
}

// The files for all pictures together.
const (
	SettingsFile = "boltrose.toml"

	summaryCSV  = "summary.csv"
	partsCSV    = "parts.csv"
	summaryHTML = "summary.html"
	readingEnd  = ".reading.json"
	overlayEnd  = ".overlay.png"
	combinedEnd = ".combined" + readingEnd
)

// shardName is what journals are called, of a whole run or of a shard.
var shardName = regexp.MustCompile(`^summary(?:-(\d+)-of-(\d+))?\.jsonl$`)

func journalName(s Shard) string {
	if s.Of == 0 {
		return "summary.jsonl"
	}
	return fmt.Sprintf("summary-%d-of-%d.jsonl", s.K, s.Of)
}
