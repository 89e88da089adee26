// Package table writes what a person reads at the bench: phase charts, the matrix and the placement list as text and CSV, and the summary.
//
// Text is plain ASCII, so that a terminal, a pipe and paper show the same. In
// CSV (RFC 4180, LF, header first) the last two fields of every record are the
// machine and its hash: a spreadsheet keeps them through sorting and filtering.
// Patterns begin with 0b and the hash with sha256:, or a spreadsheet would take
// them for numbers and change them.
package table

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"coilwright/encode/cube"
)

// Width is the number of characters in a line of text where none is given.
const Width = 80

// page gathers lines; the first error of the writer comes out of flush.
type page struct {
	w     *bufio.Writer
	width int
}

func newPage(w io.Writer, width int) *page {
	if width <= 0 {
		width = Width
	}
	return &page{bufio.NewWriter(w), width}
}

func (p *page) line(format string, args ...any) {
	p.w.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " "))
	p.w.WriteByte('\n')
}

func (p *page) flush() error { return p.w.Flush() }

// heading is the first line of every page: the machine at the left, its hash
// at the right. A title is cut where there is no room; the name never is, for
// by it the page is known.
func heading(machine, title, hash string, width int) string {
	right := "sha256 " + short(hash)
	if title == "" || len(machine)+len(": ...  ")+len(right) > width {
		return machine + strings.Repeat(" ", max(width-len(right)-len(machine), 2)) + right
	}
	return spread(machine+": "+title, right, width)
}

// spread puts left and right at the two ends of a line. Left is cut if both do not fit.
func spread(left, right string, width int) string {
	room := max(width-len(right)-2, 8)
	runes := []rune(left)
	if len(runes) > room {
		runes = append(runes[:room-3:room-3], '.', '.', '.')
	}
	return string(runes) + strings.Repeat(" ", max(width-len(right)-len(runes), 2)) + right
}

// short is the part of a hash that artefacts carry.
func short(hash string) string { return hash[:min(12, len(hash))] }

// wrap breaks text at blanks into lines of at most width characters, the
// second and later ones after indent. A word longer than a line stays whole.
func wrap(first, indent, text string, width int) []string {
	var out []string
	line, empty := first, true
	for _, word := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > width {
			out = append(out, line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	return append(out, strings.TrimRight(line, " "))
}

// pattern writes a cube with its bits in groups of four from the right.
func pattern(c cube.Cube, width int) string {
	text := c.Text(width)
	var b strings.Builder
	for i, r := range text {
		if i > 0 && (len(text)-i)%4 == 0 {
			b.WriteByte('_')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// condition writes a cube over flags as "zero=1 carry=0"; nothing if it cares for none.
func condition(c cube.Cube, flags []string) string {
	var out []string
	for i, name := range flags {
		if c.Care>>i&1 == 1 {
			out = append(out, fmt.Sprintf("%s=%d", name, c.Value>>i&1))
		}
	}
	return strings.Join(out, " ")
}

// counted writes "1 row", "2 rows".
func counted(n int, what string) string {
	return fmt.Sprintf("%d %s", n, plural(n, what))
}

func plural(n int, what string) string {
	if n == 1 {
		return what
	}
	return what + "s"
}

// records writes CSV.
func records(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}
