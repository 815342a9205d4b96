package show

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Table is printed column by column, each as wide as it needs. The cells of a
// column are as wide as one another where their points are to stand in line.
type Table struct {
	Heads   []string
	Columns [][]string
}

func (t *Table) add(head string, cells []string) {
	t.Heads = append(t.Heads, head)
	t.Columns = append(t.Columns, cells)
}

func (t *Table) write(w io.Writer) {
	if len(t.Columns) == 0 {
		return
	}
	widths := make([]int, len(t.Columns))
	for c, cells := range t.Columns {
		widths[c] = utf8.RuneCountInString(t.Heads[c])
		for _, s := range cells {
			widths[c] = max(widths[c], utf8.RuneCountInString(s))
		}
	}
	line := func(cell func(column int) string) {
		var b strings.Builder
		for c, width := range widths {
			s := cell(c)
			if c > 0 {
				b.WriteString("   ")
			}
			b.WriteString(s + strings.Repeat(" ", width-utf8.RuneCountInString(s)))
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
	line(func(c int) string { return t.Heads[c] })
	for row := range t.Columns[0] {
		line(func(c int) string { return t.Columns[c][row] })
	}
}

// Rows are the cells line by line, without the heads.
func (t Table) Rows() [][]string {
	if len(t.Columns) == 0 {
		return nil
	}
	rows := make([][]string, len(t.Columns[0]))
	for i := range rows {
		for _, cells := range t.Columns {
			rows[i] = append(rows[i], cells[i])
		}
	}
	return rows
}

// Lines are the table's, its heads first.
func (t Table) Lines() []string {
	var b strings.Builder
	t.write(&b)
	return strings.FieldsFunc(b.String(), func(r rune) bool { return r == '\n' })
}

// right puts texts flush right below one another.
func right(texts []string) []string {
	width := 0
	for _, s := range texts {
		width = max(width, utf8.RuneCountInString(s))
	}
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = strings.Repeat(" ", width-utf8.RuneCountInString(s)) + s
	}
	return out
}

// Plain replaces what would break a line or drive a terminal: a file's name
// may hold anything.
func Plain(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, s)
}

// wrap writes text in lines of at most 80 columns; the first begins with
// lead, and the others line up with it.
func wrap(w io.Writer, lead, text string) {
	indent := utf8.RuneCountInString(lead)
	line, used := lead, indent
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
			line, used = line+word, used+n
		case used+1+n > 80:
			fmt.Fprintln(w, line)
			line, used = strings.Repeat(" ", indent)+word, indent+n
		default:
			line, used = line+" "+word, used+1+n
		}
	}
	fmt.Fprintln(w, line)
}
