package readback

import (
	"fmt"
	"io"
	"math/bits"
	"regexp"
	"strconv"
	"strings"

	"coilwright/encode/assemble"
)

var toggleLine = regexp.MustCompile(`^\[ \]  ([0-9A-F]+) ([\^. ]+[\^.])   ([0-9A-F]+) ([\^.].*)$`)

// Toggles reads a page of switch settings and compares it with one memory of
// the program: each address that the program defines once, in order, its
// address and data by the switches and again by the digits beside them. An
// error is a *LineError.
func Toggles(r io.Reader, p *assemble.Program, memory int) error {
	about, pages, err := sheets(r, p.Machine, p.Hash)
	if err != nil {
		return err
	}
	m := p.Memories[memory]
	addressBits := max(bits.Len64(m.Words-1), 1)
	var due []uint64 // addresses and words by turns
	for _, seg := range m.Segments {
		for i, w := range seg.Words {
			due = append(due, seg.Address+uint64(i), w)
		}
	}
	noun := "words"
	if len(due) == 2 {
		noun = "word"
	}
	if want := fmt.Sprintf("Switches for %s, sha256 %.12s: %d %s of %s", p.Name, p.Source, len(due)/2, noun, m.Name); !begins(about, want) {
		return refuse(2, "the page is about %q, not %q", about, want)
	}
	last := 2
	for _, page := range pages {
		for _, line := range page {
			last = line.number
			if !strings.HasPrefix(line.text, "[") {
				continue
			}
			f := toggleLine.FindStringSubmatch(line.text)
			if f == nil {
				return refuse(line.number, "%q sets no switches", line.text)
			}
			if len(due) == 0 {
				return refuse(line.number, "more addresses than the program defines")
			}
			for i, width := range []int{addressBits, m.Width} {
				digits, err := strconv.ParseUint(f[1+2*i], 16, 64)
				if err != nil {
					return refuse(line.number, "%s is no number", f[1+2*i])
				}
				set, n := switches(f[2+2*i], width)
				if n != width || i == 0 && len(strings.ReplaceAll(f[2], " ", "")) != width {
					return refuse(line.number, "%d switches of %d", n, width)
				}
				if digits != due[0] || set != due[0] {
					return refuse(line.number, "%X is due, the switches say %X, the digits %X", due[0], set, digits)
				}
				due = due[1:]
			}
		}
	}
	if len(due) > 0 {
		return refuse(last, "address %X is missing", due[0])
	}
	return nil
}

// switches reads at most width marks, the highest bit first.
func switches(text string, width int) (value uint64, n int) {
	for _, c := range text {
		if n == width {
			break
		}
		switch c {
		case '^':
			value, n = value<<1|1, n+1
		case '.':
			value, n = value<<1, n+1
		case ' ':
		default:
			return value, n
		}
	}
	return value, n
}
