package table

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// grid is a table with named columns at the left, narrow columns whose names
// stand upright, and a count at the right. It is cut into blocks of narrow
// columns that fit the page; each block repeats what is at the left.
type grid struct {
	left    []string // names of the columns at the left
	keys    []string // narrow columns that every block repeats
	names   []string // narrow columns that hold marks
	rows    []gridRow
	footers []footer
}

// gridRow is a row, or a heading above rows (text, no cells).
type gridRow struct {
	heading []string // whole lines
	cells   []string // one for each of left
	keys    []byte   // one for each of keys
	marks   []byte   // one for each of names
}

// footer is a number for each of names, written upright.
type footer struct {
	name   string
	values []int
}

const (
	markDiode  = 'x'
	markDirect = 'o' // a contact that lies on the column
	markNone   = '.'
)

func (g *grid) print(p *page) {
	widths := make([]int, len(g.left))
	for i, name := range g.left {
		widths[i] = len(name)
		for _, r := range g.rows {
			if r.cells != nil {
				widths[i] = max(widths[i], len(r.cells[i]))
			}
		}
	}
	for _, f := range g.footers {
		short := len(f.name)
		for _, w := range widths {
			short -= w + 1
		}
		widths[len(widths)-1] += max(short, 0)
	}
	used := 2
	for _, w := range widths {
		used += w + 1
	}
	used += 2 * len(g.keys)
	if len(g.keys) > 0 {
		used += 2
	}
	counts := []string{"diodes"}
	room := (p.width - used - 2 - len("diodes")) / 2
	if len(g.names) > room {
		counts = []string{"here", "in all"}
		room = (p.width - used - 2 - len("here  in all")) / 2
	}
	room = max(room, 4)
	for from := 0; from < len(g.names) || from == 0; from += room {
		if from > 0 {
			p.line("")
		}
		g.block(p, widths, counts, from, min(from+room, len(g.names)))
	}
}

func (g *grid) block(p *page, widths []int, counts []string, from, to int) {
	indent := "  "
	var cells, ruler []string
	for i, w := range widths {
		cells = append(cells, fmt.Sprintf("%-*s", w, g.left[i]))
		ruler = append(ruler, strings.Repeat("-", w))
	}
	left := strings.Join(cells, " ")
	blank := strings.Repeat(" ", len(left))
	spread := func(left string, keys, marks []byte, right string) {
		k := ""
		if len(keys) > 0 {
			k = "  " + spaced(keys)
		}
		p.line("%s%s%s  %s  %s", indent, left, k, spaced(marks), right)
	}
	names := g.names[from:to]
	height := 1
	for _, n := range slices.Concat(g.keys, names) {
		height = max(height, len(n))
	}
	for y := range height {
		l, r := blank, ""
		if y == height-1 {
			l, r = left, strings.Join(counts, "  ")
		}
		spread(l, upright(g.keys, y, height), upright(names, y, height), r)
	}
	var under []string
	for _, c := range counts {
		under = append(under, strings.Repeat("-", len(c)))
	}
	rule := func() {
		spread(strings.Join(ruler, " "), []byte(strings.Repeat("-", len(g.keys))), []byte(strings.Repeat("-", len(names))), strings.Join(under, "  "))
	}
	rule()
	var heading []string
	for _, r := range g.rows {
		if r.cells == nil {
			heading = r.heading
			continue
		}
		marks := r.marks[from:to]
		here := bytes.Count(marks, []byte{markDiode})
		if len(counts) > 1 && bytes.Count(marks, []byte{markNone}) == len(marks) {
			continue
		}
		for _, h := range heading {
			p.line("%s", h)
		}
		heading = nil
		var cells []string
		for i, c := range r.cells {
			if _, err := strconv.Atoi(c); err == nil {
				cells = append(cells, fmt.Sprintf("%*s", widths[i], c))
			} else {
				cells = append(cells, fmt.Sprintf("%-*s", widths[i], c))
			}
		}
		count := fmt.Sprintf("%*d", len(counts[0]), here)
		if len(counts) > 1 {
			count += fmt.Sprintf("  %*d", len(counts[1]), bytes.Count(r.marks, []byte{markDiode}))
		}
		spread(strings.Join(cells, " "), r.keys, marks, count)
	}
	rule()
	none := []byte(strings.Repeat(" ", len(g.keys)))
	for _, f := range g.footers {
		digits := make([]string, 0, len(names))
		height := 1
		for _, v := range f.values[from:to] {
			if v == 0 && f.name == "pin" {
				digits = append(digits, "-")
			} else {
				digits = append(digits, strconv.Itoa(v))
			}
			height = max(height, len(digits[len(digits)-1]))
		}
		for y := range height {
			l := blank
			if y == height-1 {
				l = fmt.Sprintf("%-*s", len(left), f.name)
			}
			spread(l, none, upright(digits, y, height), "")
		}
	}
}

// upright is line y of names that stand on end, their last letters in line height-1.
func upright(names []string, y, height int) []byte {
	out := make([]byte, len(names))
	for i, n := range names {
		out[i] = ' '
		if at := y - (height - len(n)); at >= 0 {
			out[i] = n[at]
		}
	}
	return out
}

func spaced(marks []byte) string {
	var b strings.Builder
	for i, m := range marks {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteByte(m)
	}
	return b.String()
}
