package lamps

import (
	"bufio"
	"io"
	"math/bits"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Width is the number of characters in a line of text.
const Width = 80

// pageLines is the length of a printed page. Letter paper holds 66 lines and
// A4 holds 70 at six to the inch; printers keep a few for margins.
const pageLines = 60

// pages writes blocks of lines as they come, onto pages set off by form feeds;
// a block goes over to the next page only if it is longer than one.
type pages struct {
	w             *bufio.Writer
	first, second string // the two lines that head each page
	page, used    int    // the page's number, lines on it
}

func newPages(w io.Writer, first, second string) *pages {
	return &pages{w: bufio.NewWriterSize(w, 64<<10), first: first, second: second}
}

func (p *pages) line(text string) {
	p.w.WriteString(strings.TrimRight(text, " "))
	p.w.WriteByte('\n')
	p.used++
}

func (p *pages) turn() {
	if p.page++; p.page > 1 {
		p.w.WriteByte('\f')
	}
	p.used = 0
	p.line(p.first)
	p.line(spread(p.second, "page "+strconv.Itoa(p.page), Width))
}

// block writes lines with a blank one before them.
func (p *pages) block(lines []string) {
	if p.page == 0 || p.used+1+len(lines) > pageLines && p.used > 2 {
		p.turn()
	}
	p.line("")
	for _, text := range lines {
		if p.used == pageLines {
			p.turn()
			p.line("")
		}
		p.line(text)
	}
}

func (p *pages) flush() error { return p.w.Flush() }

// heading is the first line of every page: the machine at the left, its hash at the right.
func heading(machine, title, hash string) string {
	left := machine
	if title != "" {
		left += ": " + title
	}
	return spread(left, "sha256 "+short(hash), Width)
}

// spread puts left and right at the two ends of a line. Left is cut if both do not fit.
func spread(left, right string, width int) string {
	left = cut(left, max(width-len(right)-2, 8))
	return left + strings.Repeat(" ", max(width-len(right)-utf8.RuneCountInString(left), 2)) + right
}

// cut shortens text to so many characters, with three points for what is gone.
func cut(text string, room int) string {
	if utf8.RuneCountInString(text) <= room {
		return text
	}
	return strings.TrimRight(string([]rune(text)[:max(room-3, 0)]), " ") + "..."
}

// short is the part of a hash that artefacts carry.
func short(hash string) string { return hash[:min(12, len(hash))] }

// rule is a line across the page with a name at its left and a remark at its right end.
func rule(name, remark string) string {
	name = cut(name, Width-len(remark)-10)
	return "-- " + name + " " + strings.Repeat("-", max(Width-utf8.RuneCountInString(name)-len(remark)-8, 2)) + " " + remark + " --"
}

// wrap breaks words into lines of at most Width characters, the second and
// later ones after indent. A word longer than a line stays whole.
func wrap(first, indent string, words []string) []string {
	var out []string
	line, empty := first, true
	for _, word := range words {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > Width {
			out = append(out, line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	return append(out, line)
}

// hex writes a value of so many bits in hex digits.
func hex(value uint64, bits int) string { return string(appendHex(nil, value, bits)) }

func appendHex(to []byte, value uint64, width int) []byte {
	for i := max((width+3)/4, (bits.Len64(value)+3)/4, 1) - 1; i >= 0; i-- {
		to = append(to, "0123456789ABCDEF"[value>>(4*i)&15])
	}
	return to
}

// counted writes "1 word", "2 words".
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}
