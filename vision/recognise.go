package vision

import (
	"io"
	"os"
)

// Recognise tells whether the file at path begins as a picture does that is
// read.
func Recognise(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, headLen)
	n, _ := io.ReadFull(f, head)
	_, err = sniff(head[:n])
	return err == nil
}
