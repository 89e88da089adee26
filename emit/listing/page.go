package listing

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Width is the number of characters in a line of text where none is given.
const Width = 80

// pageLines is the length of a printed page. Letter paper holds 66 lines and
// A4 holds 70 at six to the inch; printers keep a few for margins.
const pageLines = 60

// page writes lines; the first error of the writer comes out of flush.
type page struct {
	w *bufio.Writer
}

func newPage(w io.Writer) *page { return &page{bufio.NewWriter(w)} }

func (p *page) line(text string) {
	p.w.WriteString(strings.TrimRight(text, " "))
	p.w.WriteByte('\n')
}

func (p *page) flush() error { return p.w.Flush() }

// pages writes pages of lines, the first two lines of each being what the
// paper is about. The second carries the page's number.
func (p *page) pages(first, second string, width int, pages [][]string) {
	for i, lines := range pages {
		feed := ""
		if i > 0 {
			feed = "\f"
		}
		p.line(feed + first)
		p.line(spread(second, fmt.Sprintf("page %d of %d", i+1, len(pages)), width))
		for _, line := range lines {
			p.line(line)
		}
	}
}

// paginate fills pages with blocks of lines; a block is broken only if it is
// longer than a page. The first page begins with what is said before all, head
// stands over the blocks of every page.
func paginate(before, head []string, blocks [][]string) [][]string {
	const room = pageLines - 2 // the heading of each page
	var pages [][]string
	now := append(append([]string{}, before...), head...)
	bare := true // nothing stands below the head yet
	for _, b := range blocks {
		if len(now)+len(b) > room && !bare {
			pages, now, bare = append(pages, now), append([]string{}, head...), true
		}
		if bare && len(b) > 0 && b[0] == "" {
			b = b[1:] // the head ends with what sets a block off
		}
		for len(now)+len(b) > room {
			n := room - len(now)
			pages, now, b = append(pages, append(now, b[:n]...)), append([]string{}, head...), b[n:]
		}
		now = append(now, b...)
		bare = false
	}
	return append(pages, now)
}

// heading is the first line of every page: the machine at the left, its hash at the right.
func heading(machine, title, hash string, width int) string {
	left := machine
	if title != "" {
		left += ": " + title
	}
	return spread(left, "sha256 "+short(hash), width)
}

// spread puts left and right at the two ends of a line. Left is cut if both do not fit.
func spread(left, right string, width int) string {
	room := max(width-len(right)-2, 8)
	left = cut(left, room)
	return left + strings.Repeat(" ", max(width-len(right)-utf8.RuneCountInString(left), 2)) + right
}

// cut shortens text to so many characters, with three points for what is gone.
func cut(text string, room int) string {
	if utf8.RuneCountInString(text) <= room {
		return text
	}
	runes := []rune(text)
	return strings.TrimRight(string(runes[:max(room-3, 0)]), " ") + "..."
}

// short is the part of a hash that artefacts carry.
func short(hash string) string { return hash[:min(12, len(hash))] }

// rule is a line across the page with a name in it.
func rule(name string, width int) string {
	return "-- " + name + " " + strings.Repeat("-", max(width-utf8.RuneCountInString(name)-4, 2))
}

// wrap breaks text at blanks into lines of at most width characters, the
// second and later ones after indent. A word longer than a line stays whole.
func wrap(first, indent, text string, width int) []string {
	var out []string
	line, empty := first, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
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

// fold breaks text into pieces of at most width characters, after a blank
// where there is one, without losing or adding a character.
func fold(text string, width int) []string {
	runes := []rune(text)
	var out []string
	for len(runes) > width {
		end := width
		for end > width/2 && runes[end-1] != ' ' {
			end--
		}
		if end == width/2 {
			end = width
		}
		out, runes = append(out, string(runes[:end])), runes[end:]
	}
	return append(out, string(runes))
}

// plain makes a source line fit for paper: tabs to stops of eight, and a
// replacement for what a printer would take for a command.
func plain(text string) string {
	var b strings.Builder
	n := 0
	for _, r := range text {
		switch {
		case r == '\t':
			for more := true; more; more = n%8 != 0 {
				b.WriteByte(' ')
				n++
			}
			continue
		case unicode.IsControl(r) || r == utf8.RuneError:
			r = utf8.RuneError
		}
		b.WriteRune(r)
		n++
	}
	return strings.TrimRight(b.String(), " ")
}

// hexDigits is how many digits a value of so many bits takes.
func hexDigits(bits int) int { return max((bits+3)/4, 1) }

// hex writes a value with so many digits.
func hex(value uint64, digits int) string {
	text := strings.ToUpper(strconv.FormatUint(value, 16))
	return strings.Repeat("0", max(digits-len(text), 0)) + text
}

// counted writes "1 word", "2 words".
func counted(n uint64, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.FormatUint(n, 10) + " " + what + "s"
}
