package show

import (
	"bytes"
	"fmt"
	"io"

	"boltrose/pattern/draw"
)

// Guard prints what a guard is like, and what whoever makes it must be told.
func Guard(w io.Writer, head string, g *draw.Guard) error {
	var b bytes.Buffer
	wrap(&b, "", head)
	fmt.Fprintln(&b)
	for _, note := range g.Notes() {
		wrap(&b, "- ", Plain(note))
	}
	fmt.Fprintln(&b, "\nCautions")
	for _, caution := range g.Cautions() {
		wrap(&b, "- ", caution)
	}
	_, err := w.Write(b.Bytes())
	return err
}
